"""What the path asks for now: where to stand, whether the person is ahead or behind, how far to back off. Pure.

It is told each moment, in order, and keeps its answer for whoever looks.
"""

from __future__ import annotations

from winding_coach.base.values import value
from winding_coach.coach.lead import Lead, Word
from winding_coach.coach.limits import Limits
from winding_coach.coach.moment import Moment
from winding_coach.coach.person import Learning
from winding_coach.coach.said import Phase
from winding_coach.coach.turns_by_time import USUAL_REV_PER_S, TurnsByTime
from winding_coach.coach.view import Marks
from winding_coach.coach.walk import Walk
from winding_coach.rubber.path import PlanPath
from winding_coach.signals.reading import Reading

SIDE_OVER_S = 3.0
"""Torque over the expected is averaged so long before it says ahead or behind: a few steps' saw teeth."""
AHEAD_BELOW, BEHIND_ABOVE = 0.70, 1.04
"""Steps on the path average 0.8 to 0.9 of the torque expected, as each lets it fall. Found in the closed loop."""
BEHIND_M, AHEAD_M = 0.10, 0.08
"""With a distance sensor: so far beside the path."""
STEPPING_RATIO = 0.9
TORQUE_POWER = 1.6
"""Torque goes about with turns to this power at one place (from the plan of the invented motor)."""
CORRECTION_TIME_S, MAX_CORRECTION = 6.0, 0.15
"""Estimated turns are put right by torque with this time constant, by so much of them at most."""
WHOLE_TURNS_UNTIL = 2.0
"""In the back-off whole turns of the crank are told until so many are left, then half ones."""


@value(frozen=True, slots=True)
class Guidance:
    """walk: knows the mark to walk to. side: ahead of the path, behind it, None: on it or
    not known. off_left: turns of the crank to take off still;
    off_next_Nm: torque to expect after the next of them."""

    walk: Walk | None = None
    side: str | None = None
    off_left: float | None = None
    word: Word | None = None
    off_next_Nm: float | None = None

    @property
    def mark_m(self) -> float | None:
        """Where to be in a few turns of the crank."""
        return None if self.walk is None else self.walk.mark_m


NONE = Guidance()


class Guide:
    """`tell` it each moment; `now` is what the path asks for."""

    def __init__(
        self, path: PlanPath, limits: Limits, learning: Learning | None = None, *, led_by_torque: bool = True
    ) -> None:
        self._path = path
        self._plan_limits = limits
        self._by_time = TurnsByTime(path, limits)
        self.lead = Lead(path, limits.hooks_m, learning or Learning()) if led_by_torque else None
        self._walk: Walk | None = None
        self._of_expected: float | None = None
        self._before_s = 0.0
        self._shift_turns = 0.0
        self.turns_in = 0.0
        """Turns in the motor before this wind."""
        self.now = Guidance()

    def tell(self, now: Moment, limits: Limits, marks: Marks, scale: float, told_m: float | None = None) -> Guidance:
        """Take one moment; return what the path asks for. told_m: the mark that the person was told last."""
        self._by_time.tell(now)
        if now.phase is Phase.WALK_IN:
            self.now = self._walk_in(now, limits, told_m, scale)
        elif now.phase is Phase.BACK_OFF:
            self.now = self._back_off(now, limits, marks, scale)
        else:
            self.now = NONE
        return self.now

    def pace_of(self, turns: float | None, reading: Reading | None) -> float | None:
        """Return the turns that set the pace of the walk-in: counted, else as the signal estimates them, else None.

        An estimate is put right by torque as the walk-in goes; no limit rests on it.
        """
        if turns is None and self.lead is not None:
            return self._by_time.turns
        if turns is not None or reading is None or reading.turns_source != "estimated" or reading.crank_turns is None:
            return turns
        return max(reading.crank_turns * self._plan_limits.ratio + self.turns_in + self._shift_turns, 0.0)

    def _put_right(self, now: Moment, ratio: float, passed: float) -> None:
        """Torque above what these turns should show: there are more of them, or less below."""
        if now.counted or now.pace_turns is None:
            return
        by = now.pace_turns * (ratio - STEPPING_RATIO) / TORQUE_POWER * passed / CORRECTION_TIME_S
        most = MAX_CORRECTION * now.pace_turns
        self._shift_turns = min(max(self._shift_turns + by, -most), most)

    def off_path_m(self, turns: float | None, distance_m: float | None) -> float | None:
        """Return how much further out than the path the person stands, None where that is not known."""
        if self._walk is None or turns is None or distance_m is None:
            return None
        return distance_m - self._walk.distance_at(turns)

    def _walk_in(self, now: Moment, limits: Limits, told_m: float | None, scale: float) -> Guidance:
        turns = now.pace_turns
        if turns is None and self.lead is not None:
            turns = self._by_time.turns
        if turns is None:
            return Guidance()
        if self._walk is None:
            # Where the person stands as the walk-in begins: by the sensor, else at full stretch.
            at_m = now.distance_m or self._plan_limits.stretch_m
            self._walk = Walk(self._path, self._plan_limits, turns, at_m)
        walk = self._walk
        side = self._side(now)
        walk.tell(turns, limits, told_m, now.distance_m, side)
        return Guidance(walk, side, word=self._word(now, turns, scale))

    def _word(self, now: Moment, turns: float, scale: float) -> Word | None:
        """What torque says to the feet."""
        if self.lead is None:
            return None
        per_s = self._by_time.per_s
        if now.counted:
            speed = 0.0 if now.cranking is False else now.crank_rev_per_s
            per_s = None if speed is None else abs(speed) * self._plan_limits.ratio
        if per_s is None:
            per_s = USUAL_REV_PER_S * self._plan_limits.ratio
        return self.lead.tell(now, turns, scale, per_s)

    def _side(self, now: Moment) -> str | None:
        passed = min(max(now.at_s - self._before_s, 0.0), SIDE_OVER_S)
        self._before_s = now.at_s
        expected_Nm = now.expected_Nm
        if expected_Nm is None and now.pace_turns is not None:
            expected_Nm = self._path.torque_at(now.pace_turns)
        ratio = now.torque_Nm / expected_Nm if now.torque_Nm is not None and expected_Nm else None
        if ratio is not None:
            self._put_right(now, ratio, passed)
        if now.off_path_m is not None:
            return "behind" if now.off_path_m > BEHIND_M else "ahead" if now.off_path_m < -AHEAD_M else None
        if ratio is None:
            return None
        if self._of_expected is None:
            self._of_expected = 0.5 * (AHEAD_BELOW + BEHIND_ABOVE)
        self._of_expected += (ratio - self._of_expected) * passed / SIDE_OVER_S
        return "ahead" if self._of_expected < AHEAD_BELOW else "behind" if self._of_expected > BEHIND_ABOVE else None

    def _back_off(self, now: Moment, limits: Limits, marks: Marks, scale: float) -> Guidance:
        """By the plan's back-off branch, scaled to the peak that this motor showed."""
        if now.torque_Nm is None:
            return Guidance()
        if marks.peak_torque_Nm is not None and marks.peak_turns is not None:
            planned_Nm = self._path.torque_at(marks.peak_turns)
            scale = marks.peak_torque_Nm / planned_Nm if planned_Nm > 0.0 else scale
        wanted = self._path.back_off_turns_to(limits.launch_Nm / scale)
        off = self._path.back_off_turns_to(now.torque_Nm / scale)
        left = (wanted - off) / limits.ratio
        step = 1.0 if left > WHOLE_TURNS_UNTIL else 0.5
        after = min(off + step * limits.ratio, wanted)
        expected_Nm = self._path.back_off_torque_at(after) * scale
        return Guidance(off_left=left, off_next_Nm=min(expected_Nm, now.torque_Nm))
