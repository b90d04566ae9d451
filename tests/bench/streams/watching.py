"""Feeds a stream to the estimator by its public entrance and keeps what it says after each line."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.bench.streams.drawing import Draw
from tests.bench.streams.making import COUNTS_AT_PEAK, PER_TURN, ZERO_COUNTS, Sensor, Stream
from tests.bench.streams.motion import Floats
from winding_coach.meter.calibration import Calibration
from winding_coach.meter.reader import MeterReader
from winding_coach.signals.estimator import Estimator
from winding_coach.signals.reading import CrankState, Reading

READINGS_PER_S = 40.0
"""The estimator is asked as often as this at most."""
TURNS, STANDS, REVERSES, CANNOT_TELL = 0, 1, 2, 3
_SAYS = {
    CrankState.TURNING: TURNS,
    CrankState.STALLED: STANDS,
    CrankState.REVERSING: REVERSES,
    CrankState.UNKNOWN: CANNOT_TELL,
}


@dataclass(frozen=True)
class Watched:
    """Answers at lines `where` of the stream. p: chance that the crank stands, nan for cannot tell.

    turns: crank turns since the first line, nan if not known. cpu_s: seconds of the processor.
    """

    where: NDArray[np.int64]
    says: NDArray[np.int8]
    p: Floats
    torque_Nm: Floats
    turns: Floats
    cpu_s: float


def estimator_for(one: Draw, sensor: Sensor) -> Estimator:
    """Return an estimator as the coach makes it, with what the meter's hello says of the sensor."""
    estimator = Estimator(one.expected_Nm)
    estimator.two_sensors = sensor == "quadrature"
    if hasattr(estimator, "pulses_per_turn"):
        estimator.pulses_per_turn = PER_TURN[sensor]
    return estimator


def _p_standing(reading: Reading) -> float:
    """Return the stated chance that the crank stands; before readings had one, what its confidence comes to."""
    if hasattr(reading, "p_standing"):
        stated: float | None = reading.p_standing
        return float("nan") if stated is None else stated
    if reading.crank_state is CrankState.UNKNOWN:
        return float("nan")
    sure = reading.crank_confidence
    return sure if reading.crank_state is CrankState.STALLED else 1.0 - sure


def watched(one: Stream, sensor: Sensor) -> Watched:
    """Feed every line, and ask."""
    count = one.count(sensor)
    turns = [None] * len(one.t_s) if count is None else (count / PER_TURN[sensor]).tolist()
    lines = list(zip(one.t_s.tolist(), one.torque_Nm.tolist(), turns, strict=True))
    every = max(round(one.draw.lines_per_s / READINGS_PER_S), 1)
    estimator = estimator_for(one.draw, sensor)
    readings: list[Reading | None] = []
    began = time.process_time()
    for i, line in enumerate(lines):
        estimator.add(*line)
        if i % every == every - 1:
            readings.append(estimator.reading)
    took = time.process_time() - began
    where = np.arange(every - 1, len(lines), every)[: len(readings)]
    return _kept(where, readings, took)


def watched_on_wire(one: Stream, sensor: Sensor) -> Watched:
    """Feed bytes through the meter's reader, as the coach does."""
    reader = MeterReader(_calibration(one), float(ZERO_COUNTS))
    estimator = estimator_for(one.draw, sensor)
    readings: list[Reading | None] = []
    began = time.process_time()
    for data in one.wire(sensor):
        for sample in reader.feed(data):
            assert sample.torque_Nm is not None
            estimator.add(sample.device_s, sample.torque_Nm, sample.crank_turns, sample.distance_m)
            readings.append(estimator.reading)
    took = time.process_time() - began
    return _kept(np.arange(len(readings)), readings, took)


def _calibration(one: Stream) -> Calibration:
    return Calibration(
        id="bench",
        made="",
        meter="bench",
        zero_counts=float(ZERO_COUNTS),
        Nm_per_count=one.draw.expected_Nm / COUNTS_AT_PEAK,
    )


def _kept(where: NDArray[np.int64], readings: list[Reading | None], took: float) -> Watched:
    nan = float("nan")
    says = [CANNOT_TELL if r is None else _SAYS[r.crank_state] for r in readings]
    turns = [nan if r is None or r.crank_turns is None else r.crank_turns for r in readings]
    return Watched(
        where,
        np.array(says, dtype=np.int8),
        np.array([nan if r is None else _p_standing(r) for r in readings]),
        np.array([nan if r is None else r.torque_Nm for r in readings]),
        np.array(turns),
        took,
    )
