"""Learners that are not there: what is on the coach's screen in, keys of the practising hands out. Pure, by seed.

For trying the lessons: the steady one does as it is told, the hasty one runs ahead, the staller stops to step, the
dreamer hears late that it is time to stop.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from winding_coach.simulator.hands import KEY_BIG_STEP_M, KEY_STEP_M

LOOKS_EVERY_S = 0.3
"""A person looks and acts no quicker; assumed."""
WALKS_OUT_M_PER_S = 0.6
HOLDS_S = 4.0
PACES = {"walk_slower": 0.02, "walk_on": 0.04, "walk_quicker": 0.08}
"""What the words of the walk mean, m/s."""
LAST_TURNS = frozenset({"stop_at_peak", "crank_slower", "crank_faster"})
"""Words of the walk-in that belong to its end."""
USUAL_REV_PER_S, ABOUT_REV_PER_S = 1.2, 0.12
STANDS_S = 6.0
"""Who has stopped where they were told to and hears nothing more says that this is the peak."""
REVERSES_S = 1.5
"""So long a hand takes to turn round; a second press before it would turn it back."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What a learner sees. phase, prompt, alarms: codes of the coach. stand_at_m: the mark. torque_share, turns_share:
    of what this phase ends with, None where not known. hooked, distance_m, crank_rev_per_s: of their own hands."""

    at_s: float
    phase: str
    prompt: str | None
    alarms: frozenset[str]
    stand_at_m: float | None
    torque_share: float | None
    turns_share: float | None
    hooked: bool
    distance_m: float
    crank_rev_per_s: float
    over_turns: float | None = None
    """Turns of the crank that the step to the mark is to take, as told."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How a learner goes about it. ahead_m: how much nearer than the mark they stand. stop_chance, stops_s: of stopping
    the crank for a step-in. heeds: whether they wait when told that torque falls, and slow down before the peak.
    fidgets: chance at each look to change the pace. rests_s: between one step-in and the next. late_s: until a word to
    stop the crank has sunk in."""

    ahead_m: float = 0.0
    stop_chance: float = 0.0
    stops_s: float = 0.0
    heeds: bool = True
    fidgets: float = 0.0
    rests_s: float = 1.0
    late_s: float = 0.0


MANNERS: dict[str, Manner] = {
    "steady": Manner(),
    "hasty": Manner(ahead_m=0.6, heeds=False, fidgets=0.3, rests_s=0.0),
    "staller": Manner(stop_chance=0.5, stops_s=2.5, rests_s=0.0),
    "dreamer": Manner(heeds=False, late_s=4.0),
}
"""By the name that the command line takes."""


class Learner:
    """One learner in one lesson; `keys` is asked as often as one likes."""

    def __init__(self, manner: Manner, rng: np.random.Generator) -> None:
        self._manner = manner
        self._rng = rng
        self._next_s = 0.0
        self._cranks_again_s = 0.0
        self._stepped_s = 0.0
        self._steps_s = 0.0
        self._ready_s: float | None = None
        self._told_s: float | None = None
        self._unhooked = False
        self._reverses_s = 0.0
        self._mark_m: float | None = None
        self._set_out = (0.0, 0.0, 0.0)

    def keys(self, seen: Seen) -> tuple[str, ...]:
        """Return what to press now: commands of `hands.COMMANDS` and keys of `inputs.KEYS`."""
        if seen.at_s < self._next_s:
            return ()
        self._next_s = seen.at_s + LOOKS_EVERY_S * float(self._rng.uniform(0.8, 1.3))
        if seen.phase in ("done", "broken", "aborted"):
            return ("crank_stop", "finish")
        if seen.phase == "hook_up":
            return ()
        if not seen.hooked:
            return ("finish",) if self._unhooked else ("hook",)
        return {
            "stretch_out": self._stretch_out,
            "wind_stretched": self._wind,
            "walk_in": self._walk_in,
            "final_turns": self._final_turns,
            "back_off": self._back_off,
            "ready": self._ready,
        }[seen.phase](seen)

    def _stretch_out(self, seen: Seen) -> tuple[str, ...]:
        short_m = (seen.stand_at_m or 0.0) - seen.distance_m
        if short_m > KEY_BIG_STEP_M:
            self._next_s = seen.at_s + KEY_BIG_STEP_M / WALKS_OUT_M_PER_S
            return ("big_step_out",)
        if short_m > 0.5 * KEY_STEP_M:
            return ("step_out",)
        return self._wind(seen)

    def _wind(self, seen: Seen) -> tuple[str, ...]:
        if seen.at_s < self._cranks_again_s:
            return ()
        if seen.crank_rev_per_s < 0.3:
            return ("crank_faster",)
        if self._manner.heeds and abs(seen.crank_rev_per_s - USUAL_REV_PER_S) > ABOUT_REV_PER_S:
            return ("crank_faster",) if seen.crank_rev_per_s < USUAL_REV_PER_S else ("crank_slower",)
        if self._rng.random() < self._manner.fidgets:
            faster = self._rng.random() < 0.5 - 0.5 * (seen.crank_rev_per_s - USUAL_REV_PER_S)
            return ("crank_faster", "crank_faster") if faster else ("crank_slower", "crank_slower")
        return ()

    def _walk_in(self, seen: Seen) -> tuple[str, ...]:
        if seen.prompt in LAST_TURNS or (seen.prompt == "walk_in_to" and seen.over_turns is None):
            # Where nobody measures the distance the walk-in's phase lasts to the target.
            return self._final_turns(seen)
        cranking = self._wind(seen)
        if cranking:
            return cranking
        if seen.stand_at_m is None:
            # Without counted turns torque says when to step: the path keeps it about level.
            due = seen.torque_share is not None and seen.torque_share > 1.05 - self._manner.ahead_m
            return self._step(seen, KEY_STEP_M if due else 0.0)
        if self._manner.heeds and ("torque_falling" in seen.alarms or seen.prompt == "wait_here"):
            return ()
        if self._manner.heeds and seen.prompt in PACES:
            # A slow walk in steps of a key: one as soon as the pace is due it.
            pause_s = KEY_STEP_M / PACES[seen.prompt]
            if seen.at_s < self._stepped_s + pause_s:
                return ()
            self._stepped_s = seen.at_s
            return self._step(seen, KEY_STEP_M)
        return self._step(seen, seen.distance_m - (self._on_the_way_m(seen, seen.stand_at_m) - self._manner.ahead_m))

    def _on_the_way_m(self, seen: Seen, mark_m: float) -> float:
        """Where to stand now on the way to a mark: who does as told takes the turns that it was told with."""
        if mark_m != self._mark_m:
            self._mark_m = mark_m
            takes_s = (seen.over_turns or 0.0) / max(seen.crank_rev_per_s, 0.3)
            self._set_out = (seen.at_s, seen.distance_m, takes_s)
        from_s, from_m, takes_s = self._set_out
        if not self._manner.heeds or seen.at_s >= from_s + takes_s:
            return mark_m
        return from_m + (mark_m - from_m) * (seen.at_s - from_s) / takes_s

    def _step(self, seen: Seen, by_m: float) -> tuple[str, ...]:
        if by_m <= 0.5 * KEY_STEP_M or (seen.at_s < self._steps_s and by_m < 3.0 * KEY_STEP_M):
            return ()
        self._steps_s = seen.at_s + self._manner.rests_s
        step = "big_step_in" if by_m > KEY_BIG_STEP_M and not self._manner.heeds else "step_in"
        if self._rng.random() < self._manner.stop_chance:
            self._cranks_again_s = seen.at_s + self._manner.stops_s
            return ("crank_stop", step)
        return (step,)

    def _final_turns(self, seen: Seen) -> tuple[str, ...]:
        if self._manner.heeds and seen.turns_share is not None and seen.turns_share >= 1.0:
            # Torque is behind its plan: the motor is weaker than its label, and turns say stop.
            return ("crank_stop", "peak")
        if seen.prompt == "stop_at_peak":
            stood = self._told_s is not None and seen.at_s > self._told_s + self._manner.late_s + STANDS_S
            return ("peak",) if stood and seen.crank_rev_per_s == 0.0 else self._stop(seen)
        to_hooks_m = seen.distance_m - (seen.stand_at_m or seen.distance_m)
        if to_hooks_m > 0.01:
            return self._wind(seen) or self._step(seen, KEY_STEP_M)
        near = seen.torque_share is not None and seen.torque_share > 0.9
        if self._manner.heeds and near and seen.crank_rev_per_s > 0.6:
            return ("crank_slower",)
        return self._wind(seen)

    def _stop(self, seen: Seen) -> tuple[str, ...]:
        """Stop the crank once the word to do so has sunk in."""
        if self._told_s is None:
            self._told_s = seen.at_s
        sunk_in = seen.at_s >= self._told_s + self._manner.late_s
        return ("crank_stop",) if sunk_in and seen.crank_rev_per_s != 0.0 else ()

    def _back_off(self, seen: Seen) -> tuple[str, ...]:
        self._ready_s = None
        if seen.crank_rev_per_s > 0.05:
            return self._stop(seen)
        self._told_s = None
        if seen.crank_rev_per_s < -0.05 or seen.at_s < self._reverses_s:
            return ()
        self._reverses_s = seen.at_s + REVERSES_S
        slower = ("crank_slower",) * (4 if self._manner.heeds else 0)
        return ("reverse", *slower)

    def _ready(self, seen: Seen) -> tuple[str, ...]:
        if self._ready_s is None:
            self._ready_s = seen.at_s
        if seen.crank_rev_per_s != 0.0:
            return self._stop(seen)
        if seen.at_s < self._ready_s + HOLDS_S:
            return ()
        self._unhooked = True
        return ("hook",)
