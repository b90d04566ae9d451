"""What the cell feels beside the motor's torque, and what the converter makes of it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.simulator.test_bench import EXACT, still
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.frames import FrameParser, Sample
from winding_coach.simulator.bench import GEAR_SHARE, SECOND_SHARE, Bench, MeterModel

RATIO = 10


def read(bench: Bench, meter: MeterModel, seconds: float) -> np.ndarray:
    """(torque as the calibration reads it, torque of the motor, angle of the crank) of each line."""
    parser, rows = FrameParser(), []
    for _ in range(round(seconds * 80)):
        for frame in parser.feed(bench.advance(0.0125)):
            if isinstance(frame, Sample) and frame.raw is not None:
                truth = bench.truth
                rows.append((meter.calibration.torque_Nm(frame.raw), truth.torque_Nm, truth.turns / RATIO))
    return np.array(rows)


def test_ripple_has_its_harmonics_and_the_gears_line() -> None:
    """Least squares on sine and cosine at 1, 2, 3 and 10 times the crank: 0.06, 0.4 and 0.1 of it, nothing at 3."""
    meter = replace(EXACT, ripple=0.06)
    bench, _ = still(meter, rev_per_s=0.9)
    found = read(bench, meter, 60.0)[1600:]
    share = found[:, 0] / found[:, 1] - 1.0
    angle = 2.0 * math.pi * found[:, 2]
    orders = (1, 2, 3, RATIO)
    columns = [wave(order * angle) for order in orders for wave in (np.sin, np.cos)]
    fit, *_ = np.linalg.lstsq(np.column_stack(columns), share, rcond=None)
    amplitudes = np.hypot(fit[0::2], fit[1::2])
    assert amplitudes == pytest.approx([0.06, 0.06 * SECOND_SHARE, 0.0, 0.06 * GEAR_SHARE], abs=6e-4)


@pytest.mark.parametrize("slope", [1.0, -1.0])
@pytest.mark.parametrize("bend", [0.0, 0.1, -0.1])
def test_a_bent_calibration_of_either_sign_reads_back_what_is_so(slope: float, bend: float) -> None:
    """bend: change of the slope over a million counts, as a share. To half a count."""
    one = SIMULATED.Nm_per_count
    meter = replace(
        EXACT, calibration=replace(SIMULATED, Nm_per_count=slope * one, Nm_per_count2=bend * one / 1_000_000)
    )
    bench, _ = still(meter)
    found = read(bench, meter, 30.0)
    assert found[-1, 1] > 1.5e-3
    assert np.max(np.abs(found[:, 0] - found[:, 1])) < 0.7 * one
