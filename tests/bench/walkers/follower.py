"""Somebody who is coached: knows what is said and shown, a reaction later, and does it as such feet can.

The contract's words: `walk_on`, `walk_slower`, `walk_quicker`, `wait_here`, `step_now`, `step_shorter`, and those there
were before.
"""

from __future__ import annotations

from tests.bench.walkers.mind import Mind
from tests.bench.walkers.senses import Word

PACES_M_PER_S = {"walk_slower": 0.02, "walk_on": 0.04, "walk_quicker": 0.08}
"""What the words mean; people differ from it by up to a factor of two."""
RELATIVE = {"walk_slower": 0.6, "walk_on": 1.0, "walk_quicker": 1.6}
SLOWEST_M_PER_S, FASTEST_M_PER_S = 0.01, 0.20
LONGEST_PAUSE_S = 4.0
SLOWER, FASTER = 0.75, 1.2
SHORTER, SHORTEST_M = 0.6, 0.03
THERE_M = 0.03
SHOWN_WITHIN_M = 0.02
STEPS_OUT_M = 0.2
CHECKS_S = (5.0, 10.0)
"""Asked whether ratio, place and motor are right, people look so long, find nothing, and press the key to go on."""


class Follower(Mind):
    """Does what is said. shown: the screen shows where one stands (a meter with a distance sensor).

    feet's orders: stand; goal (to `_goal_m`); pace (on, at `_pace`); steps owed are `_owed`.
    """

    shown = False
    _order = "stand"
    _goal_m = 0.0
    _pace_m_per_s = 0.0
    _own_pace = True
    _owed = 0
    _next_step_s = 0.0
    _step_m = 0.0
    _told_stop = 0
    _halted = False
    _needle_seen_s = -1.0
    _goes_on_s = 1e9

    def peaked(self) -> bool:
        """A coached person waits for the word."""
        return False

    # -- words

    def heed(self, word: Word) -> None:
        """Take a prompt or an alarm to heart."""
        code = word["code"]
        if word["event"] == "alarm":
            self._warned(word)
        elif code in ("stretch_to", "start_cranking"):
            self._prepare(word)
        elif code == "stop_at_peak":
            self._told(word)
        elif code == "back_off":
            self._told_back_off(word)
        elif code in ("launch_ready", "note_down"):
            if self.stage in ("winding", "stopped", "backing"):
                self.enter("holding")
        elif self.stage in ("winding", "out") or (self.stage == "stopped" and not self.meant):
            self._wind_on(word)

    def _prepare(self, word: Word) -> None:
        distance_m = word.get("distance_m")
        if self.stage == "waiting":
            self.stretch_m = self.plan.stretch_distance_m if distance_m is None else self._believed(distance_m)
            self.enter("hooking up")
        self.start_told = self.start_told or word["code"] == "start_cranking"
        if word["code"] == "start_cranking" and self.stage == "winding":
            self._halted = False

    def _told(self, word: Word) -> None:
        """Told to stop."""
        self._told_stop += 1
        if self.stage != "winding" or ("winds past" in self._will and self._told_stop < 2):
            return
        if self.body.at_hooks:
            self.enter("stopped")
            return
        self._halted = True
        if word.get("distance_m") is not None:
            self._to(word["distance_m"])

    def _told_back_off(self, word: Word) -> None:
        if self.stage == "winding":
            self._told_stop += 1
            if "winds past" in self._will and self._told_stop < 2:
                return
        if self.stage not in ("winding", "stopped", "backing", "holding"):
            return
        left = word.get("crank_turns")
        self.back_off(left if left == 0.0 or self.walker.obeys_numbers else None)

    def _warned(self, word: Word) -> None:
        if word["code"] == "overwind" and self.stage == "winding":
            self._told(word)
        elif word["code"] == "far_off" and self.stage == "winding":
            self._halted = True
            self._goes_on_s = self.body.at_s + float(self.body.rng.uniform(*CHECKS_S))
        elif "goes back out" in self._will and self.stage == "winding" and word["level"] in ("warning", "danger"):
            self.body.step(min(self.body.distance_m + STEPS_OUT_M, self.stretch_m))
            self._next_step_s = self.body.at_s + 2.0

    def _wind_on(self, word: Word) -> None:
        """A word for who winds: crank and feet."""
        code = word["code"]
        if self.stage == "stopped":
            self.enter("winding")
        self.start_told = True
        self._halted = False
        body = self.body
        body.stalled_until_s = min(body.stalled_until_s, body.at_s)
        if code == "crank_slower":
            body.pace_told = max(0.5, SLOWER * body.pace_told)
        elif code == "crank_faster":
            body.pace_told = min(1.3, FASTER * body.pace_told)
        elif code in PACES_M_PER_S:
            self._told_pace(code)
        elif code in ("wait_here", "hold_distance"):
            self._order, self._owed = "stand", 0
        elif code == "step_now":
            self._told_step(word)
        elif code == "step_shorter" and self.walker.shortens:
            self._step_m = max(SHORTEST_M, SHORTER * self.step_m)
        elif code == "walk_in_to":
            self._told_mark(word)
        elif code == "keep_cranking" and (word.get("distance_m") or 1e9) <= body.hooks_m + THERE_M:
            self._to(body.hooks_m)

    def _told_pace(self, code: str) -> None:
        walker = self.walker
        now = self._pace_m_per_s if self._order == "pace" else 0.0
        relative = walker.relative and now > 0.0
        pace = now * RELATIVE[code] if relative else PACES_M_PER_S[code] * walker.words_pace
        self._pace_m_per_s = min(max(pace, SLOWEST_M_PER_S), FASTEST_M_PER_S)
        self._order, self._own_pace, self._owed = "pace", False, 0

    def _told_step(self, word: Word) -> None:
        if self.walker.feet == "walks":
            self._order, self._own_pace = "pace", True
            return
        self._order = "stand"
        self._owed = 2 if self.body.rng.random() < self.walker.twice else 1
        told_m = word.get("step_m")
        if told_m is not None and self.walker.obeys_numbers:
            self._step_m = max(SHORTEST_M, told_m * float(self.body.rng.uniform(0.75, 1.3)))

    def _told_mark(self, word: Word) -> None:
        distance_m = word.get("distance_m")
        at_hooks = distance_m is not None and distance_m <= self.body.hooks_m + THERE_M
        if distance_m is None or not (at_hooks or self.shown or self.walker.place != "unknown"):
            self._order, self._own_pace = "pace", True
            return
        self._to(distance_m, word.get("crank_turns"))

    def _to(self, distance_m: float, crank_turns: float | None = None) -> None:
        body = self.body
        self._goal_m = body.hooks_m if distance_m <= body.hooks_m + THERE_M else self._believed(distance_m)
        if "stays behind" in self._will and self._goal_m > body.hooks_m:
            self._goal_m += self.walker.behind_m
        self._order, self._own_pace, self._owed = "goal", True, 0
        way_m = body.distance_m - self._goal_m
        if crank_turns and self.walker.obeys_numbers and way_m > 0.0 and self.walker.feet in ("walks", "shuffles"):
            self._pace_m_per_s = way_m * max(body.speed, 0.5) / crank_turns
            self._own_pace = False

    def _believed(self, distance_m: float) -> float:
        """Where this person stands who means to stand there."""
        body, walker = self.body, self.walker
        if self.shown:
            where = distance_m + SHOWN_WITHIN_M * float(body.rng.standard_normal())
        elif walker.place == "tape":
            where = distance_m + 0.03 * float(body.rng.standard_normal())
        else:
            scatter = 0.05 if walker.place == "guess" else 0.10
            where = distance_m * (1.0 + walker.bias + scatter * float(body.rng.standard_normal()))
        return max(where, body.hooks_m)

    # -- feet

    @property
    def step_m(self) -> float:
        """Length of the next step."""
        return self._step_m or self.walker.step_m

    @property
    def walks(self) -> bool:
        """Whether these feet go without stopping now."""
        feet = self.walker.feet
        if feet == "at once":
            return self._own_pace or self.walker.can_walk
        return feet == "walks" or (self._order == "pace" and not self._own_pace and self.walker.can_walk)

    def walk_in(self) -> None:
        """Move the feet as ordered."""
        if self.body.at_s >= self._goes_on_s:
            self._goes_on_s, self._halted = 1e9, False
            self.pressed.append("go_on")
        if self._halted:
            self.body.crank = 0.0
        if self.walker.feet == "by the needle":
            self._by_the_needle()
        elif self._owed:
            self._step_if_due(self.body.hooks_m, self.walker.pause_s)
        elif self._order == "stand":
            if self.walks or self.walker.can_walk:
                self.body.stand()
        elif self.walks:
            self._walk()
        else:
            pause_s = self.walker.pause_s
            if not self._own_pace:
                pause_s = min(max(self.step_m / self._pace_m_per_s, pause_s), LONGEST_PAUSE_S)
            self._step_if_due(self._limit_m, pause_s)

    @property
    def _limit_m(self) -> float:
        return self._goal_m if self._order == "goal" else self.body.hooks_m

    def _walk(self) -> None:
        if self.body.distance_m <= self._limit_m + 1e-6:
            return
        own = self.walker.step_m_per_s if self.walker.feet == "at once" else self.walker.walk_m_per_s
        self.body.walk(self._limit_m, own if self._own_pace else min(self._pace_m_per_s, own if own > 0.2 else 0.25))

    def _step_if_due(self, limit_m: float, pause_s: float) -> None:
        body = self.body
        if body.moving or body.at_s < self._next_step_s or body.distance_m <= limit_m + 1e-6:
            return
        length_m = self.step_m * (1.0 + 0.15 * float(body.rng.standard_normal()))
        body.step(max(limit_m, body.distance_m - max(length_m, 0.02)))
        self._owed = max(0, self._owed - 1)
        self._next_step_s = body.at_s + length_m / self.walker.step_m_per_s + pause_s

    def _by_the_needle(self) -> None:
        """A step whenever the needle is seen to be back, whatever is said."""
        body, senses = self.body, self.senses
        if body.moving or body.at_hooks or body.at_s < self._next_step_s:
            return
        seen = senses.torque_Nm
        if seen is not None and senses.seen_s > self._needle_seen_s and seen >= self.plan.stretched_torque_Nm:
            self._needle_seen_s = body.at_s + self.step_m / self.walker.step_m_per_s
            self._step_if_due(body.hooks_m, 0.0)
