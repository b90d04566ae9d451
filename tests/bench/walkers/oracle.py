"""A coach that sees the true motor, its turns, distance and strand stretch, and knows the person it leads: the bound.

It says the same words, at most one in so many seconds, and they need the same time to be heard and done.
"""

from __future__ import annotations

from typing import Any

from tests.bench.walkers.body import Body
from tests.bench.walkers.follower import PACES_M_PER_S, RELATIVE, Follower
from tests.bench.walkers.motor import WalkedMotor
from tests.bench.walkers.senses import Word
from winding_coach.rubber.figures import Plan
from winding_coach.rubber.path import PlanPath

QUIET_S = 1.2
CATCHES_UP_S = 2.5
LAST_BIT_M = 0.15
ASKS_SHORTER_M = 0.12
SLOW_HAND_S = 0.2
NEAR_S, NEAR_LAUNCH = 0.1, 1.03


class Oracle:
    """Leads one person. `said` takes a moment and returns what is said in it, as the contract's objects."""

    def __init__(self, plan: Plan, path: PlanPath, mind: Follower, ratio: float) -> None:
        self._plan, self._path, self._mind, self._ratio = plan, path, mind, ratio
        self._last = ""
        self._last_s = -10.0
        self._pace = 0.0
        self._before_Nm = 0.0
        self._falls = 0.0
        walker = mind.walker
        # Who does not hear sees it at a look, half the time between looks later on average.
        self._late_s = walker.reaction_s + (0.0 if walker.hears else 0.5 * walker.looks_s)

    def said(self, at_s: float, body: Body, motor: WalkedMotor, dt_s: float) -> list[Word]:
        """Return what is said at this moment."""
        torque_Nm = abs(motor.torque_Nm)
        self._falls += 0.2 * ((torque_Nm - self._before_Nm) / dt_s - self._falls)
        self._before_Nm = torque_Nm
        if at_s < 2.0:
            return []
        stage = self._mind.stage
        turns = abs(motor.now.turns)
        rate = max(body.speed, 0.0) * self._ratio
        if stage in ("waiting", "hooking up"):
            return self._say(at_s, "stretch_to", distance_m=self._plan.stretch_distance_m)
        if stage == "out":
            return [] if body.moving else self._say(at_s, "start_cranking", distance_m=self._plan.stretch_distance_m)
        if stage == "winding":
            if body.at_hooks and turns + rate * (self._late_s + SLOW_HAND_S) >= self._plan.target_turns:
                return self._say(at_s, "stop_at_peak", again_s=2.0)
            return self._lead(at_s, body, turns, rate)
        if stage in ("stopped", "backing", "holding") and body.hooked and body.at_hooks:
            return self._back_off(at_s, torque_Nm, body)
        return []

    def _say(self, at_s: float, code: str, again_s: float = 1e9, **figures: Any) -> list[Word]:
        since_s = at_s - self._last_s
        hurries = code in ("stop_at_peak", "back_off")
        if (since_s < QUIET_S and not hurries) or (code == self._last and since_s < again_s):
            return []
        self._last, self._last_s = code, at_s
        return [{"event": "prompt", "at_s": at_s, "code": code, "text": "", **figures}]

    def _lead(self, at_s: float, body: Body, turns: float, rate: float) -> list[Word]:
        mind, late_s = self._mind, self._late_s
        ahead = turns + rate * late_s
        if body.at_hooks or ahead < self._path_begins:
            return self._say(at_s, "keep_cranking")
        if ahead >= self._path.walked_in_turns and body.distance_m < body.hooks_m + LAST_BIT_M:
            return self._say(at_s, "keep_cranking", again_s=3.0, distance_m=body.hooks_m)
        walker = mind.walker
        wanted_m = self._wanted_m(ahead, rate)
        if walker.feet == "walks" or walker.can_walk:
            now = self._pace if body.moving else 0.0
            behind_m = body.distance_m - now * late_s - wanted_m
            path_m_per_s = wanted_m - self._wanted_m(ahead + rate, rate)
            return self._say_pace(at_s, turns, path_m_per_s + behind_m / CATCHES_UP_S)
        if walker.shortens and mind.step_m > ASKS_SHORTER_M:
            return self._say(at_s, "step_shorter", again_s=4.0)
        late = ahead >= self._path.walked_in_turns
        if not body.moving and (late or body.distance_m - wanted_m >= 0.5 * mind.step_m):
            return self._say(at_s, "step_now", again_s=late_s + mind.step_m / walker.step_m_per_s)
        return []

    def _wanted_m(self, turns: float, rate: float) -> float:
        """Where to be at so many turns: on the path, or ahead of it where these feet could not keep up later."""
        walker, path = self._mind.walker, self._path
        if walker.feet == "walks" or walker.can_walk:
            most = min(PACES_M_PER_S["walk_quicker"] * walker.words_pace, 0.2)
        else:
            most = self._mind.step_m / (self._late_s + 0.5 + self._mind.step_m / walker.step_m_per_s)
        return min(path.distance_at(turns + rate * later_s) + most * later_s for later_s in range(0, 40, 2))

    @property
    def _path_begins(self) -> float:
        return self._plan.stretched_turns

    def _say_pace(self, at_s: float, turns: float, wanted_m_per_s: float) -> list[Word]:
        """The word whose meaning to this person is nearest, in the logarithm."""
        walker = self._mind.walker
        choices = {"wait_here": 0.0} if turns < self._path.walked_in_turns else {}
        for code, usual in PACES_M_PER_S.items():
            if walker.relative and self._pace > 0.0:
                choices[code] = min(max(self._pace * RELATIVE[code], 0.01), 0.2)
            else:
                choices[code] = min(max(usual * walker.words_pace, 0.01), 0.2)
        code = min(choices, key=lambda one: abs(choices[one] - wanted_m_per_s))
        if code == self._last and choices[code] == self._pace:
            return []
        word = self._say(at_s, code, again_s=QUIET_S)
        if word:
            self._pace = choices[code]
        return word

    def _back_off(self, at_s: float, torque_Nm: float, body: Body) -> list[Word]:
        launch_Nm = self._plan.launch_torque_Nm
        soon_Nm = torque_Nm + min(self._falls, 0.0) * (self._late_s + NEAR_S)
        if torque_Nm <= NEAR_LAUNCH * launch_Nm and abs(body.speed) < 0.05:
            return self._say(at_s, "launch_ready")
        if body.speed < -0.05 and soon_Nm <= launch_Nm:
            return self._say(at_s, "back_off", again_s=0.5, crank_turns=0.0)
        scale = self._mind.drawn.scale
        left = self._path.back_off_turns_to(launch_Nm / scale) - self._path.back_off_turns_to(torque_Nm / scale)
        return self._say(at_s, "back_off", again_s=2.0, crank_turns=max(left / self._ratio, 0.25))
