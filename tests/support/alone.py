"""Somebody who winds alone: a torque meter to look at, the plan on a card, one's own count of the crank. Pure."""

from __future__ import annotations

from bisect import bisect_right

import numpy as np

from winding_coach.rubber.figures import Plan, WinderFigures
from winding_coach.simulator.people import Person
from winding_coach.simulator.skill import Skill

HOOKS_UP_S, SETTLES_S = 4.0, 1.5
PAUSE_S = 1.2
HOLDS_S, LEAVES_S = 3.0, 5.0
PATH_ERROR = 0.06
"""Who knows nothing of the walk-in by heart would be out by this share of the turns; the others by less; assumed."""
WAITS_BELOW = 0.75
"""Who knows the walk-in waits while torque is below this share of the card's."""
NEAR_LAUNCH = 1.03
BACK_OFF_REV_PER_S = 0.7
LOOK_AFTER_TURNS = 0.8


class LonePerson(Person):
    """Winds by a card. Turns are one's own count of the crank; torque is what was read at the last look."""

    def __init__(
        self, skill: Skill, loop_m: float, rng: np.random.Generator, *, plan: Plan, winder: WinderFigures
    ) -> None:
        super().__init__(skill, loop_m, rng, hears=False, full_Nm=plan.peak_torque_Nm)
        self._plan = plan
        self._ratio = winder.ratio
        self._marks = [row.turns for row in plan.walk_in]
        self._hooks_m = plan.walk_in[-1].distance_m
        self._since_s = 0.0
        self._rest_until_s = 0.0
        self._off_from_rev = 0.0
        self._read_Nm = 0.0
        self._read_of: object = None
        self._scale = 1.0
        self._turns_bias = 1.0 + (1.0 - skill.plans) * PATH_ERROR * self._normal()
        self._misread = 1.0

    def _decide(self) -> None:
        self._read()
        if self._at_s < self._rest_until_s:
            return
        {
            "waiting": self._wait,
            "stretching out": self._stretch_out,
            "winding stretched": self._wind_stretched,
            "walking in": self._walk_in,
            "final turns": self._final_turns,
            "stopping": self._stop,
            "backing off": self._back_off,
            "holding": self._hold,
        }[self._doing]()

    def _read(self) -> None:
        shown = self._senses.mind
        if shown is not self._read_of and shown.torque_Nm is not None:
            self._read_of = shown
            self._read_Nm = shown.torque_Nm * (1.0 + self._skill.reads * self._normal())

    def _on(self, doing: str) -> None:
        self._doing, self._since_s = doing, self._at_s

    def _wait(self) -> None:
        if self._at_s > HOOKS_UP_S:
            self._on("stretching out")
            self._hooked = True
            self._goal_m = self._plan.stretch_distance_m * self._bias

    def _stretch_out(self) -> None:
        if abs(self._distance_m - self._goal_m) < 0.01 and self._at_s - self._since_s > HOOKS_UP_S:
            self._on("winding stretched")

    def _wind_stretched(self) -> None:
        """To the card's torque; who counts allows for a motor that is stronger or weaker than its card."""
        self._wanted_speed = self._comfortable
        plan, allows = self._plan, self._skill.allows
        turns = self._crank_rev * self._ratio
        if turns > 0.5 * plan.stretched_turns:
            # Torque at full stretch grows about in proportion to turns; what one would make of the card at a glance.
            expected_Nm = plan.stretched_torque_Nm * min(turns / plan.stretched_turns, 1.2)
            self._scale = 1.0 + allows * (self._read_Nm / expected_Nm - 1.0)
        if self._read_Nm >= self._scale * plan.stretched_torque_Nm or turns > 1.2 * plan.stretched_turns:
            self._on("walking in")

    def _walk_in(self) -> None:
        """By heart along the card's marks; who does not know them steps in whenever torque has come back."""
        plan, skill = self._plan, self._skill
        self._wanted_speed = self._comfortable
        if self._distance_m <= self._hooks_m + 0.01:
            self._on("final turns")
            return
        if self._stepping:
            return
        torque, known_Nm = self._read_Nm, self._scale * plan.stretched_torque_Nm
        if skill.plans > 0.0:
            on_path_m = self._on_card(self._crank_rev * self._ratio * self._turns_bias)
            behind_m = self._distance_m - on_path_m
            last = on_path_m <= self._hooks_m + skill.step_m
            if behind_m >= (0.0 if last else 0.5 * skill.step_m) and torque >= WAITS_BELOW * known_Nm:
                self._step_in(self._hooks_m, max(skill.least_m, min(behind_m, 2.0 * skill.step_m)))
        elif torque >= known_Nm * (1.0 - skill.eager):
            self._step_in(self._hooks_m, skill.step_m)

    def _on_card(self, turns: float) -> float:
        """The distance that the card's marks give for so many turns, straight between them."""
        rows = self._plan.walk_in
        at = bisect_right(self._marks, turns)
        if at == 0 or at == len(rows):
            return rows[min(at, len(rows) - 1)].distance_m
        before, after = rows[at - 1], rows[at]
        share = (turns - before.turns) / (after.turns - before.turns)
        return before.distance_m + share * (after.distance_m - before.distance_m)

    def _final_turns(self) -> None:
        self._wanted_speed = self._comfortable
        most = self._skill.counts_past
        enough = most is not None and self._crank_rev * self._ratio >= (1.0 + most) * self._plan.target_turns
        if enough or self._read_Nm >= self._scale * self._plan.peak_torque_Nm:
            self._on("stopping")
            self._rest_until_s = self._at_s + self._skill.late_s * float(self._rng.uniform(0.0, 2.0))

    def _stop(self) -> None:
        self._wanted_speed = 0.0
        if self._speed == 0.0:
            self._on("backing off")
            self._rest_until_s = self._at_s + PAUSE_S
            self._off_from_rev = self._crank_rev

    def _back_off(self) -> None:
        """About a turn at a time, looking after each, down to the launch torque."""
        if self._read_Nm <= NEAR_LAUNCH * self._plan.launch_torque_Nm or self._crank_rev <= 0.0:
            self._wanted_speed = 0.0
            self._on("holding")
        elif self._off_from_rev - self._crank_rev >= LOOK_AFTER_TURNS:
            self._wanted_speed = 0.0
            if self._speed == 0.0:
                self._off_from_rev = self._crank_rev
                self._rest_until_s = self._at_s + self._skill.reaction_s + self._skill.looks_s
        else:
            self._wanted_speed = -BACK_OFF_REV_PER_S

    def _hold(self) -> None:
        self._wanted_speed = 0.0
        self._hooked = self._at_s - self._since_s < HOLDS_S
        self._done = self._at_s - self._since_s > LEAVES_S
