"""The same person without a coach, led by a needle: the trade's own way (common practice, no source).

At full stretch until the needle shows the plan's torque, then a step of one's own each time it is back there, at the
hooks until it shows the peak, and back to the launch torque.
"""

from __future__ import annotations

from tests.bench.walkers.follower import Follower
from tests.bench.walkers.senses import Word

WALKS_FROM, STEPS_ON = 0.98, 1.04
"""Shares of the torque at full stretch: who walks does so from the one; above the other one steps without looking."""
NEAR_PEAK, NEAR_LAUNCH = 0.93, 1.0


class Alone(Follower):
    """Knows the plan's torques, the plan's distance at full stretch, and a needle."""

    _stares = False

    def heed(self, word: Word) -> None:
        """Hear nothing."""

    def begin(self) -> None:
        """Start by oneself."""
        self.stretch_m = self._believed(self.plan.stretch_distance_m)
        self.start_told = True
        self.enter("hooking up")

    @property
    def stares(self) -> bool:
        """Whether the needle is watched without looking away."""
        seen = self.senses.torque_Nm or 0.0
        return self.stage == "backing" or (self.body.at_hooks and seen > NEAR_PEAK * self.plan.peak_torque_Nm)

    def peaked(self) -> bool:
        """The needle is at the peak."""
        return self.body.at_hooks and (self.senses.torque_Nm or 0.0) >= self.plan.peak_torque_Nm

    def walk_in(self) -> None:
        """By the needle."""
        seen, wanted = self.senses.torque_Nm or 0.0, self.plan.stretched_torque_Nm
        if self.walker.feet == "walks":
            if seen >= WALKS_FROM * wanted and not self.body.at_hooks:
                self.body.walk(self.body.hooks_m, self.walker.walk_m_per_s)
            else:
                self.body.stand()
        elif seen >= STEPS_ON * wanted:
            self._step_if_due(self.body.hooks_m, 0.3)
        else:
            self._by_the_needle()

    def back_off(self, rev: float | None) -> None:
        """Turn back until the needle says so."""
        super().back_off(None)

    def _stopped(self, for_s: float) -> None:
        super()._stopped(for_s)
        if for_s > 1.5 and not self.body.moving:
            self.back_off(None)

    def _backing(self, for_s: float) -> None:
        super()._backing(0.0)
        if (self.senses.torque_Nm or 1e9) <= NEAR_LAUNCH * self.plan.launch_torque_Nm:
            self.enter("holding")
