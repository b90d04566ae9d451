"""Somebody who does what the coach says, late and imperfectly, and knows nothing else. Pure."""

from __future__ import annotations

import numpy as np

from winding_coach.rubber.motor import HOOKS_SHARE
from winding_coach.simulator.people import Person, Shown
from winding_coach.simulator.skill import Skill

SLOWER, FASTER = 0.75, 1.15
"""What is made of being told to crank slower or faster, times the comfortable speed; assumed. It lasts."""
TONE_SLOWER = 0.8
"""And of the tone of a rate above its band, for as long as it sounds."""
REMINDED_S = 4.0
"""A word to crank on is fresh in mind for so long; assumed."""
BACK_OFF_REV_PER_S, LAST_TURN_REV_PER_S = 0.6, 0.25
UNHOOKS_S, LEAVES_S = 3.0, 5.0
"""After the figures were noted the motor is unhooked, then the person leaves; assumed."""
PACES = {"walk_slower": 0.02, "walk_on": 0.04, "walk_quicker": 0.08}
"""What the words of the walk mean, m/s; each person makes a little more or less of them."""
REMINDS = frozenset({"walk_in_to", "hold_distance", "keep_cranking", "wait_here", "step_now", *PACES})
NO_MARK_STEP_S = 1.2
"""Told to step in, but not how far or how fast: a step of one's own every so often; assumed."""


class CoachedPerson(Person):
    """Follows prompts, alarms and the tone. What is not in `Shown` it does not know."""

    def __init__(
        self,
        skill: Skill,
        loop_m: float,
        rng: np.random.Generator,
        *,
        hears: bool = True,
        full_Nm: float,
        hooks_m: float | None = None,
    ) -> None:
        """hooks_m: where the way in ends, which one sees; None: the usual share of the loop."""
        super().__init__(skill, loop_m, rng, hears=hears, full_Nm=full_Nm)
        self._nearest_m = HOOKS_SHARE * loop_m if hooks_m is None else hooks_m
        self._pace_told = 1.0
        self._code: str | None = None
        self._wound = False
        self._heard_s = 0.0
        self._since_s = 0.0
        self._late_until_s = 0.0
        self._told: tuple[float | None, float | None, float] | None = None
        self._to_m = loop_m
        self._pace_m = 0.0
        self._owed_from_rev = 0.0
        self._next_step_s = 0.0
        self._stepped_s = -1.0

    def _decide(self) -> None:
        shown = self._senses.mind
        code = shown.prompt
        if code != self._code:
            self._code, self._since_s = code, self._at_s
            if code == "stop_at_peak":
                self._late_until_s = self._at_s + self._skill.late_s * float(self._rng.uniform(0.0, 2.0))
        if code in (None, "tare"):
            if self._wound:
                self._wanted_speed = 0.0
                self._hooked = False
                self._done = self._at_s - self._since_s > UNHOOKS_S
            return
        if code == "stretch_to":
            self._stretch_out(shown)
        elif code == "start_cranking":
            if self._hooked and abs(self._distance_m - self._goal_m) < 0.01:
                self._doing = "winding stretched"
                self._crank_on()
        elif code == "stop_at_peak":
            self._walks_m_per_s = 0.0
            if self._at_s >= self._late_until_s:
                self._wanted_speed = 0.0
                if shown.distance_m is not None:
                    self._step_in(shown.distance_m, self._skill.step_m)
        elif code == "back_off":
            self._doing = "backing off"
            self._back_off(shown)
        elif code in ("launch_ready", "note_down"):
            self._wanted_speed = 0.0
            self._doing = "holding"
            if code == "note_down":
                self._hooked = self._at_s - self._since_s < UNHOOKS_S
                self._done = self._at_s - self._since_s > LEAVES_S
        else:
            self._wind(shown)

    def _stretch_out(self, shown: Shown) -> None:
        self._doing, self._hooked = "stretching out", self._hooked or self._at_s - self._since_s > 1.0
        if shown.distance_m is not None and shown.said_s != (self._told or (None, None, -1.0))[2]:
            self._told = (shown.distance_m, None, shown.said_s)
            self._goal_m = self._to_m = shown.distance_m * self._judged(shown)

    def _wind(self, shown: Shown) -> None:
        code = shown.prompt
        if code == "crank_slower":
            self._pace_told = SLOWER
        elif code == "crank_faster":
            self._pace_told = FASTER
        elif code == "keep_cranking":
            self._stalled_until_s = min(self._stalled_until_s, self._at_s)
        if self._doing == "stretching out":
            self._doing = "winding stretched"
        self._wound = True
        if shown.said_s != self._heard_s and code in REMINDS:
            # Each of these says to crank on.
            self._heard_s, self._reminded_until_s = shown.said_s, self._at_s + REMINDED_S
        if self._senses.tone == -1:
            self._stalled_until_s = min(self._stalled_until_s, self._at_s)
        self._crank_on()
        at_hooks = self._distance_m <= self._nearest_m + 0.004
        if self._doing == "walking in" and at_hooks:
            self._doing = "final turns"
        if code in PACES:
            self._doing = "final turns" if at_hooks else "walking in"
            self._walks_m_per_s = PACES[code] * (1.0 + self._skill.eager)
            return
        self._walks_m_per_s = 0.0
        if code == "step_now" and shown.said_s != self._stepped_s:
            self._doing, self._stepped_s = "walking in", shown.said_s
            self._step_in(self._nearest_m, min(shown.step_m or self._skill.step_m, 2.0 * self._skill.step_m))
        elif code == "walk_in_to":
            self._doing = "walking in"
            self._walk(shown)
        elif code == "keep_cranking" and shown.distance_m is not None and self._doing in ("walking in", "final turns"):
            # The last bit to the hooks, where the coach thinks that one is there already.
            self._doing = "final turns"
            self._step_in(shown.distance_m, self._skill.least_m)

    def _crank_on(self) -> None:
        heeds = TONE_SLOWER if self._senses.tone == 1 else 1.0
        self._wanted_speed = self._comfortable * self._pace_told * heeds

    def _judged(self, shown: Shown) -> float:
        """Where one thinks to stand over where one does: a bias of one's own, unless the screen shows it."""
        own = self._bias if shown.at_m is None else 1.0
        return own + 0.2 * self._skill.judges * self._normal()

    def _walk(self, shown: Shown) -> None:
        """To the mark in so many turns of the crank: a pace, in steps as small as one can make and the pace allows."""
        if shown.distance_m is None:
            if self._at_s >= self._next_step_s and self._senses.tone != -1:
                self._next_step_s = self._at_s + NO_MARK_STEP_S
                self._step_in(0.0, self._skill.step_m)
            return
        told = (shown.distance_m, shown.crank_turns, shown.said_s)
        if told != self._told:
            idle = self._told is None or self._distance_m <= self._to_m + 0.004
            self._told = told
            self._to_m = shown.distance_m * self._judged(shown)
            turns = max(shown.crank_turns or 1.0, 1.0)
            self._pace_m = max(self._distance_m - self._to_m, 0.0) / turns * (1.0 + self._skill.eager)
            if idle:
                self._owed_from_rev = self._crank_rev
        self._step_when_due()

    def _step_when_due(self) -> None:
        """A step as soon as one is owed by the pace."""
        owed_m = self._pace_m * (self._crank_rev - self._owed_from_rev)
        if owed_m < self._skill.least_m or self._stepping:
            return
        self._owed_from_rev = self._crank_rev
        self._step_in(self._to_m, min(owed_m, max(self._skill.step_m, self._skill.least_m)))

    def _back_off(self, shown: Shown) -> None:
        left = shown.crank_turns
        if left == 0.0:
            self._wanted_speed = 0.0
        else:
            self._wanted_speed = -(LAST_TURN_REV_PER_S if left is not None and left <= 1.0 else BACK_OFF_REV_PER_S)
