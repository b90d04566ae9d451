"""The walk-in led by torque: moments in; a word for the feet out: wait, slower, walk on, quicker, step now. Pure.

Between two bounds of torque the feet go at the pace that holds the strand stretch (the plan's path at the speed of this
crank). Falling torque slows them before it is low, torque that piles up speeds them up. What pace a word brings is
learnt as they walk, so a word may mean half or twice as much to this person. Who steps is told each step.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from math import log

from winding_coach.coach.moment import Moment
from winding_coach.coach.person import Learning
from winding_coach.coach.steps_seen import SeenStep, StepsSeen
from winding_coach.rubber.path import PlanPath

PACES = {"walk_slower": 0.02, "walk_on": 0.04, "walk_quicker": 0.08}
"""What the words mean, m/s; common practice of a slow walk, the values are ours."""
ORDER = ("walk_slower", "walk_on", "walk_quicker")
WANTED = 0.93
"""Torque over the path's that the walk holds. A little below what cranking alone would show, torque answers every
centimetre; at it, hardly half a metre (the rubber's hysteresis), so somebody left behind would not be noticed."""
GAIN, MOST_HURRY = 5.0, 2.5
"""The pace over the even one changes by so much of what torque is off by, to so much at most; found in the closed loop
(simulated)."""
SLOPE_OVER_S = 0.7
STILL_WALKS_S, FALLING_PER_S, SLOPE_LAG_S = 0.3, 0.02, 0.5
"""Torque that falls so quickly just after a word to wait is that of somebody still walking; what filter and slope show
late."""
MOST_FALL = -0.25
"""A walk that was begun from high torque lets it fall quickly, and not for long: no more than this is looked ahead."""
AHEAD_S = 0.5
"""Torque is looked at a reaction and so much more ahead (the filter's lag)."""
UNLOADS, LOADS = 20.0, 9.0
"""Change of torque over change of strand stretch (both as shares), going down and up; from the model's hysteresis."""
FALLS = 0.02
SETTLES_S = 0.6
LEARNS_S = 4.0
KEEP = 1.4
"""A pace within this ratio of the wanted one is left alone."""
STANDS_S, SLOWER_AFTER_S, AGAIN_S = 3.0, 2.0, 4.0
"""A word stands so long before a quicker, or a slower, pace is asked for: nobody follows words that change as quickly
as they are heard. The same word is said again after so long."""
BACK_AFTER_S, PILES_UP = 1.5, 1.03
"""Who waits is sent on sooner where torque is above the path's already: a quick crank is soon far behind."""
WAIT_BELOW, WALK_FROM = 0.55, 0.90
"""Torque that is about to be below this share of the path's cannot wait for that: the feet do, until it is back. Far
below the path on purpose: each time somebody sets out anew the crank stands for a moment and torque dips; a walk that
goes on somewhat ahead of its path costs less than a dozen of those (simulated, three laws of slack)."""
FLOOR = 1.2
"""Of two paces the slower is asked for unless the quicker one is hardly more than is wanted: too quick a walk costs a
fifth of the torque within a second, too slow a one lets it climb gently."""
STILL_OUT_M, QUICKEST_M_PER_S = 0.25, 0.15
STEP_AT, STEP_FROM = 0.97, 0.92
"""Who steps may step when torque is about to be at the first share of the path's, and is at the second."""
STEPS_AT_M_PER_S, STEPS_TIMES = 0.14, 1.8
"""Feet that go faster than this, and than so many times what was asked, make a step."""
STEP_EVERY_S = 2.2
STEPPER_AFTER, WALKER_AFTER_S = 2, 12.0
STEP_STRETCH = 0.12
"""A step may let the strands go by so much of stretch; found in the closed loop under three laws of slack."""
LEAST_STEP_M, MOST_STEP_M = 0.08, 0.30
STEP_DEPTH = 0.12
"""What loses less torque than this may be ripple of a hand that slows down, or a slip of a knot."""
WORD_OF_STEP_S = 4.0
SHORTER_EVERY_S, SHORTER_STANDS_S = 8.0, 2.0
"""Shorter steps are asked for this often at most, and the word stands for so long."""


@dataclass(frozen=True, slots=True)
class Word:
    """What to say to the feet; `again` grows when the same word is to be said once more."""

    code: str
    step_m: float | None = None
    distance_m: float | None = None
    step_was: str | None = None
    again: int = 0


class Reaction:
    """How long this person takes from a word to their feet: from "step now" to the fall of torque that a step makes,
    and from "wait here" to torque that falls no more."""

    def __init__(self, learning: Learning) -> None:
        self._learning = learning
        self._word_s: float | None = None
        self._fell = self._stepped = False

    def tell(self, at_s: float, word: Word | None, word_s: float, step: SeenStep | None, slope: float) -> None:
        """Take one moment; word: the one that stands, since `word_s`. slope: of torque, relative, a second."""
        if word is None or word.code not in ("step_now", "wait_here"):
            self._word_s = None
            return
        if word_s != self._word_s:
            self._word_s, self._fell, self._stepped = word_s, False, False
        if word.code == "step_now":
            if step is not None and step.at_s > word_s and not self._stepped:
                self._stepped = True
                self._learning.reacted(step.at_s - word_s)
            return
        # Only who walks on, so that torque goes on falling, shows when they stop.
        if at_s - word_s < STILL_WALKS_S:
            self._fell = slope < -FALLING_PER_S
        elif self._fell and slope > 0.0:
            self._fell = False
            self._learning.reacted(at_s - word_s - SLOPE_LAG_S)


class Lead:
    """`tell` it each moment of the walk-in."""

    def __init__(self, path: PlanPath, hooks_m: float, learning: Learning) -> None:
        self._path = path
        self._hooks_m = hooks_m
        self._learning = learning
        self.seen = StepsSeen()
        self._torques: deque[tuple[float, float]] = deque(maxlen=128)
        self._word: Word | None = None
        self._word_s = 0.0
        self._steps_long = 0
        self._long_s: float | None = None
        self._said_of_s = -1.0
        self._shorter_s = -100.0
        self._before_s: float | None = None
        self._quickest = 0.0
        self._climb_s: float | None = None
        self._climb_Nm = 0.0
        self._reaction = Reaction(learning)
        self.climbs_s = 0.0

    def waits_s(self, at_s: float) -> float:
        """For how long the word has been to wait."""
        waiting = self._word is not None and self._word.code == "wait_here"
        return at_s - self._word_s if waiting else 0.0

    @property
    def stepper(self) -> bool:
        """Whether this person steps rather than walks."""
        return self._learning.habits.steps is True

    def tell(self, now: Moment, turns: float, scale: float, turns_per_s: float) -> Word:
        """Return the word that stands now. turns: on the motor, as well as known; turns_per_s: the crank brings."""
        passed = 0.0 if self._before_s is None else min(max(now.at_s - self._before_s, 0.0), 0.5)
        self._before_s = now.at_s
        step = self.seen.tell(now)
        expected = self._path.torque_at(turns) * scale
        if now.torque_Nm is None or expected <= 0.0:
            return self._say(now.at_s, "wait_here")
        ratio = now.torque_Nm / expected
        slope = self._slope(now.at_s, now.torque_Nm)
        # Where the path is at the hooks, somebody whom nobody measures may still be on the way.
        by_path = max(self._path.distance_at(turns), self._hooks_m + STILL_OUT_M)
        at_m = by_path if now.distance_m is None else now.distance_m
        even = self._even_pace(turns, at_m, turns_per_s)
        pace = self._pace_seen(now, even, slope, turns, at_m)
        self._quickest = max(self._quickest, pace) if self.seen.falling or step is not None else pace
        too_long = step is not None and self._judge(step) and step.was == "long"
        self._calm(now.at_s)
        self._reaction.tell(now.at_s, self._word, self._word_s, step, slope)
        self._learn_pace(now.at_s, pace, at_m, passed)
        ahead = ratio * (1.0 + max(slope * (AHEAD_S + self._learning.habits.reaction_s), MOST_FALL))
        self._climb(now.at_s, now.torque_Nm)
        self._word = (
            self._by_step(now, ratio, ahead, even, turns, at_m)
            if self.stepper
            else self._by_pace(now, ratio, ahead, even, too_long=too_long)
        )
        return self._word

    # -- what is seen

    def _slope(self, at_s: float, torque: float) -> float:
        """Relative change of torque a second, over the last moments."""
        self._torques.append((at_s, torque))
        while at_s - self._torques[0][0] > SLOPE_OVER_S:
            self._torques.popleft()
        first_s, first = self._torques[0]
        if at_s - first_s < 0.5 * SLOPE_OVER_S or min(first, torque) <= 0.0:
            return 0.0
        return log(torque / first) / (at_s - first_s)

    def _climb(self, at_s: float, torque: float) -> None:
        """For how long torque has climbed though the feet were told to go on."""
        word = self._word
        if word is None or word.code not in ("walk_quicker", "step_now") or torque < (1.0 - FALLS) * self._climb_Nm:
            self._climb_s, self._climb_Nm = None, torque
        elif self._climb_s is None:
            self._climb_s = at_s + self._learning.habits.reaction_s
        self._climb_Nm = max(self._climb_Nm, torque)
        self.climbs_s = 0.0 if self._climb_s is None else max(at_s - self._climb_s, 0.0)

    def _even_pace(self, turns: float, at_m: float, turns_per_s: float) -> float:
        """Pace at which the crank's turns leave the strand stretch as it is, m/s."""
        stretch = self._path.strand_stretch(turns, at_m)
        ahead = max(turns_per_s, 0.1)
        here = self._path.distance_at_stretch(stretch, turns)
        there = self._path.distance_at_stretch(stretch, turns + ahead)
        return min(max(here - there, 0.001), QUICKEST_M_PER_S)

    def _learn_pace(self, at_s: float, pace: float, at_m: float, passed: float) -> None:
        """What pace the word brought: by the distance sensor, else from what torque does."""
        word = self._word
        settled = at_s - self._word_s > self._learning.habits.reaction_s + SETTLES_S
        if word is None or word.code not in PACES or not settled or passed <= 0.0 or at_m < self._hooks_m + 0.05:
            return
        self._learning.paced(max(pace / PACES[word.code], 0.2), passed / LEARNS_S)

    def _pace_seen(self, now: Moment, even: float, slope: float, turns: float, at_m: float) -> float:
        """How fast the feet go in: by the distance sensor, else by what torque does."""
        if now.walk_m_per_s is not None:
            return max(-now.walk_m_per_s, 0.0)
        off = slope / (UNLOADS if slope < 0.0 else LOADS) / self._path.stretch_per_m(turns, at_m)
        return max(even - off, 0.0)

    def _judge(self, step: SeenStep) -> bool:
        """Whether that was a step of the feet, and not a walk or a crank that stopped; who makes some steps."""
        word = self._word
        asked = PACES.get("walk_on" if word is None else word.code, 0.0) * self._learning.habits.pace
        # A crank that stopped lets torque fall by itself; that is no long step.
        deep = step.depth >= STEP_DEPTH
        quick = deep and step.crank_turned is not False and self._quickest > max(STEPS_AT_M_PER_S, STEPS_TIMES * asked)
        if not quick:
            return False
        together = self._long_s is not None and step.at_s - self._long_s < WALKER_AFTER_S
        self._steps_long = self._steps_long + 1 if together else 1
        self._long_s = step.at_s
        length = None if step.from_m is None or step.to_m is None else step.from_m - step.to_m
        if self._steps_long >= STEPPER_AFTER or self.stepper:
            self._learning.stepped(steps=True, stride_m=length)
        return True

    def _calm(self, at_s: float) -> None:
        """Nobody who walks evenly for so long is a stepper."""
        if self.stepper and self._long_s is not None and at_s - self._long_s > WALKER_AFTER_S:
            self._steps_long = 0
            self._learning.stepped(steps=False)

    # -- what is said

    def _by_pace(self, now: Moment, ratio: float, ahead: float, even: float, *, too_long: bool) -> Word:
        """Torque that comes back is waited for; torque that falls is looked at a reaction ahead."""
        at_s, word, pace = now.at_s, self._word, self._learning.habits.pace
        if too_long and at_s - self._shorter_s >= SHORTER_EVERY_S:
            return self._shorter(at_s)
        if word is not None and word.code == "step_shorter" and at_s - self._word_s < SHORTER_STANDS_S:
            return word
        seen = min(ratio, ahead)
        walking = word is not None and word.code in PACES
        if seen < WAIT_BELOW:
            return self._say(at_s, "wait_here")
        if not walking and seen < WALK_FROM:
            return self._say(at_s, "wait_here")
        wanted = even * _share(seen)
        rank = max((n for n, code in enumerate(ORDER) if PACES[code] * pace <= FLOOR * wanted), default=0)
        if not walking or word is None:
            return self._say(at_s, ORDER[min(rank, 1)], after_s=BACK_AFTER_S if ratio >= PILES_UP else STANDS_S)
        before = ORDER.index(word.code)
        off = wanted / (PACES[word.code] * pace)
        if off >= KEEP:
            to = min(max(rank, before), before + 1)
            return self._say(at_s, ORDER[to], after_s=STANDS_S, insist=to == before)
        if off <= 1.0 / KEEP:
            to = max(before - 1, 0)
            return self._say(at_s, ORDER[to], after_s=SLOWER_AFTER_S, insist=to == before)
        return word

    def _by_step(self, now: Moment, ratio: float, ahead: float, even: float, turns: float, at_m: float) -> Word:
        since = now.at_s - self._word_s
        word = self._word
        if word is not None and word.code == "step_now" and since < STEP_EVERY_S and not self.seen.falling:
            return word
        was = self._of_last_step(now.at_s)
        if ahead < STEP_AT or ratio < STEP_FROM or self.seen.falling:
            return self._between_steps(now.at_s, was)
        step_m = self._step_length(even, turns, at_m, ratio)
        to_m = None if now.distance_m is None else max(now.distance_m - step_m, self._hooks_m)
        if word is not None and word.code == "step_now" and since < STEP_EVERY_S:
            return word
        nth = 0 if word is None else word.again + 1
        self._word_s = now.at_s
        return Word("step_now", round(step_m, 2), to_m, was, nth)

    def _between_steps(self, at_s: float, was: str | None) -> Word:
        """Wait for torque; a step that was too long, or stopped the crank, is told at once."""
        word = self._word
        nth = 0 if word is None else word.again + 1
        if was == "long" and at_s - self._shorter_s >= SHORTER_EVERY_S:
            return self._shorter(at_s)
        if was == "crank_stopped":
            self._word_s = at_s
            return Word("wait_here", step_was=was, again=nth)
        if word is not None and word.code == "step_shorter" and at_s - self._word_s < SHORTER_STANDS_S:
            return word
        return self._say(at_s, "wait_here")

    def _shorter(self, at_s: float) -> Word:
        word = self._word
        self._word_s = self._shorter_s = at_s
        return Word("step_shorter", again=0 if word is None else word.again + 1)

    def _step_length(self, even: float, turns: float, at_m: float, ratio: float) -> float:
        """As long as the strands may be let go for, and long enough to hold the path."""
        soft = STEP_STRETCH / self._path.strand_stretch(turns, at_m) / self._path.stretch_per_m(turns, at_m)
        holds = 1.3 * even * STEP_EVERY_S * max(ratio, 1.0)
        return min(max(soft, holds, LEAST_STEP_M), MOST_STEP_M)

    def _of_last_step(self, at_s: float) -> str | None:
        """What there is to say of the step that has just been made, once."""
        steps = self.seen.all
        if self.seen.falling or not steps or steps[-1].at_s <= self._said_of_s:
            return None
        self._said_of_s = steps[-1].at_s
        return steps[-1].was if at_s - steps[-1].at_s <= WORD_OF_STEP_S else None

    def _say(self, at_s: float, code: str, *, after_s: float = 0.0, insist: bool = False) -> Word:
        word = self._word
        if word is not None and word.code == code:
            if not insist or at_s - self._word_s < AGAIN_S:
                return word
        elif word is not None and at_s - self._word_s < after_s:
            return word
        self._word_s = at_s
        return Word(code, again=0 if word is None else word.again + 1)


def _share(ratio: float) -> float:
    """The pace over the even one that torque over the path's calls for."""
    return min(max(1.0 + GAIN * (ratio - WANTED), 0.0), MOST_HURRY)
