"""A body: a hand on the crank and two feet, with what a mind wants of them in, and where they are out."""

from __future__ import annotations

import math

import numpy as np

from tests.bench.walkers.people import Walker

HAND_SETTLES_S = 0.25
WALKS_OUT_M_PER_S = 0.5
UNEVEN_LASTS_S = 1.5


class Body:
    """Crank and feet of one person. A mind sets `crank` (-1, 0, 1 times the own speed), and calls the feet's verbs.

    rev: revolutions of the handle so far. distance_m: from hook to hook. load: torque over the peak's.
    """

    def __init__(self, walker: Walker, loop_m: float, hooks_m: float, rng: np.random.Generator) -> None:
        self.walker = walker
        self.rng = rng
        self.at_s = 0.0
        self.rev = 0.0
        self.speed = 0.0
        self.crank = 0.0
        self.pace_told = 1.0
        self.back_speed = 0.5
        self.distance_m = loop_m
        self.hooks_m = hooks_m
        self.hooked = False
        self.steps = 0
        self.stalled_until_s = 0.0
        self._to_m = loop_m
        self._v = 0.0
        self._stepping = False
        self._noise = 0.0
        self._tired_at_s = float(rng.uniform(15.0, 40.0)) if walker.gets_tired else math.inf
        self._hands_at_rev = float(rng.uniform(20.0, 120.0)) if walker.changes_hands else math.inf

    # -- feet

    @property
    def moving(self) -> bool:
        """Whether the feet are on their way."""
        return self._v > 0.0

    @property
    def at_hooks(self) -> bool:
        """Whether the motor is as short as the model's hooks: that is seen, and felt."""
        return self.distance_m <= self.hooks_m + 1e-6

    def step(self, to_m: float) -> None:
        """Make one step to a distance; the crank may stop for it."""
        self._go(to_m, self.walker.step_m_per_s)
        self._stepping = True
        self.steps += 1
        self._may_stall(abs(self.distance_m - self._to_m) / self.walker.step_m_per_s)

    def walk(self, to_m: float, m_per_s: float) -> None:
        """Walk to a distance at a pace. Setting out may stop the crank."""
        if not self.moving:
            self._may_stall(0.5)
        self._go(to_m, m_per_s)
        self._stepping = False

    def out(self, to_m: float) -> None:
        """Walk out to a distance, with nothing to crank."""
        self._go(to_m, WALKS_OUT_M_PER_S)

    def stand(self) -> None:
        """Stop walking; a step that was begun is ended."""
        if not self._stepping:
            self._v = 0.0

    def _go(self, to_m: float, m_per_s: float) -> None:
        self._to_m = max(to_m, self.hooks_m)
        self._v = m_per_s if abs(self._to_m - self.distance_m) > 1e-6 else 0.0

    def _may_stall(self, for_s: float) -> None:
        stalls = self.walker.stalls
        if stalls == "always" or (stalls == "sometimes" and self.rng.random() < 0.35):
            self.stall(for_s + float(self.rng.uniform(0.0, 0.5)))

    # -- hand

    def stall(self, for_s: float) -> None:
        """Let the crank stand for a while."""
        self.stalled_until_s = max(self.stalled_until_s, self.at_s + for_s)

    def advance(self, dt_s: float, load: float) -> None:
        """Let time pass."""
        self.at_s += dt_s
        if self._v > 0.0:
            way = self._to_m - self.distance_m
            if abs(way) <= self._v * dt_s:
                self.distance_m, self._v = self._to_m, 0.0
            else:
                self.distance_m += math.copysign(self._v * dt_s, way)
        wanted = 0.0
        if self.crank > 0.0 and self.at_s >= self.stalled_until_s:
            slowed = 1.0 - self.walker.tires * min(max(load, 0.0), 1.0)
            turning = 1.0 + 0.7 * self.walker.uneven * math.sin(2.0 * math.pi * self.rev) + self._noise
            wanted = self.walker.crank_rev_per_s * self.pace_told * slowed * max(turning, 0.2)
        elif self.crank < 0.0:
            wanted = -self.back_speed
        self.speed += (wanted - self.speed) * min(1.0, dt_s / HAND_SETTLES_S)
        self.rev += self.speed * dt_s

    def wander(self, dt_s: float) -> None:
        """What happens to a hand now and then; called some twenty times a second."""
        walker, share = self.walker, dt_s / UNEVEN_LASTS_S
        self._noise += -share * self._noise + 0.7 * walker.uneven * math.sqrt(2.0 * share) * float(
            self.rng.standard_normal()
        )
        if self.crank > 0.0 and self.at_s >= self._tired_at_s:
            self.stall(float(self.rng.uniform(1.0, 3.0)))
            self._tired_at_s = self.at_s + float(self.rng.uniform(20.0, 40.0))
        if self.rev >= self._hands_at_rev:
            self._hands_at_rev = math.inf
            self.stall(float(self.rng.uniform(2.0, 3.0)))
