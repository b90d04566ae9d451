"""The bench's meter: its lines are the protocol's, and the real reader makes of them what was so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.bench.walkers.people import Drawn, draw
from tests.bench.walkers.wire import ZERO_OFF_NM, Wire, line
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.frames import Sample, encode_sample
from winding_coach.meter.reader import MeterReader, TorqueSample

PEAK_NM = 7.8e-3


def sent(drawn: Drawn, channels: str, torque_Nm: float = 5e-3, seconds: float = 30.0) -> list[TorqueSample]:
    wire = Wire(drawn, channels, 10.0, PEAK_NM, np.random.default_rng(1))
    reader = MeterReader(SIMULATED)
    found: list[TorqueSample] = []
    for number in range(1, int(seconds / 0.025) + 1):
        at_s = number * 0.025
        found += reader.feed(wire.advance(0.025, torque_Nm, 1.2 * at_s, 2.0 - 0.02 * at_s, 0.0))
    assert reader.bad_lines == reader.lost_lines == 0
    return found


def meter(**traits: object) -> Drawn:
    usual = {"lines_per_s": 80.0, "ripple": 0.0, "noise": 0.0005, "pulses": 1, "pulses_lost": 0.0}
    return replace(draw(1), **(usual | traits))  # type: ignore[arg-type]


def test_a_line_is_the_encoder_s_own() -> None:
    assert line("D,7,50012,84211,08,c=3,d=1803") == encode_sample(Sample(7, 50012, 84211, 8, 3, 1803))


@pytest.mark.parametrize("rate", [10.0, 80.0, 320.0])
def test_torque_time_and_rate_are_read_back(rate: float) -> None:
    samples = sent(meter(lines_per_s=rate), "")
    assert len(samples) == pytest.approx(30.0 * rate, abs=rate)
    gaps = np.diff([one.device_s for one in samples])
    assert gaps == pytest.approx(1.0 / rate, abs=2e-6)
    read = [one.torque_Nm for one in samples[4:] if one.torque_Nm is not None]
    assert np.mean(read) == pytest.approx(5e-3 + ZERO_OFF_NM, rel=0.002)
    assert np.std(read) == pytest.approx(0.0005 * PEAK_NM, rel=0.15)
    assert samples[-1].crank_turns is None
    assert samples[-1].distance_m is None


def test_ripple_is_at_the_crank_and_its_harmonics() -> None:
    samples = sent(meter(ripple=0.06), "", seconds=50.0)
    torque = np.array([one.torque_Nm for one in samples[4:]])
    power = np.abs(np.fft.rfft(torque - torque.mean()))
    strongest = np.fft.rfftfreq(len(torque), 1 / 80.0)[np.argsort(power)[-2:]]
    assert sorted(strongest.tolist()) == pytest.approx([1.2, 2.4], abs=0.05)


@pytest.mark.parametrize("pulses", [1, 4])
def test_pulses_give_crank_turns_whatever_their_number(pulses: int) -> None:
    samples = sent(meter(pulses=pulses), "c")
    assert samples[-1].crank_turns == pytest.approx(36.0, abs=1.0)


def test_lost_pulses_are_lost() -> None:
    samples = sent(meter(pulses=4, pulses_lost=0.05), "c", seconds=300.0)
    assert (samples[-1].crank_turns or 0.0) / 360.0 == pytest.approx(0.95, abs=0.02)


def test_distance_has_its_noise_and_is_absurd_now_and_then() -> None:
    samples = sent(meter(), "cd", seconds=90.0)
    off = np.array([(one.distance_m or 0.0) - (2.0 - 0.02 * one.device_s) for one in samples])
    near = np.abs(off) < 0.05
    assert np.std(off[near]) == pytest.approx(0.004, rel=0.1)
    assert 0.0 < 1.0 - near.mean() < 0.004
