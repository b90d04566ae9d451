"""Short made-up scenes: a course of the handle's speed and of the torque, and what the estimator reads from it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.support.offline import Floats
from winding_coach.base.units import OZF_IN_NM
from winding_coach.signals.estimator import Estimator
from winding_coach.signals.reading import CrankState, Reading

SCALE = 1.85 * OZF_IN_NM
HZ = 80.0


@dataclass
class Scene:
    """A made-up scene. speed: of the handle over time (rev/s); trend: torque over time (ozf·in)."""

    speed: Floats
    trend: Floats
    hz: float = HZ
    ripple: float = 0.04
    second: float = 0.3
    noise: float = 0.003
    gear: float = 0.0
    one_sensor: bool = True
    counts: bool = True
    seed: int = 1
    t_s: Floats = field(init=False)
    torque_Nm: Floats = field(init=False)
    count: Floats = field(init=False)

    def __post_init__(self) -> None:
        n = len(self.speed)
        self.t_s = np.arange(n) / self.hz
        turns = np.cumsum(self.speed) / self.hz
        angle = 2 * np.pi * turns
        wave = (1 - self.second) * np.sin(angle + 0.4) + self.second * np.sin(2 * angle + 1.1)
        wave += self.gear / max(self.ripple, 1e-9) * np.sin(15 * angle)
        noise = np.random.default_rng(self.seed).normal(0.0, self.noise, n)
        self.torque_Nm = (self.trend * (1 + self.ripple * wave) + noise) * OZF_IN_NM
        moves = np.diff(np.floor(turns + 0.35), prepend=0.0)
        self.count = np.cumsum(np.abs(moves) if self.one_sensor else moves)

    def run(self, estimator: Estimator | None = None, skip: NDArray[np.bool_] | None = None) -> list[Reading | None]:
        """Readings after every line; None before there are any and for lines that were lost."""
        estimator = estimator or Estimator(SCALE, self.hz, two_sensors=not self.one_sensor)
        readings: list[Reading | None] = []
        for i in range(len(self.t_s)):
            if skip is not None and skip[i]:
                estimator.at(float(self.t_s[i]))
            else:
                count = float(self.count[i]) if self.counts else None
                estimator.add(float(self.t_s[i]), float(self.torque_Nm[i]), count)
            readings.append(estimator.reading)
        return readings


def seconds(*pieces: tuple[float, float], hz: float = HZ) -> Floats:
    """A course of values: each piece is (how long, the value)."""
    return np.concatenate([np.full(round(long * hz), value) for long, value in pieces])


def ramp(*pieces: tuple[float, float], start: float, hz: float = HZ) -> Floats:
    """A course of torque: each piece is (how long, rate)."""
    return start + np.cumsum(np.concatenate([np.full(round(long * hz), rate) for long, rate in pieces])) / hz


def states(readings: list[Reading | None]) -> list[CrankState]:
    return [CrankState.UNKNOWN if reading is None else reading.crank_state for reading in readings]


def delay_of(readings: list[Reading | None], start_s: float, hz: float = HZ) -> float:
    """Seconds from start_s until the crank is first called stalled."""
    told = states(readings)[round(start_s * hz) :]
    return told.index(CrankState.STALLED) / hz


def never_stalled(readings: list[Reading | None], since_s: float = 0.0, until_s: float = 1e9) -> bool:
    return CrankState.STALLED not in states(readings)[int(since_s * HZ) : int(min(until_s * HZ, 1e9))]


def rate_m(reading: Reading | None) -> float:
    """Fast rate in milli-ozf·in a second."""
    assert reading is not None
    assert reading.rate_fast_Nm_per_s is not None
    return reading.rate_fast_Nm_per_s / OZF_IN_NM * 1e3
