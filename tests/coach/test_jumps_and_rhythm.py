"""What no motor and no hand does: torque that jumps within a line and stays, pulses that are missing among others."""

from __future__ import annotations

import math
from random import Random

import pytest

from winding_coach.coach.jumps import Jumps
from winding_coach.coach.rhythm import Rhythm

PEAK_NM = 6e-3


def jumped(
    jumps: Jumps, levels: list[tuple[float, float]], rate: float = 40.0, *, walking: bool = False
) -> float | None:
    """Feed (seconds, torque at their end) pieces, each rising evenly from the one before; return `times`."""
    rng, t_s, before = Random(1), 0.0, levels[0][1]
    for seconds, level in levels:
        lines = max(round(seconds * rate), 1)
        for n in range(1, lines + 1):
            t_s += 1.0 / rate
            torque = before + (level - before) * n / lines
            jumps.add(t_s, torque * (1.0 + rng.gauss(0.0, 0.004)), walking=walking)
        before = level
    return jumps.times


@pytest.mark.parametrize("share", [0.25, 0.15, -0.15, -0.25])
def test_a_zero_that_steps_is_seen_at_full_stretch(share: float) -> None:
    at = 0.5 * PEAK_NM
    times = jumped(Jumps(PEAK_NM), [(3.0, at), (0.02, at + share * PEAK_NM), (2.0, at + share * PEAK_NM)])
    assert times == pytest.approx(1.0 + 2.0 * share, rel=0.03)


def test_a_zero_that_steps_by_a_tenth_is_no_more_than_a_hand_does() -> None:
    at = 0.5 * PEAK_NM
    assert jumped(Jumps(PEAK_NM), [(3.0, at), (0.02, 0.9 * at), (2.0, 0.9 * at)]) is None


@pytest.mark.parametrize("gain", [0.3, 0.5])
def test_a_gain_that_falls_is_seen(gain: float) -> None:
    at = 0.8 * PEAK_NM
    assert jumped(Jumps(PEAK_NM), [(3.0, at), (0.02, gain * at), (2.0, gain * at)]) == pytest.approx(gain, rel=0.03)


def test_cranking_and_letting_go_are_no_jumps() -> None:
    at = 0.6 * PEAK_NM
    assert (
        jumped(Jumps(PEAK_NM), [(20.0, at), (0.4, 0.6 * at), (3.0, at), (10.0, PEAK_NM), (2.0, 0.6 * PEAK_NM)]) is None
    )


def test_a_stride_in_the_walk_in_is_no_jump() -> None:
    """A quick one: 35 cm at 1 m/s; the torque is halved within a tenth of a second."""
    at = 0.6 * PEAK_NM
    strides = [(3.0, at), (0.1, 0.5 * at), (1.0, 0.5 * at), (2.0, at), (0.12, 0.55 * at), (3.0, at)]
    assert jumped(Jumps(PEAK_NM), strides, walking=True) is None


def test_a_touched_lead_and_a_gone_motor_are_no_jumps() -> None:
    at = 0.6 * PEAK_NM
    assert jumped(Jumps(PEAK_NM), [(3.0, at), (0.02, 0.3 * at), (0.5, 0.3 * at), (0.02, at), (3.0, at)]) is None
    assert jumped(Jumps(PEAK_NM), [(3.0, at), (0.02, 0.0), (3.0, 0.0)]) is None


def test_what_comes_after_a_gap_is_no_jump() -> None:
    jumps = Jumps(PEAK_NM)
    for n in range(200):
        jumps.add(0.025 * n + (2.0 if n >= 100 else 0.0), (0.3 if n >= 100 else 0.6) * PEAK_NM, walking=False)
    assert jumps.times is None


def lost_after(lost: float, *, wanders: float, double: float = 0.0, pauses: float = 0.0, seed: int = 1) -> float | None:
    """Seconds of cranking at full stretch until pulses are said to be lost, None if never in a minute."""
    rng, rhythm = Random(seed), Rhythm()
    t_s, count, next_s, period = 0.0, 0, 0.8, 0.8
    while t_s < 60.0:
        t_s += 0.025
        if t_s >= next_s:
            period = min(max(period * (1.0 + wanders * rng.gauss(0.0, 0.5)), 0.55), 1.1)
            next_s += period + (rng.uniform(1.0, 6.0) if rng.random() < pauses else 0.0)
            if rng.random() >= lost:
                count += 2 if rng.random() < double else 1
        rhythm.add(t_s, float(count))
        if rhythm.lost is not None:
            return t_s
    return None


@pytest.mark.parametrize("lost", [0.3, 0.4, 0.5])
def test_lost_pulses_are_told_by_their_rhythm(lost: float) -> None:
    """30 to 50 % of them, of a crank that wanders by 5 % a turn: four in five within half a minute, all within one."""
    took = [lost_after(lost, wanders=0.05, seed=seed) for seed in range(60)]
    assert None not in took
    assert sum(one is not None and one < 30.0 for one in took) >= 48


@pytest.mark.parametrize("how", [{}, {"double": 0.3}, {"pauses": 0.03}])
def test_an_honest_crank_loses_none(how: dict[str, float]) -> None:
    """One that wanders, whose pulses come twice, or whose hand pauses now and then: a false alarm in 2 % at most."""
    said = [lost_after(0.0, wanders=0.1, seed=seed, **how) is not None for seed in range(150)]
    assert sum(said) <= 3


def test_a_hand_that_slows_down_from_turn_to_turn_loses_none() -> None:
    """It was held against the quickest of four turns, and a slow turn then was two."""
    rhythm, t_s = Rhythm(), 0.0
    for turn in range(60):
        t_s += 0.8 + 0.3 * math.sin(turn * math.pi / 4.0)
        rhythm.add(t_s - 0.05, float(turn))
        rhythm.add(t_s, float(turn + 1))
    assert rhythm.lost is None


def test_pulses_that_come_as_often_as_lines_are_not_judged() -> None:
    """Four pulses a turn and ten lines a second: the rhythm is that of the lines."""
    rhythm = Rhythm()
    for n in range(1, 600):
        rhythm.add(0.1 * n, int(0.1 * n * 1.4 * 4) / 4.0)
    assert rhythm.lost is None


def test_a_sensor_that_was_given_up_and_gives_pulses_loses_them() -> None:
    rhythm = Rhythm()
    rhythm.given_up_but_alive()
    assert rhythm.lost is not None
