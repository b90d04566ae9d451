"""A simulated meter on the calibration bench: weights on its arms in, wire bytes out. Figures invented.

The arm swings when a weight is hung; a sticking bearing holds back; a pull that is off the axis and tilted is torque.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from winding_coach.meter.calibration import SIMULATED, Calibration
from winding_coach.meter.frames import (
    OVERLOAD,
    PROTOCOL,
    RAW_MAX,
    SATURATED,
    SETTLING,
    Hello,
    Sample,
    encode_hello,
    encode_sample,
)

SWING_SHARE, SWING_HZ, SWING_FADES_S = 0.05, 1.6, 0.5
MAINS_HZ = 50.0
HELLO_EVERY_S = 5.0


@dataclass(frozen=True, slots=True)
class WeighedMeter:
    """sticks_Nm: torque that the bearing holds back. arms_off_m: of the arm's middle from the axis, to the right.
    bend_per_Nm: share of its reading that the cell gains with each N·m. zero_drift_Nm_per_s: of its zero.
    pull_Nm_per_N: what a straight pull lets through; hook_off_m: of the hook from the axis, felt where the pull is
    tilted. stop_Nm: where the arm touches a stop. creeps: share of a load that comes late. end_counts: of the
    converter's range. hum_Nm: of the mains, rms. frozen: the converter repeats its first value."""

    lines_per_s: float = 80.0
    noise_Nm: float = 0.63e-6
    sticks_Nm: float = 0.0
    arms_off_m: float = 0.0
    bend_per_Nm: float = 0.0
    zero_drift_Nm_per_s: float = 0.0
    pull_Nm_per_N: float = 0.0
    hook_off_m: float = 0.0
    stop_Nm: float = math.inf
    creeps: float = 0.0
    end_counts: float = float(RAW_MAX)
    hum_Nm: float = 0.0
    frozen: bool = False
    calibration: Calibration = SIMULATED


class WeightBench:
    """`hang` changes the load; `advance` lets time pass and returns what the meter sent."""

    def __init__(self, meter: WeighedMeter, rng: np.random.Generator) -> None:
        self._meter = meter
        self._rng = rng
        self._line = 0
        self._at_s = 0.0
        self._load_Nm = 0.0
        self._cell_Nm = 0.0
        self._crept_Nm = 0.0
        self._first: int | None = None
        self._step_Nm = 0.0
        self._hung_s = 0.0
        self._asked = True

    def hang(self, torque_Nm: float, weight_N: float = 0.0, *, pull_N: float = 0.0, tilt_rad: float = 0.0) -> None:
        """Hang a weight, or nothing: its torque about the axis and its weight; and a pull with its tilt."""
        meter = self._meter
        load = torque_Nm + weight_N * meter.arms_off_m
        load += pull_N * (meter.pull_Nm_per_N + meter.hook_off_m * math.sin(tilt_rad))
        load = min(max(load, -meter.stop_Nm), meter.stop_Nm)
        self._step_Nm = load - self._load_Nm
        self._load_Nm = load
        self._hung_s = self._at_s
        held = self._meter.sticks_Nm
        self._crept_Nm += meter.creeps * (self._cell_Nm - self._crept_Nm)
        self._cell_Nm = min(max(self._cell_Nm, load - held), load + held)

    def answer(self, data: bytes) -> None:
        """Take what the host sent."""
        self._asked = self._asked or b"?" in data

    def advance(self, dt_s: float) -> bytes:
        """Let `dt_s` pass; return the lines that became due."""
        end_s, sent = self._at_s + dt_s, []
        step_s = 1.0 / self._meter.lines_per_s
        while (self._line + 1) * step_s <= end_s + 1e-9:
            self._at_s = (self._line + 1) * step_s
            if self._asked or self._line % round(HELLO_EVERY_S * self._meter.lines_per_s) == 0:
                self._asked = False
                fields = (("board", "simulated"), ("rate", f"{self._meter.lines_per_s:.0f}"), ("ch", ""))
                sent.append(encode_hello(Hello(PROTOCOL, fields)))
            sent.append(self._sample())
            self._line += 1
        self._at_s = end_s
        return b"".join(sent)

    def _sample(self) -> bytes:
        meter = self._meter
        since_s = self._at_s - self._hung_s
        swing = SWING_SHARE * self._step_Nm * math.exp(-since_s / SWING_FADES_S)
        torque = self._cell_Nm + self._crept_Nm + swing * math.cos(2.0 * math.pi * SWING_HZ * since_s)
        torque += meter.hum_Nm * math.sqrt(2.0) * math.sin(2.0 * math.pi * MAINS_HZ * self._at_s)
        torque += meter.zero_drift_Nm_per_s * self._at_s + meter.noise_Nm * float(self._rng.standard_normal())
        torque *= 1.0 + meter.bend_per_Nm * torque
        raw = round(meter.calibration.zero_counts + torque / meter.calibration.Nm_per_count)
        self._first = raw if self._first is None else self._first
        raw = self._first if meter.frozen else raw
        flags = SETTLING if self._line < 4 else 0
        if not -meter.end_counts < raw < meter.end_counts:
            raw = round(min(max(raw, -meter.end_counts), meter.end_counts))
            flags |= SATURATED | OVERLOAD
        elif meter.calibration.overloaded(raw):
            flags |= OVERLOAD
        return encode_sample(Sample(self._line % 2**16, round(1e6 * self._at_s) % 2**32, raw, flags))
