"""A wind as it was coached in, view by view; what happened in it out: phases, alarms, pacing, walk-in, peak, launch.

A live wind, a replay and a practice lesson come the same way. Shares are of the plan's own figures.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from winding_coach.coach.alarms import CAUGHT_SHARE, FALLEN_SHARE
from winding_coach.coach.said import Level, Phase
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.view import CoachView
from winding_coach.rubber.path import PlanPath

LONGEST_STEP_S = 0.5
"""Between two views; what is longer is a gap, and nothing is known of it."""
SETTLED_AFTER_S = 3.0
"""Crank speed is judged only so long after the crank began: getting under way is no unevenness."""
HELD = (0.80, 1.20)
"""Torque within these shares of what this motor should show counts as held; a small step-in stays within."""
FALL_AFTER_S = 1.0
"""What is shorter is the saw tooth of a step-in: the coach's alarm waits as long."""
SCALE_FROM = 0.4
"""Share of the turns at full stretch from which the motor's own torque scale is told; the zero weighs less there."""
SCALE_VIEWS = 400
"""Views kept for it, the newest."""


@dataclass(frozen=True, slots=True)
class PhaseSpan:
    """A phase from one second to another. turns: on the motor when it began, None where not known."""

    phase: Phase
    from_s: float
    to_s: float
    turns: float | None


@dataclass(frozen=True, slots=True)
class AlarmSpan:
    """An alarm from one second to another; one that was still on ends with the last view."""

    code: str
    level: Level
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class Cranking:
    """How the crank was turned in one phase. mean_rev_per_s, unevenness: of its speed, the latter as standard
    deviation over mean. in_band: share of the time that torque rose at the plan's rate. None: cannot be told."""

    seconds: float
    mean_rev_per_s: float | None
    unevenness: float | None
    in_band: float | None


@dataclass(frozen=True, slots=True)
class WalkIn:
    """The walk-in against the torque that this motor should show on the plan's path.

    held: share of the time within `HELD`. lowest: smallest share of the torque wanted. falls: how often it fell below
    `FALLEN_SHARE` and was not back above `CAUGHT_SHARE` within `FALL_AFTER_S`; fallen_s, longest_fall_s: how long these
    lasted. stalls, stalled_s: of the crank.
    """

    seconds: float
    held: float | None
    lowest: float | None
    falls: int
    fallen_s: float
    longest_fall_s: float
    stalls: int
    stalled_s: float


@dataclass(frozen=True, slots=True)
class Wind:
    """What happened. None: did not happen, or cannot be told.

    torque_scale: of this motor over the plan's, from the turns at full stretch. left_torque, left_turns: at the start
    of the walk-in over the plan's. peak_torque, peak_turns, launch_torque: over the plan's. launch_turns: left on the
    motor over the plan's.
    """

    outcome: str | None
    seconds: float
    phases: tuple[PhaseSpan, ...]
    alarms: tuple[AlarmSpan, ...]
    stretched: Cranking | None
    walk_in: WalkIn | None
    final: Cranking | None
    torque_scale: float | None
    left_torque: float | None
    left_turns: float | None
    peak_torque: float | None
    peak_turns: float | None
    launch_torque: float | None
    launch_turns: float | None

    @property
    def broke(self) -> bool:
        """Whether the motor broke."""
        return self.outcome == "broken" or (self.outcome is None and Phase.BROKEN is self._last_phase)

    @property
    def _last_phase(self) -> Phase | None:
        return self.phases[-1].phase if self.phases else None

    @property
    def peak(self) -> float | None:
        """How far it was wound: torque or turns over the plan's, whichever went further.

        A motor weaker than its label shows too little torque, a stronger one too much: the first to reach its
        planned figure says stop.
        """
        known = [share for share in (self.peak_torque, self.peak_turns) if share is not None]
        return max(known) if known else None


class _Speeds:
    """Running mean and variance, weighted by time (West 1979)."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self.mean = 0.0
        self._squares = 0.0

    def add(self, value: float, seconds: float) -> None:
        self.seconds += seconds
        off = value - self.mean
        self.mean += off * seconds / self.seconds
        self._squares += seconds * off * (value - self.mean)

    @property
    def relative_sd(self) -> float | None:
        if self.seconds <= 0.0 or self.mean <= 0.0:
            return None
        return math.sqrt(max(self._squares, 0.0) / self.seconds) / self.mean


class _CrankWatch:
    def __init__(self) -> None:
        self._seconds = self._banded_s = self._in_band_s = 0.0
        self._speeds = _Speeds()

    def add(self, view: CoachView, dt_s: float) -> None:
        self._seconds += dt_s
        reading, targets = view.reading, view.targets
        speed, rate = reading.crank_rev_per_s, reading.torque_rate_Nm_per_s
        if self._seconds < SETTLED_AFTER_S:
            return
        if speed is not None:
            self._speeds.add(speed, dt_s)
        if rate is not None and targets.rate_low_Nm_per_s is not None and targets.rate_high_Nm_per_s is not None:
            self._banded_s += dt_s
            self._in_band_s += dt_s * (targets.rate_low_Nm_per_s <= rate <= targets.rate_high_Nm_per_s)

    def seen(self) -> Cranking | None:
        if self._seconds == 0.0:
            return None
        return Cranking(
            self._seconds,
            self._speeds.mean if self._speeds.seconds else None,
            self._speeds.relative_sd,
            self._in_band_s / self._banded_s if self._banded_s else None,
        )


class _WalkInWatch:
    def __init__(self) -> None:
        self._seconds = self._known_s = self._held_s = self._fallen_s = self._fall_s = self._longest_s = 0.0
        self._lowest: float | None = None
        self._falls = 0

    def add(self, share: float | None, dt_s: float) -> None:
        """share: torque over what this motor should show here."""
        self._seconds += dt_s
        if share is None:
            return
        self._known_s += dt_s
        self._held_s += dt_s * (HELD[0] <= share <= HELD[1])
        self._lowest = share if self._lowest is None else min(self._lowest, share)
        if self._fall_s == 0.0 and share >= FALLEN_SHARE:
            return
        if share >= CAUGHT_SHARE:
            self._fall_s = 0.0
            return
        before_s, self._fall_s = self._fall_s, self._fall_s + dt_s
        if self._fall_s >= FALL_AFTER_S:
            begins = before_s < FALL_AFTER_S
            self._falls += begins
            self._fallen_s += self._fall_s if begins else dt_s
            self._longest_s = max(self._longest_s, self._fall_s)

    def seen(self, stalls: list[AlarmSpan]) -> WalkIn | None:
        if self._seconds == 0.0:
            return None
        return WalkIn(
            self._seconds,
            self._held_s / self._known_s if self._known_s else None,
            self._lowest,
            self._falls,
            self._fallen_s,
            self._longest_s,
            len(stalls),
            sum(stall.to_s - stall.from_s for stall in stalls),
        )


class WindWatcher:
    """Takes a coach's views in order; `wind` is what happened so far. What is kept does not grow with the rate."""

    def __init__(self, settings: CoachSettings, from_s: float = 0.0) -> None:
        """from_s: what came before it was another's doing; it only tells what the motor is like.

        Raises:
            FiguresError: the plan's figures contradict each other.
        """
        self._plan = settings.plan
        self._path = PlanPath(settings.plan, settings.motor)
        self._walk_in_Nm = median(row.torque_Nm for row in settings.plan.walk_in)
        self._from_s = from_s
        self._view: CoachView | None = None
        self._cranks = {Phase.WIND_STRETCHED: _CrankWatch(), Phase.FINAL_TURNS: _CrankWatch()}
        self._walk_in = _WalkInWatch()
        self._alarms: list[AlarmSpan] = []
        self._on: dict[str, AlarmSpan] = {}
        self._scales: deque[float] = deque(maxlen=SCALE_VIEWS)
        self._left_torque: float | None = None
        self._left_turns: float | None = None

    def add(self, view: CoachView) -> None:
        """Take the next view."""
        before, self._view = self._view, view
        self._follow_alarms(view)
        if before is None:
            return
        reading = view.reading
        torque_Nm, turns = reading.torque_Nm, reading.turns
        if view.phase is Phase.WIND_STRETCHED and torque_Nm is not None and turns is not None:
            told = turns >= SCALE_FROM * self._plan.stretched_turns
            self._scales.extend([torque_Nm / self._path.torque_at(turns)] if told else [])
        if view.phase is Phase.WALK_IN and before.phase is not Phase.WALK_IN and self._left_torque is None:
            self._left_torque = None if torque_Nm is None else torque_Nm / self._plan.stretched_torque_Nm
            self._left_turns = None if turns is None else turns / self._plan.stretched_turns
        dt_s = view.at_s - before.at_s
        if view.at_s < self._from_s or view.stale or not 0.0 < dt_s <= LONGEST_STEP_S:
            return
        if view.phase in self._cranks:
            self._cranks[view.phase].add(view, dt_s)
        elif view.phase is Phase.WALK_IN:
            self._walk_in.add(self._torque_share(torque_Nm, turns), dt_s)

    def _torque_share(self, torque_Nm: float | None, turns: float | None) -> float | None:
        if torque_Nm is None:
            return None
        wanted_Nm = self._walk_in_Nm if turns is None else self._path.torque_at(turns)
        return torque_Nm / (wanted_Nm * (self._scale or 1.0))

    @property
    def _scale(self) -> float | None:
        return median(self._scales) if self._scales else None

    def _follow_alarms(self, view: CoachView) -> None:
        on = {alarm.code: alarm for alarm in view.alarms}
        for code, alarm in on.items():
            if code not in self._on:
                self._on[code] = AlarmSpan(code, alarm.level, alarm.at_s, alarm.at_s)
        for code in [code for code in self._on if code not in on]:
            span = self._on.pop(code)
            self._alarms.append(AlarmSpan(code, span.level, span.from_s, view.at_s))

    @property
    def wind(self) -> Wind:
        """What happened so far."""
        view, plan = self._view, self._plan
        end_s = 0.0 if view is None else view.at_s
        still_on = [AlarmSpan(span.code, span.level, span.from_s, end_s) for span in self._on.values()]
        alarms = sorted((*self._alarms, *still_on), key=lambda span: (span.from_s, span.code))
        mine = [span for span in alarms if span.to_s > self._from_s]
        stalls = [span for span in mine if span.code == "crank_stalled"]
        marks = None if view is None else view.marks
        summary = None if view is None else view.summary

        def over(value: float | None, planned: float) -> float | None:
            return None if value is None or planned <= 0.0 else value / planned

        return Wind(
            outcome=None if summary is None else summary.outcome,
            seconds=max(end_s - self._from_s, 0.0),
            phases=_spans(view),
            alarms=tuple(mine),
            stretched=self._cranks[Phase.WIND_STRETCHED].seen(),
            walk_in=self._walk_in.seen(stalls),
            final=self._cranks[Phase.FINAL_TURNS].seen(),
            torque_scale=self._scale,
            left_torque=self._left_torque,
            left_turns=self._left_turns,
            peak_torque=None if marks is None else over(marks.peak_torque_Nm, plan.peak_torque_Nm),
            peak_turns=None if marks is None else over(marks.peak_turns, plan.target_turns),
            launch_torque=None if marks is None else over(marks.launch_torque_Nm, plan.launch_torque_Nm),
            launch_turns=None if marks is None else over(marks.launch_turns, plan.launch_turns),
        )


def _spans(view: CoachView | None) -> tuple[PhaseSpan, ...]:
    if view is None:
        return ()
    starts = view.phase_starts
    ends = [*(start[0] for start in starts[1:]), view.at_s]
    return tuple(
        PhaseSpan(phase, from_s, to_s, turns) for (from_s, turns, phase), to_s in zip(starts, ends, strict=True)
    )


def review_of(settings: CoachSettings, views: Iterable[CoachView], from_s: float = 0.0) -> Wind:
    """Return what happened in the wind that these views, in order, show; see `WindWatcher`."""
    watcher = WindWatcher(settings, from_s)
    for view in views:
        watcher.add(view)
    return watcher.wind
