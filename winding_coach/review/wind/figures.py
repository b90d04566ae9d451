"""A sequence of coach views in, the figures of what happened out. Pure: it only looks, so any trace can be reviewed.

Figures are ratios wherever that is fair, so that winds of different motors compare. None: it did not come to that.
"""

from __future__ import annotations

import math
import statistics
from dataclasses import dataclass

from winding_coach.coach.alarms import CAUGHT_SHARE, FALLEN_SHARE
from winding_coach.coach.limits import limits_from
from winding_coach.coach.phases import WINDING
from winding_coach.coach.said import Phase, ReadingSaid
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.view import CoachView, Marks
from winding_coach.review.wind.loosening import Loosened, Loosening
from winding_coach.rubber.path import PlanPath

STARTING_PERIODS = 2
"""The first crank turns are a start, not a rhythm."""
LEAST_PERIODS = 8
RESTS = 2.5
"""A turn that took so many times the usual time was a rest, or pulses were lost: no matter of rhythm."""
LOOK_AT_RIPPLE_S = 0.5
LONGEST_STEP_S = 0.5
"""A longer gap between two views is a gap in the data; it counts as nothing."""
LEAST_WALK_IN_S = 5.0
SCALE_FROM = 0.5
"""Share of the turns at full stretch from which the motor is compared with its plan."""
SCALE_RANGE = (0.5, 2.0)
RIPPLE = 0.03
"""The highest of many torques is above the peak by so much at the most where no one went past it (simulated meters)."""
ON_THE_HOOK, HELD_S = 0.2, 1.0
"""The torque last held in the back-off, above this share of the peak and smoothed for so long, was that of the launch
where the coach never saw the motor ready."""
DANGERS = frozenset({"overwind", "winder_limit", "meter_limit"})
"""Dangers that hands bring about; the meter's own troubles are no one's doing."""
ENDED = frozenset({Phase.DONE, Phase.STOPPED})


@dataclass(frozen=True, slots=True)
class WindFigures:
    """What happened in one wind.

    crank_variation: standard deviation over mean of the time of a crank turn at full stretch. path_off: root mean
    square of torque over the plan's torque at the same turns, less 1, in the walk-in; path_side: its mean, with sign.
    falls: how often torque fell far below that in the walk-in; longest_fall_s: until it was caught again.
    in_band: share (0-1) of the walk-in and the final turns. stalls, stalled_s: of the walk-in. peak_reach: peak
    torque over the coach's figure for it, or turns over the plan's target, whichever is further. overshoot: share of
    torque above that figure, or of turns beyond the overwind limit. peak_Nm: that figure. launch_ratio: launch torque
    over the plan's. back_off_turns: of the motor; back_off_off: crank turns more (or, below 0, fewer) than planned.
    A wind that ended before its peak reached what it was wound to; one that was never ready was launched with what was
    held last. broken: None while nothing was wound. torque_scale: the motor's torque at full stretch over its plan's.
    danger_s: for how long a limit was passed, 0 if never. break_risk: chance (0-1) that such a motor breaks by its
    peak, by what this walk-in did to it (see `review.loosening`); risk_added: the same less that of the even path.
    let_go: strand stretch let go in the walk-in, in all.
    """

    crank_variation: float | None = None
    path_off: float | None = None
    path_side: float | None = None
    falls: int | None = None
    longest_fall_s: float | None = None
    in_band: float | None = None
    stalls: int | None = None
    stalled_s: float | None = None
    peak_reach: float | None = None
    overshoot: float | None = None
    peak_Nm: float | None = None
    launch_ratio: float | None = None
    back_off_turns: float | None = None
    back_off_off: float | None = None
    broken: bool | None = None
    torque_scale: float | None = None
    danger_s: float | None = None
    break_risk: float | None = None
    risk_added: float | None = None
    let_go: float | None = None


class WindWatch:
    """Shown every view of a wind, in order; `figures` says what happened in those that were `counted`."""

    def __init__(self, settings: CoachSettings) -> None:
        """Make the plan's tables.

        Raises:
            FiguresError: the plan contradicts itself.
        """
        self._plan = settings.plan
        self._peak_Nm = settings.plan.peak_torque_Nm
        self._limits = limits_from(settings)
        self._path = PlanPath(settings.plan, settings.motor)
        self._seen: set[Phase] = set()
        self._last: CoachView | None = None
        self._pulse: tuple[float, float] | None = None
        self._periods: list[float] = []
        self._ripple_speeds: list[float] = []
        self._ripple_next_s = 0.0
        self._scales: list[float] = []
        self._scale: float | None = None
        self._walked_s = self._off_s = self._off2_s = 0.0
        self._falls = 0
        self._fall_s: float | None = None
        self._longest_fall_s = 0.0
        self._banded_s = self._in_band_s = 0.0
        self._stalls = 0
        self._stalled_s = 0.0
        self._stalled = False
        self._loosening = Loosening(self._path)
        self._dangers = self._at_peak = False
        self._danger_s = 0.0
        self._most_turns = self._most_Nm = self._held_Nm = 0.0

    def see(self, view: CoachView, *, counted: bool = True) -> None:
        """Look at one view; one that is not counted only tells which motor this is."""
        last, self._last = self._last, view
        passed_s = 0.0 if last is None else view.at_s - last.at_s
        if passed_s > LONGEST_STEP_S:
            passed_s = 0.0
        self._compare(view)
        if not counted:
            return
        self._seen.add(view.phase)
        if view.phase in WINDING | {Phase.BACK_OFF}:
            self._reached(view, passed_s)
        if view.phase is Phase.WIND_STRETCHED:
            self._crank(view)
        if view.phase is Phase.WALK_IN:
            self._walk_in(view, passed_s)
        if view.phase in (Phase.WALK_IN, Phase.FINAL_TURNS):
            self._asked(view)
            self._band(view, passed_s)

    def _asked(self, view: CoachView) -> None:
        """The peak that is asked for: the coach moves the plan's to this motor's own scale, and who obeys it must not
        lose by it. What it is moved to once torque is there asks no one to stop any more."""
        target_Nm, limits = view.targets.torque_Nm, self._limits
        # No one may have told that the hooks are reached: then the walk-in lasts to the peak.
        early = view.phase is Phase.WALK_IN and (target_Nm or 0.0) < 0.5 * (limits.stretched_Nm + limits.peak_Nm)
        if target_Nm is None or self._at_peak or early:
            return
        self._peak_Nm = target_Nm
        self._at_peak = (view.reading.torque_Nm or 0.0) >= target_Nm

    def _reached(self, view: CoachView, passed_s: float) -> None:
        self._most_turns = max(self._most_turns, _counted(view.reading) or 0.0)
        self._most_Nm = max(self._most_Nm, view.reading.torque_Nm or 0.0)
        torque_Nm = view.reading.torque_Nm or 0.0
        if view.phase is Phase.BACK_OFF and torque_Nm > ON_THE_HOOK * self._peak_Nm:
            self._held_Nm += (torque_Nm - self._held_Nm) * (min(1.0, passed_s / HELD_S) if self._held_Nm else 1.0)
        if any(alarm.code in DANGERS for alarm in view.alarms):
            self._dangers = True
            self._danger_s += passed_s

    def _compare(self, view: CoachView) -> None:
        """How the motor's torque at full stretch compares with its plan's."""
        turns, torque_Nm = _counted(view.reading), view.reading.torque_Nm
        if view.phase is Phase.WIND_STRETCHED and turns is not None and torque_Nm is not None:
            planned_Nm = self._path.torque_at(turns)
            if turns >= SCALE_FROM * self._limits.stretched_turns and planned_Nm > 0.0:
                self._scales.append(torque_Nm / planned_Nm)
        elif self._scales:
            low, high = SCALE_RANGE
            self._scale = min(max(statistics.median(self._scales), low), high)
            self._scales.clear()

    def _crank(self, view: CoachView) -> None:
        reading = view.reading
        if reading.turns is not None and reading.turns_source == "counted":
            if self._pulse is None:
                self._pulse = (view.at_s, reading.turns)
            elif reading.turns != self._pulse[1]:
                cranked = abs(reading.turns - self._pulse[1]) / view.winder_ratio
                self._periods.append((view.at_s - self._pulse[0]) / cranked)
                self._pulse = (view.at_s, reading.turns)
        elif reading.crank_rev_per_s is not None and view.at_s >= self._ripple_next_s:
            self._ripple_next_s = view.at_s + LOOK_AT_RIPPLE_S
            self._ripple_speeds.append(abs(reading.crank_rev_per_s))

    def _walk_in(self, view: CoachView, passed_s: float) -> None:
        stalled = any(alarm.code == "crank_stalled" for alarm in view.alarms)
        self._stalls += stalled and not self._stalled
        self._stalled_s += passed_s if stalled else 0.0
        self._stalled = stalled
        torque_Nm = view.reading.torque_Nm
        expected_Nm = 0.0 if torque_Nm is None else self._expected_Nm(_counted(view.reading), torque_Nm)
        if torque_Nm is None or expected_Nm <= 0.0:
            return
        off = torque_Nm / expected_Nm - 1.0
        self._walked_s += passed_s
        self._off_s += off * passed_s
        self._off2_s += off * off * passed_s
        self._fall(1.0 + off, passed_s)
        self._loosen(view, torque_Nm)

    def _loosen(self, view: CoachView, torque_Nm: float) -> None:
        reading, turns = view.reading, _counted(view.reading)
        usual_Nm = self._limits.stretched_Nm if turns is None else self._path.torque_at(turns)
        turned = None if reading.crank_rev_per_s is None else reading.crank_rev_per_s * view.winder_ratio
        ratio = torque_Nm / (usual_Nm * (self._scale or 1.0))
        self._loosening.tell(view.at_s, ratio, turns, 0.0 if reading.cranking is False else turned)

    def _fall(self, share: float, passed_s: float) -> None:
        """share: torque over what it should be. The limits are those of the coach's alarm."""
        if self._fall_s is None and share < FALLEN_SHARE:
            self._falls += 1
            self._fall_s = 0.0
        elif self._fall_s is not None and share >= CAUGHT_SHARE:
            self._fall_s = None
        if self._fall_s is not None:
            self._fall_s += passed_s
            self._longest_fall_s = max(self._longest_fall_s, self._fall_s)

    def _expected_Nm(self, turns: float | None, torque_Nm: float) -> float:
        """The plan's torque for this motor; without turns, the nearest that the plan's walk-in passes through."""
        scale = self._scale or 1.0
        if turns is not None:
            return scale * self._path.torque_at(turns)
        ends = [self._path.torque_at(mark) for mark in (self._limits.stretched_turns, self._limits.walked_in_turns)]
        return min(max(torque_Nm, scale * min(ends)), scale * max(ends))

    def _band(self, view: CoachView, passed_s: float) -> None:
        rate, targets = view.reading.torque_rate_Nm_per_s, view.targets
        if rate is None or targets.rate_low_Nm_per_s is None or targets.rate_high_Nm_per_s is None:
            return
        self._banded_s += passed_s
        if targets.rate_low_Nm_per_s <= rate <= targets.rate_high_Nm_per_s:
            self._in_band_s += passed_s

    @property
    def figures(self) -> WindFigures:
        """What happened so far."""
        walked = self._walked_s >= LEAST_WALK_IN_S
        peak_reach, overshoot = self._peak()
        off, off_by = self._back_off()
        loosened = self._loosened() if walked else None
        return WindFigures(
            crank_variation=self._variation(),
            path_off=math.sqrt(self._off2_s / self._walked_s) if walked else None,
            path_side=self._off_s / self._walked_s if walked else None,
            falls=self._falls if walked else None,
            longest_fall_s=self._longest_fall_s if walked else None,
            in_band=self._in_band_s / self._banded_s if self._banded_s >= LEAST_WALK_IN_S else None,
            stalls=self._stalls if walked else None,
            stalled_s=self._stalled_s if walked else None,
            peak_reach=peak_reach,
            overshoot=overshoot,
            peak_Nm=None if peak_reach is None else self._peak_Nm,
            launch_ratio=self._launch(),
            back_off_turns=off,
            back_off_off=off_by,
            broken=self._broken(),
            torque_scale=self._scale,
            danger_s=(max(self._danger_s, 0.1) if self._dangers else 0.0) if self._most_Nm else None,
            break_risk=None if loosened is None else loosened.break_risk,
            risk_added=None if loosened is None else max(loosened.break_risk - self._even_risk(), 0.0),
            let_go=None if loosened is None else loosened.let_go,
        )

    def _loosened(self) -> Loosened:
        """What the walk-in did, by the peak; by the plan's where the motor was not wound so far yet."""
        marks, scale = Marks() if self._last is None else self._last.marks, self._scale or 1.0
        turns = marks.peak_turns
        if turns is None and marks.peak_torque_Nm is not None:
            turns = self._path.turns_at_torque(marks.peak_torque_Nm / scale)
        return self._loosening.by(turns or self._limits.target_turns, scale)

    def _even_risk(self) -> float:
        return self._path.break_risk(self._limits.target_turns, self._limits.hooks_m, self._scale or 1.0)

    def _variation(self) -> float | None:
        times = self._periods[STARTING_PERIODS:] or [1.0 / speed for speed in self._ripple_speeds if speed > 0.0]
        if len(times) < LEAST_PERIODS:
            return None
        rest_s = RESTS * statistics.median(times)
        times = [time for time in times if time <= rest_s]
        return statistics.stdev(times) / statistics.mean(times)

    def _peak(self) -> tuple[float | None, float | None]:
        """(reach, overshoot). Torque against the coach's last figure for the peak; turns where they are further."""
        if self._last is None:
            return None, None
        marks, limits = self._last.marks, self._limits
        if marks.peak_torque_Nm is None and self._last.phase in ENDED and self._most_Nm:
            return max(self._most_Nm / self._peak_Nm, self._most_turns / limits.target_turns), 0.0
        if marks.peak_torque_Nm is None or not self._seen & {Phase.FINAL_TURNS, Phase.BACK_OFF, Phase.READY}:
            return None, None
        reach = marks.peak_torque_Nm / self._peak_Nm
        # Who cranks on in the back-off goes past a peak that is noted already.
        over = max(reach - 1.0, self._most_Nm / self._peak_Nm - 1.0 - RIPPLE, 0.0)
        if marks.peak_turns is not None:
            reach = max(reach, marks.peak_turns / limits.target_turns)
            # The overwind alarm's own limit of turns.
            over = max(over, marks.peak_turns / (0.5 * (limits.target_turns + limits.breaking_turns)) - 1.0)
        return reach, over

    def _launch(self) -> float | None:
        if self._last is None:
            return None
        marks = self._last.marks
        launch_Nm = marks.launch_torque_Nm
        if launch_Nm is None and self._last.summary is not None and self._last.phase is not Phase.BROKEN:
            launch_Nm = self._held_Nm or marks.peak_torque_Nm
        return None if launch_Nm is None else launch_Nm / self._limits.launch_Nm

    def _back_off(self) -> tuple[float | None, float | None]:
        marks = None if self._last is None else self._last.marks
        if marks is None or marks.peak_turns is None or marks.launch_turns is None:
            return None, None
        off = marks.peak_turns - marks.launch_turns
        return off, (off - self._plan.back_off_turns) / self._limits.ratio

    def _broken(self) -> bool | None:
        if self._last is None or not self._seen & (WINDING | {Phase.BACK_OFF, Phase.READY, Phase.BROKEN}):
            return None
        return self._last.phase is Phase.BROKEN


def _counted(reading: ReadingSaid) -> float | None:
    """Turns that someone or something counted; an estimate judges no one."""
    return reading.turns if reading.turns_source in ("counted", "tapped") else None
