"""When a reading stands still."""

from __future__ import annotations

import numpy as np
import pytest

from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.commissioning.steady import Plateau, SteadyWatch
from winding_coach.meter.frames import NO_DATA, RAW_MAX, SATURATED, SETTLING, Sample, encode_sample
from winding_coach.meter.reader import MeterReader
from winding_coach.simulator.weights import WeighedMeter, WeightBench


def plateaus(raws: list[float], lines_per_s: float = 80.0, flags: int = 0) -> list[Plateau | None]:
    reader, watch = MeterReader(SIMULATED), SteadyWatch()
    lines = [
        encode_sample(Sample(i, round(1e6 * (i + 1) / lines_per_s), None if flags & NO_DATA else round(raw), flags))
        for i, raw in enumerate(raws)
    ]
    return [watch.add(sample) for sample in reader.feed(b"".join(lines))]


@pytest.mark.parametrize("lines_per_s", [10.0, 80.0, 320.0])
def test_noise_stands_still_and_its_mean_is_given(lines_per_s: float) -> None:
    rng = np.random.default_rng(1)
    raws = 5000.0 + 46.0 * rng.standard_normal(round(2.2 * lines_per_s) + 1)
    found = [plateau for plateau in plateaus(list(raws), lines_per_s) if plateau is not None]
    assert found
    assert found[0].readings == pytest.approx(2.0 * lines_per_s, abs=2)
    assert found[0].counts == pytest.approx(5000.0, abs=5 * 46.0 / np.sqrt(found[0].readings))
    assert found[0].sd_counts == pytest.approx(46.0, rel=0.5)
    assert not found[0].saturated


def test_a_creep_is_waited_for() -> None:
    rng = np.random.default_rng(2)
    creep = 5000.0 + 100.0 * np.arange(400) / 80.0 + 46.0 * rng.standard_normal(400)
    assert all(plateau is None for plateau in plateaus(list(creep)))


def test_a_swing_is_waited_for() -> None:
    rng = np.random.default_rng(3)
    swing = 5000.0 + 300.0 * np.sin(2 * np.pi * 1.6 * np.arange(400) / 80.0) + 46.0 * rng.standard_normal(400)
    assert all(plateau is None for plateau in plateaus(list(swing)))


@pytest.mark.parametrize("flags", [NO_DATA, SETTLING])
def test_what_is_no_reading_is_not_taken(flags: int) -> None:
    assert plateaus([5000.0] * 400, flags=flags) == [None] * 400


def test_saturation_is_told() -> None:
    found = [plateau for plateau in plateaus([RAW_MAX] * 200, flags=SATURATED) if plateau]
    assert found[0].saturated


def test_a_hung_weight_is_read_when_it_has_come_to_rest() -> None:
    bench = WeightBench(WeighedMeter(), np.random.default_rng(4))
    reader, watch = MeterReader(SIMULATED), SteadyWatch()
    bench.hang(2.942e-3)
    found: list[tuple[float, Plateau]] = []
    for tick in range(400):
        for sample in reader.feed(bench.advance(0.0125)):
            plateau = watch.add(sample)
            if plateau is not None:
                found.append((tick * 0.0125, plateau))
    at_s, first = found[0]
    assert 2.0 < at_s < 6.0
    assert SIMULATED.torque_Nm(first.counts) == pytest.approx(2.942e-3, abs=0.5e-6)


def test_a_restart_begins_anew() -> None:
    reader, watch = MeterReader(SIMULATED), SteadyWatch()
    lines = [encode_sample(Sample(i, 12_500 * (i + 1), 5000)) for i in range(150)] * 2
    assert [watch.add(sample) for sample in reader.feed(b"".join(lines))] == [None] * 300
    watch.restart()
    assert [watch.add(sample) for sample in reader.feed(b"".join(lines))] == [None] * 300


def test_a_drift_is_told_from_a_swing() -> None:
    """Both were "still the weight"."""

    def drift(raws: np.ndarray) -> float | None:
        reader, watch = MeterReader(SIMULATED), SteadyWatch()
        for i, raw in enumerate(raws):
            for sample in reader.feed(encode_sample(Sample(i, round(i * 12_500), round(float(raw)), 0))):
                watch.add(sample)
        return watch.drift_per_min

    t = np.arange(2400) / 80.0
    noise = np.random.default_rng(4).normal(0.0, 45.0, t.size)
    assert drift(84_200 + 365 * t + noise) == pytest.approx(60 * 365, rel=0.02)
    assert drift(84_200 + 2000 * np.sin(2 * np.pi * 0.7 * t) + noise) is None
    assert drift(84_200 + noise) is None
    assert drift(np.full(t.size, 84_200.0)) is None
