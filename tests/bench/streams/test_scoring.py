"""The scoring on answers that are known: the truth itself, the truth late, a cry at a turning crank; intervals."""

from __future__ import annotations

import math
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from tests.bench.streams import intervals, tables
from tests.bench.streams.making import STANDING, Sensor, Stream, stream
from tests.bench.streams.picture import picture
from tests.bench.streams.scoring import SETTLED_S, Score, aftermath_of, scored
from tests.bench.streams.watching import REVERSES, STANDS, TURNS, Watched, watched, watched_on_wire

SEED = 800_100


def answers(one: Stream, late_s: float = 0.0) -> Watched:
    """The truth, so many seconds late."""
    i = np.clip(np.searchsorted(one.t_s, one.t_s - late_s), 0, len(one.t_s) - 1)
    stands = one.label[i] == STANDING
    says = np.where(stands, STANDS, np.where(one.speed[i] < -0.15, REVERSES, TURNS)).astype(np.int8)
    p = np.where(stands, 0.95, 0.05)
    return Watched(np.arange(len(i)), says, p, one.true_Nm[i], one.angle[i] - one.angle[0], 0.0)


def test_the_truth_scores_full_marks() -> None:
    for seed in range(SEED, SEED + 4):
        one = stream(seed, 80.0)
        score = scored(one, answers(one), "none")
        assert score.false == score.false_alarms == 0
        assert score.stands
        assert all(stand.delay_s is not None and stand.delay_s <= 0.5 for stand in score.stands)
        assert np.median([stand.delay_s for stand in score.stands if stand.delay_s is not None]) < 0.02
        assert abs(score.peak_error) < 1e-3
        assert score.count_at_peak == pytest.approx(0.0, abs=1e-9)
        assert score.count_at_end == pytest.approx(0.0, abs=1e-9)
        assert all(late is not None and late < 0.5 for late in score.reversal_s)


def test_late_answers_are_late_and_not_false() -> None:
    one = stream(SEED, 80.0)
    score = scored(one, answers(one, 0.5), "none")
    seen = [stand.delay_s for stand in score.stands if stand.delay_s is not None]
    assert np.median(seen) == pytest.approx(0.5, abs=0.03)
    assert score.false == 0


def test_a_cry_at_a_turning_crank_is_false_once() -> None:
    one = stream(SEED, 80.0)
    true = answers(one)
    label = one.label.astype(float)
    free = (label == 0.0) & ~aftermath_of(one, one.t_s, "none") & (one.t_s > SETTLED_S + 1.0)
    begin = int(np.flatnonzero(free & np.roll(free, -160))[0])
    for lines, alarms in ((8, 0), (60, 1)):
        says = true.says.copy()
        says[begin : begin + lines] = STANDS
        score = scored(one, replace(true, says=says), "none")
        assert (score.false, score.false_alarms) == (1, alarms)


def test_calibrated_chances_are_found_calibrated_and_boasts_are_not() -> None:
    """The truth drawn with the stated chance lies within the interval in most bins; boasts of 98 % do not."""
    random = np.random.default_rng(1)
    one = stream(SEED, 10.0).draw
    honest, boasting = [], []
    for _ in range(40):
        stated = random.random(500)
        stood = (random.random(500) < stated).astype(np.float64)
        honest.append((one, Score(stated=stated, stood=stood)))
        boasting.append((one, Score(stated=np.where(stated > 0.5, 0.98, 0.02), stood=stood)))
    _, points = tables.reliability(honest)
    inside = [low <= mean <= high for mean, _, low, high, _ in points]
    assert sum(inside) >= len(inside) - 2
    _, points = tables.reliability(boasting)
    mean, share, _, high, _ = points[-1]
    assert mean == pytest.approx(0.98)
    assert share == pytest.approx(0.75, abs=0.02)
    assert high < mean


def test_intervals_are_the_published_ones() -> None:
    """Garwood: 10 events, 4.80-18.39. Clopper & Pearson: 10 of 20, 27.2-72.8 %. Tables of both are in print
    (Biometrika Tables for Statisticians, 40 and 41)."""
    assert intervals.rate(10, 1.0) == pytest.approx((10.0, 4.795, 18.390), abs=1e-3)
    assert intervals.rate(0, 2.0)[2] == pytest.approx(3.689 / 2.0, abs=1e-3)
    assert intervals.share(10, 20) == pytest.approx((0.5, 0.272, 0.728), abs=1e-3)
    value, low, high = intervals.quantile([math.inf, *range(99)], 0.5)
    assert (value, low, high) == (50, 39, 60)


def test_picture_is_well_formed_and_holds_every_point() -> None:
    points = [(0.1, 0.12, 0.05, 0.2, 0.5), (0.9, 0.8, 0.7, 0.95, 0.5)]
    root = ElementTree.fromstring(picture([("torque alone", points, points), ("one pulse", points, [])], "invented"))
    assert len(root.findall(".//{*}circle")) == 4
    assert len(root.findall(".//{*}polyline")) == 1


def test_bytes_and_values_give_the_same_answers() -> None:
    """End to end: the meter's own lines through the reader; only the rounding of counts and microseconds is between."""
    one = stream(SEED, 80.0)
    sensors: tuple[Sensor, ...] = ("none", "quadrature")
    for sensor in sensors:
        by_value, by_wire = watched(one, sensor), watched_on_wire(one, sensor)
        assert len(by_wire.says) == len(one.t_s)
        assert np.mean(by_value.says == by_wire.says[by_value.where]) > 0.999
