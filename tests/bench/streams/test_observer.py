"""The ideal observer against what is known in closed form: a Markov chain, and the evidence of a known signal."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.bench.streams.drawing import Draw, Ripple, draw
from tests.bench.streams.making import Stream, made
from tests.bench.streams.motion import FINE_HZ, Motion
from tests.bench.streams.observer import BACK_SHARE, RESTART_PER_S, SLOW_STARTS, SURE, Observer, observed
from tests.bench.streams.scoring import scored

SEED = 800_000
STANDS, TURNS_S, STANDS_S = 12, 6.0, 4.0


def stop_and_go(rev_per_s: float) -> Motion:
    """A crank at fixed hooks that stands two seconds, and then turns and stands in turn; starts and stops at once."""
    beat = np.concatenate([np.full(round(TURNS_S * FINE_HZ), rev_per_s), np.zeros(round(STANDS_S * FINE_HZ))])
    speed = np.concatenate([np.zeros(2 * FINE_HZ), np.tile(beat, STANDS)])
    angle = 0.3 + np.cumsum(speed) / FINE_HZ
    t_s = np.arange(len(speed)) / FINE_HZ
    flat = np.ones(len(t_s))
    return Motion(t_s, angle, speed, 5.0 * flat, flat < 0.0, 0.5 + 1e-5 * angle)


def plain(ripple: Ripple, noise: float, rev_per_s: float) -> Draw:
    return replace(
        draw(SEED, 80.0),
        rev_per_s=rev_per_s,
        tired=0.0,
        wander=0.01,
        uneven=0.0,
        noise=noise,
        ripple=ripple,
        ramp_s=0.02,
        dropped=0.0,
        gaps_per_min=0.0,
        slips_per_min=0.0,
        slow_per_min=0.0,
        angle=0.3,
    )


def delays(one: Stream) -> list[float]:
    score = scored(one, observed([one])[0], "none")
    assert score.false == 0
    return [math.inf if stand.delay_s is None else stand.delay_s for stand in score.stands]


def test_a_stand_is_seen_at_once_where_nothing_hides_it() -> None:
    one = made(plain(Ripple((0.03, 0.01), (0.0, 0.2), 1.0), 0.0005, 1.1), stop_and_go(1.1))
    late = delays(one)
    assert len(late) == STANDS
    assert max(late) < 0.35  # a tenth to be sure, 25 ms for a look


def test_without_ripple_nothing_is_known_but_how_often_a_crank_stands() -> None:
    """The chance settles at the share of the Markov chain's own balance (flow in = flow out)."""
    one = made(plain(Ripple(), 0.005, 1.1), stop_and_go(1.1))
    chance = Observer([one], particles=2000).run()[0][0]
    stop, slow = one.draw.stalls_per_min + 4.0 * one.draw.stops_at_steps + 1.0, one.draw.slow_per_min + 0.2
    out = RESTART_PER_S * 60.0
    # Rates a minute between turning, standing and other (slow or backward; both ends at `out`).
    usual = (1.0 - BACK_SHARE) * (1.0 - SLOW_STARTS)
    flow = np.array([[0.0, stop, slow], [out * usual, 0.0, out * (1.0 - usual)], [out, out, 0.0]])
    balance = np.vstack([(flow - np.diag(flow.sum(axis=1))).T, np.ones(3)])
    share, *_ = np.linalg.lstsq(balance, np.array([0.0, 0.0, 0.0, 1.0]), rcond=None)
    settled = chance[round(8.0 * 40.0) :]
    assert float(settled.mean()) == pytest.approx(float(share[1]), rel=0.15)


def test_as_late_as_the_evidence_allows() -> None:
    """Of a known ripple in white noise the expected log odds of standing at θ0 grow as Σ(r(θ0 + vt) - r(θ0))²/(2σ²)
    (Kay 1998, Detection Theory, 4: the matched filter); sure is when they outweigh how rarely a crank stops. The
    observer has besides to find level and slope and allows for stops and starts of a moment ago, so it may be later."""
    size, noise, speed = 0.02, 0.008, 1.1
    one = made(plain(Ripple((size,), (0.0,), 1.0), noise, speed), stop_and_go(speed))
    late = np.array(delays(one))
    stops_per_s = (one.draw.stalls_per_min + 4.0 * one.draw.stops_at_steps + 1.0) / 60.0
    expected = []
    for from_s, to_s in one.stands[1:]:
        if to_s - from_s < 1.0:
            continue
        angle = float(np.interp(from_s, one.motion.t_s, one.motion.angle))
        after = np.arange(1, 320) / 80.0
        gap = size * (np.cos(2 * math.pi * (angle + speed * after)) - math.cos(2 * math.pi * angle))
        odds = np.cumsum(gap**2) / (2.0 * noise**2) + np.log(stops_per_s * after)
        expected.append(float(after[np.argmax(odds > math.log(SURE / (1.0 - SURE)))]))
    assert len(expected) == len(late)
    middle = float(np.median(expected))
    assert middle - 0.05 < float(np.median(late)) < 2.0 * middle + 0.2
