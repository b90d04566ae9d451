"""The invented streams are what they claim to be, by least squares and counts on the streams themselves."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.bench.streams.drawing import Draw, Ripple, draw
from tests.bench.streams.making import STANDING, TURNING, Stream, counted, made, ripple_at, stream
from tests.bench.streams.motion import FINE_HZ, Motion, move
from tests.bench.streams.other import other_stream
from tests.bench.streams.rubber import elastic, stretch
from winding_coach.rubber.law import Rubber, geometry, torque_Nm

SEED = 800_000


def even(one: Draw, seconds: float, rev_per_s: float) -> Motion:
    """A crank that turns evenly, at fixed hooks."""
    t_s = np.arange(round(seconds * FINE_HZ)) / FINE_HZ
    still = np.zeros(len(t_s), dtype=bool)
    flat = np.ones(len(t_s))
    return Motion(t_s, rev_per_s * t_s, rev_per_s * flat, 5.0 * flat, still, 0.5 + 1e-4 * rev_per_s * t_s)


def plain(**changes: object) -> Draw:
    usual = replace(draw(SEED, 80.0), dropped=0.0, gaps_per_min=0.0, slips_per_min=0.0)
    return replace(usual, **changes)  # type: ignore[arg-type]


def test_noise_and_ripple_are_as_large_as_they_claim() -> None:
    """Least squares on the lines: noise within 5 standard errors, amplitudes within 5 Cramér-Rao bounds (Kay 1993)."""
    ripple = Ripple((0.02, 0.0, 0.008), (0.1, 0.0, 0.3), 1.0)
    one = plain(noise=0.004, ripple=ripple)
    made_one = made(one, even(one, 40.0, 1.0))
    late = made_one.t_s > 1.0
    t_s, y = made_one.t_s[late], ((made_one.torque_Nm - made_one.true_Nm) / one.expected_Nm)[late]
    # The mean over a converter's period is as of its middle.
    angle = 2.0 * math.pi * (t_s - 0.5 / 80.0)
    columns = np.stack([f(k * angle) for k in (1, 2, 3) for f in (np.cos, np.sin)], axis=1)
    found, *_ = np.linalg.lstsq(columns, y, rcond=None)
    rest = y - columns @ found
    assert np.std(rest) == pytest.approx(0.004, rel=5.0 / math.sqrt(2.0 * len(y)))
    size = np.hypot(found[::2], found[1::2])
    bound = 0.004 * math.sqrt(2.0 / len(y))
    # sinc: what a mean over 1/80 s leaves of a third harmonic.
    assert size == pytest.approx(np.array([0.02, 0.0, 0.008 * np.sinc(3.0 / 80.0)]), abs=5.0 * bound)


def test_torque_is_that_of_the_law_in_closed_form() -> None:
    """Own arrays against the project's closed form of the same published law, at one motor's figures."""
    motor = geometry(0.45, 1.2e-3, 2)
    for ratio, twist in ((0.86, 20.0), (3.0, 18.0), (6.0, 10.0)):
        mine = float(elastic(np.array([ratio]), np.array([twist]))[0]) * motor.volume_m3 * motor.radius_m / motor.loop_m
        theirs = torque_Nm(motor, ratio * motor.loop_m, twist * motor.turns_scale, Rubber())
        assert mine == pytest.approx(theirs, rel=1e-6)
    root = stretch(np.array([2.0]), np.array([5.0]))
    assert root**3 - 4.0 * root - 25.0 == pytest.approx(0.0, abs=1e-9)


def test_pulses_lost_and_doubled_are_as_many_as_claimed() -> None:
    one = plain(lost=0.05, doubled=0.01)
    motion = even(one, 4000.0, 2.0)
    last = np.array([4000.0])
    for sensor, true in (("1 pulse", 8000.0), ("4 pulses", 32000.0), ("quadrature", 32000.0)):
        count = float(counted(one, motion, sensor, last)[0])  # type: ignore[arg-type]
        assert count / true == pytest.approx(1.0 - 0.05 + 0.01, abs=5.0 * math.sqrt(0.06 / true))


def test_one_sensor_counts_up_in_reverse_and_two_count_down() -> None:
    one = plain(lost=0.0, doubled=0.0)
    forth = even(one, 20.0, 1.0)
    back = replace(forth, angle=np.concatenate([forth.angle[:3200], forth.angle[3200:0:-1]])[: len(forth.angle)])
    there, end = np.array([10.0]), np.array([19.9])
    assert counted(one, back, "1 pulse", end)[0] >= counted(one, back, "1 pulse", there)[0] + 9
    assert counted(one, back, "quadrature", end)[0] <= counted(one, back, "quadrature", there)[0] - 36


def made_of(n: int, lines_per_s: float = 80.0) -> list[Stream]:
    return [stream(SEED + i, lines_per_s) for i in range(n)]


def test_labels_hold_what_their_words_say() -> None:
    for one in made_of(5):
        assert np.all(np.abs(one.speed[one.label == TURNING]) > 0.19)
        assert np.all(np.abs(one.speed[one.label == STANDING]) < 0.16)
        for from_s, to_s in one.stands:
            assert to_s - from_s >= 0.25
        assert np.mean(one.label == TURNING) > 0.4


def test_draws_fill_their_ranges() -> None:
    draws = [draw(SEED + i, 80.0) for i in range(2000)]
    for values, low, high in (
        ([one.rev_per_s for one in draws], 0.4, 2.2),
        ([one.noise for one in draws], 0.0005, 0.015),
        ([one.wander for one in draws], 0.05, 0.20),
        ([one.lost for one in draws], 0.0, 0.05),
    ):
        assert low <= min(values) < low * 1.1 + 1e-3
        assert high * 0.95 < max(values) <= high
    without = np.mean([not one.ripple.amplitudes for one in draws])
    assert without == pytest.approx(0.1, abs=5.0 * math.sqrt(0.09 / 2000))
    largest = [np.ptp(ripple_at(one, np.linspace(0.0, 1.0, 400))) / 2.0 for one in draws[:300]]
    assert max(largest) < 0.12
    harmonics = {sum(a > 0.0 for a in one.ripple.amplitudes) for one in draws}
    assert harmonics == {0, 1, 2, 3, 4}


def test_speed_wanders_as_much_as_claimed() -> None:
    """Standard deviation of the crank's speed over many winds without stops: 1 within a tenth of what was drawn."""
    one = plain(wander=0.2, wander_s=1.0, uneven=0.0, tired=0.0, stalls_per_min=0.0, slow_per_min=0.0)
    spread = []
    for i in range(6):
        motion = move(replace(one, seed=SEED + i, stops_at_steps=0.0))
        begun = motion.t_s > 5.0
        free = begun & (motion.speed > 0.3 * one.rev_per_s)
        spread.append(float(np.std(motion.speed[free]) / one.rev_per_s))
    assert float(np.mean(spread)) == pytest.approx(0.2, rel=0.15)


def test_same_seed_same_stream() -> None:
    first, again = stream(SEED, 10.0), stream(SEED, 10.0)
    assert np.array_equal(first.torque_Nm, again.torque_Nm)
    assert first.wire("quadrature") == again.wire("quadrature")


def test_the_other_make_has_the_same_ranges_and_another_noise() -> None:
    one = other_stream(SEED, 80.0)
    same = draw(SEED, 80.0)
    assert (one.draw.rev_per_s, one.draw.noise, one.draw.lost) == (same.rev_per_s, same.noise, same.lost)
    assert one.draw.ripple.rms == pytest.approx(same.ripple.rms)
    assert np.mean(one.label == TURNING) > 0.4
    assert one.stands
    rest = one.torque_Nm - one.true_Nm
    jumps = np.diff(rest)[one.label[1:] == STANDING] / one.draw.expected_Nm
    # Steps of AR(1) noise: sd √(2(1 - 0.4)) of the noise's own, within 15 %, where the crank stands.
    assert float(np.std(jumps)) == pytest.approx(one.draw.noise * math.sqrt(1.2), rel=0.15)


def test_a_sensor_that_loses_nothing_counts_right_within_a_count() -> None:
    clean = [one for one in (stream(SEED + i, 10.0) for i in range(12)) if not one.draw.lost]
    assert len(clean) >= 2
    for one in clean:
        for sensor, per_turn in (("1 pulse", 1), ("4 pulses", 4), ("quadrature", 4)):
            count = one.count(sensor)  # type: ignore[arg-type]
            assert count is not None
            forward = one.t_s < one.motion.t_s[np.flatnonzero(one.motion.speed < -0.05)[0]]
            off = count / per_turn - (one.angle - one.angle[0])
            assert np.abs(off[forward]).max() < 1.0 / per_turn + 0.05
            if sensor == "quadrature":
                assert abs(off[-1]) < 1.0 / per_turn + 0.05
