"""Frozen readings: equal raw values for longer than the meter's own noise makes possible."""

from __future__ import annotations

import math

import numpy as np
import pytest

from winding_coach.meter.frozen import CHANCE, FrozenReadings, Repeats, learnt

RATE = 80.0


def fed(watch: FrozenReadings, raws: list[int], from_line: int = 0, crank: float | None = None) -> float | None:
    """Feed lines; return seconds from the first of them until frozen, None if never."""
    for n, raw in enumerate(raws):
        if watch.add((from_line + n) / RATE, raw, crank):
            return n / RATE
    return None


@pytest.mark.parametrize("sd", [0.4, 0.6, 1.0, 3.0, 50.0, 600.0])
def test_a_meter_at_rest_for_hours_is_not_frozen(sd: float) -> None:
    """Four hours of a still hook, at any noise that moves the last digit now and then."""
    rng = np.random.default_rng(1_000_000)
    raws = np.round(84_200.3 + sd * rng.standard_normal(int(4 * 3600 * RATE))).astype(int).tolist()
    assert fed(FrozenReadings(), raws) is None


@pytest.mark.parametrize(("sd", "within_s"), [(600.0, 0.3), (1.0, 0.5), (0.6, 0.7), (0.4, 3.0)])
def test_a_reading_that_stands_is_frozen_within(sd: float, within_s: float) -> None:
    rng = np.random.default_rng(1_000_001)
    watch = FrozenReadings()
    assert fed(watch, np.round(84_200.0 + sd * rng.standard_normal(800)).astype(int).tolist()) is None
    after_s = fed(watch, [84_200] * 2000, 800)
    assert after_s is not None
    assert after_s <= within_s


def test_a_reading_that_never_moved_is_frozen_too() -> None:
    assert (fed(FrozenReadings(), [84_200] * 2000) or math.inf) < 3.0


def test_what_is_kept_with_the_calibration_is_known_at_once() -> None:
    kept = Repeats.from_json(Repeats(1000.0, 30.0).as_json())
    assert kept.longest <= 10
    assert (fed(FrozenReadings(kept), [84_200] * 2000) or math.inf) < 0.4


def test_the_longest_run_is_the_geometric_distribution_s() -> None:
    """P(run of k equal pairs) = p^k: Feller, An Introduction to Probability Theory 1, XIII.7 (runs)."""
    known = Repeats(1e9, 0.5e9)
    assert 0.5**known.longest <= CHANCE < 0.5 ** (known.longest - 1)


def test_a_coarse_meter_is_frozen_when_the_crank_turns() -> None:
    """A meter that rests for minutes on one value is no fault, but three turns of the crank move any torque."""
    watch = FrozenReadings(Repeats(100_000.0, 99_990.0))
    assert fed(watch, [7] * 2000, crank=3.0) is None
    assert fed(watch, [7] * 20, 2000, crank=6.0) == 0.0


def test_the_end_of_the_range_is_not_frozen() -> None:
    watch = FrozenReadings()
    assert not any(watch.add(n / RATE, 2**23 - 1, at_end=True) for n in range(4000))


def test_a_frozen_run_teaches_nothing() -> None:
    watch = FrozenReadings(Repeats(1000.0, 100.0))
    before = watch.repeats
    fed(watch, [5] * 500)
    watch.add(10.0, 6)
    assert watch.repeats == before
    assert not watch.frozen


@pytest.mark.parametrize("found", [None, [], {}, {"pairs": "x"}, {"pairs": -1, "equal": 0}, {"pairs": 1, "equal": 2}])
def test_what_is_kept_may_be_anything(found: object) -> None:
    assert Repeats.from_json(found) == Repeats()


@pytest.mark.parametrize("sd", [0.4, 1.0, 5.0, 600.0])
def test_what_a_meter_at_rest_shows_is_learnt_before_the_wind(sd: float) -> None:
    """Equal neighbours of rounded normal noise: the sum of the squares of what falls on each count."""
    rng = np.random.default_rng(1_000_002)
    raws = np.round(84_200.3 + sd * rng.standard_normal(1600)).astype(int).tolist()
    found = learnt(raws)
    assert found is not None
    falls = [_normal((n + 0.5 - 0.3) / sd) - _normal((n - 0.5 - 0.3) / sd) for n in range(-4000, 4001)]
    share = sum(p * p for p in falls)
    assert share <= found.equal / found.pairs + 0.02 <= share + 0.1
    assert learnt(raws[:200]) is None


def _normal(x: float) -> float:
    return 0.5 * (1.0 + math.erf(x / math.sqrt(2.0)))


def test_a_load_that_swings_hides_no_repeats() -> None:
    """A meter calibrated mostly while the load swings: its rest is what counts."""
    rng = np.random.default_rng(1_000_003)
    swing = 4000.0 * np.sin(np.arange(1600) / 7.0) + 0.5 * rng.standard_normal(1600)
    rest = 0.5 * rng.standard_normal(1600)
    raws = np.round(84_200.0 + np.concatenate([swing[:800], rest, swing[800:]])).astype(int).tolist()
    found = learnt(raws)
    assert found is not None
    assert found.equal / found.pairs > 0.35


def test_a_frozen_meter_teaches_nothing_before_the_wind() -> None:
    rng = np.random.default_rng(1_000_004)
    raws = np.round(84_200.0 + 600.0 * rng.standard_normal(800)).astype(int).tolist()
    assert learnt([*raws, *[84_200] * 60, *raws]) is None
    assert learnt([None] * 2000) is None
