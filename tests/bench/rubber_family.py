"""Rubbers that are not quite the law: a wider family, to judge what is learned from logged winds. Invented.

Written from the physics alone: nothing of `winding_coach.rubber` is used but the figures of a motor. Stress is bent by
two smooth waves, hysteresis has five stops of other widths, weighted anyhow, and an onset anywhere, relaxation other
times, knots begin at another slope, friction grows otherwise. Lengths, masses, zeros, distances and turns are off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from winding_coach.rubber.figures import MotorFigures

HOOKS_SHARE = 0.75
STOPS = (0.35, 0.8, 1.5, 3.0, 6.0)
TIMES_S = (0.1, 1.0, 10.0, 100.0, 1000.0)


@dataclass(frozen=True)
class TrueRubber:
    """One batch as it really is."""

    mu: float
    limit: float
    c2: float
    waves: tuple[float, float, float, float]
    kappa: float
    width: float
    weights: tuple[float, ...]
    onset: tuple[float, float]
    g: float
    friction: float
    friction_turns: float
    friction_power: float
    slope: float
    soft_r: float
    soft_m: float
    soft_beta: float
    median: float
    shape: float
    motor_sd: float

    def stress(self, stretch: float) -> float:
        """Nominal stress on the way up, broken in."""
        if stretch <= 1.0:
            return 0.0
        left = max(self.limit - (stretch**2 + 2 / stretch - 3), 1.0)
        first = self.mu * self.limit / left * (stretch - stretch**-2)
        second = 2 * self.c2 * (1 - stretch**-3) / (2 * stretch + stretch**-2)
        a, b, pa, pb = self.waves
        return (first + second) * math.exp(a * math.sin(0.6 * stretch + pa) + b * math.sin(1.3 * stretch + pb))

    def energy(self, stretch: float) -> float:
        """Strain energy, without the waves: softening hardly minds."""
        if stretch <= 1.0:
            return 0.0
        used = min((stretch**2 + 2 / stretch - 3) / self.limit, 0.99)
        return -0.5 * self.mu * self.limit * math.log1p(-used) + self.c2 * math.log((2 * stretch + stretch**-2) / 3)


def person(rng: np.random.Generator) -> np.ndarray:
    """Where a person's rubbers lie about the general law: logarithms of seven properties."""
    return np.asarray(rng.normal(0.0, [0.07, 0.06, 0.2, 0.35, 0.4, 0.6, 0.4]))


def batch(rng: np.random.Generator, whose: np.ndarray) -> TrueRubber:
    """One batch of a person."""
    stiff, limit, kappa, width, g, friction, soft = whose + rng.normal(0.0, [0.05, 0.04, 0.1, 0.15, 0.2, 0.3, 0.2])
    weights = rng.dirichlet([4.0] * len(STOPS))
    onset = float(rng.uniform(1.5, 4.0))
    return TrueRubber(
        mu=0.388e6 * math.exp(stiff),
        limit=129.0 * math.exp(limit),
        c2=0.28e6 * math.exp(stiff + rng.normal(0.0, 0.15)),
        waves=(*rng.normal(0.0, 0.012, 2), *rng.uniform(0.0, 6.3, 2)),
        kappa=min(0.453 * math.exp(kappa), 0.85),
        width=0.114 * math.exp(width) * 0.8,
        weights=tuple(float(w) for w in weights),
        onset=(onset, onset + float(rng.uniform(1.0, 3.0))),
        g=0.031 * math.exp(g),
        friction=0.086 * math.exp(friction),
        friction_turns=float(rng.uniform(10.0, 24.0)),
        friction_power=float(rng.uniform(0.7, 1.4)),
        slope=float(rng.uniform(1.05, 1.35)),
        soft_r=10.0 * math.exp(soft),
        soft_m=1e6 * float(rng.uniform(0.7, 1.4)),
        soft_beta=float(rng.uniform(0.1, 0.2)),
        median=9.61 * math.exp(rng.normal(0.0, 0.03)),
        shape=45.0 * math.exp(rng.normal(0.0, 0.4)),
        motor_sd=float(rng.uniform(0.015, 0.045)),
    )


@dataclass
class TrueMotor:
    """One motor of a batch. figures: as they truly are; scale: its own torque."""

    rubber: TrueRubber
    figures: MotorFigures
    scale: float = 1.0

    def __post_init__(self) -> None:
        f = self.figures
        self.area = (f.mass_kg - f.orings_kg) / (f.strands * f.loop_m) / 930.0
        self.volume = f.strands * self.area * f.loop_m
        self.radius = 0.706 * math.sqrt(f.strands * self.area / math.pi)
        self.per_turn = 2 * math.pi * self.radius / f.loop_m
        self.stretch = 1.0
        self.stops = [0.0] * len(STOPS)
        self.q = [0.0] * len(TIMES_S)
        self.s_f = 0.0
        self.turns = 0.0
        self.torque = 0.0
        uses = {1: 0.0, 2: 0.8}
        share = uses.get(f.use)
        hooks = HOOKS_SHARE * f.loop_m
        self.peak = math.inf if share is None else self.rubber.energy(self.solve(hooks, share * self.breaks(hooks)))
        if share == 0.0:
            self.peak = 0.0

    def solve(self, distance: float, turns: float) -> float:
        """Strand stretch, by Newton's method from above."""
        x, tau2 = distance / self.figures.loop_m, (self.per_turn * turns) ** 2
        y = x + tau2 ** (1 / 3) + 1e-9
        for _ in range(60):
            step = (y**3 - x * x * y - tau2) / (3 * y * y - x * x)
            y -= step
            if abs(step) < 1e-12 * y:
                break
        return float(y)

    def breaks(self, hooks: float) -> float:
        """Turns at which half of such motors break."""
        y, x = self.rubber.median, hooks / self.figures.loop_m
        return float(math.sqrt(y * (y * y - x * x)) / self.per_turn)

    def move(self, turns: float, distance: float, dt: float) -> None:
        """Go there in `dt` seconds."""
        r, f = self.rubber, self.figures
        y = self.solve(distance, turns)
        step = y - self.stretch
        for i, wide in enumerate(STOPS):
            self.stops[i] = min(1.0, max(-1.0, self.stops[i] + 2 * step / (r.width * wide)))
        lost = r.kappa * min(1.0, max(0.0, (y - r.onset[0]) / (r.onset[1] - r.onset[0])))
        held = 1 - 0.5 * lost * (1 - sum(w * s for w, s in zip(r.weights, self.stops, strict=True)))
        energy = r.energy(y)
        self.peak = max(self.peak, energy)
        soft = 1.0
        if self.peak < math.inf:
            arg = (self.peak - energy) / (r.soft_m + r.soft_beta * self.peak)
            soft = (1 - math.erf(arg) / r.soft_r) / (1 - 1 / r.soft_r)
        stress = r.stress(y) * held * soft
        for i, time in enumerate(TIMES_S):
            self.q[i] += (stress - self.q[i]) * (1 - math.exp(-dt / time))
        stress = max(0.0, stress - r.g * sum(self.q[:4]))
        x = distance / f.loop_m
        knotted = max(0.0, 1 - x * math.sqrt(1 + r.slope**2) / y)
        self.s_f = min(1.0, max(-1.0, self.s_f + 2 * (turns - self.turns) / r.friction_turns))
        torque = self.volume * stress * 2 * self.per_turn * turns / (3 * y * y - x * x) * self.radius / f.loop_m
        self.torque = self.scale * torque * (1 + r.friction * self.s_f * knotted**r.friction_power)
        self.turns, self.stretch = turns, y
