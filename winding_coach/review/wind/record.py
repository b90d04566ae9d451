"""A trace's inputs in, one wind as it was out: samples, phases, alarms, stalls, work, figures. Pure.

The same coach runs over the inputs as live, so an old trace is told by today's estimator. `None` is not known.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass, field
from itertools import pairwise

import numpy as np

from winding_coach.base.inputs import Input
from winding_coach.coach.loop import taken
from winding_coach.coach.phases import LOADED, OVER
from winding_coach.coach.said import Alarm, Level, Phase, Summary
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.coach.steps_seen import SeenStep
from winding_coach.coach.view import CoachView
from winding_coach.review.wind.energy import CrankWork, crank_work
from winding_coach.review.wind.figures import WindWatch
from winding_coach.review.wind.happened import WindReview, review_of
from winding_coach.rubber.figures import FiguresError
from winding_coach.traces.header import Header

EVERY_S = 0.05
"""Samples are kept this often."""
LOOK_BACK_S = 1.5
"""The torque that a stall began with is the highest of so many seconds before its alarm."""
STOOD = 2.5
"""A count that took so many times the usual time tells that the crank stood."""
HELD_SHARE = 0.8
"""When ready, torque below this share of the launch torque means that the motor is being taken off."""
LEAST_GAP_S = 0.5
MOST_FIGURE = 1e6
"""A ratio or time beyond this comes of a plan that is none."""
LEAST_CRANKED_TURNS = 3.0
"""Turns of the crank from which a phase has a pace."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One moment. turns: of the motor, straight between two counts."""

    at_s: float
    phase: Phase
    torque_Nm: float
    turns: float | None = None
    distance_m: float | None = None


@dataclass(frozen=True, slots=True)
class PhaseSpan:
    """A phase from begin to end; turns and torque at its end. crank_rev_per_s: its mean pace where turns were told."""

    phase: Phase
    from_s: float
    to_s: float
    turns: float | None
    torque_Nm: float | None
    crank_rev_per_s: float | None


@dataclass(frozen=True, slots=True)
class AlarmSpan:
    """An alarm from on to off; turns where it went on."""

    code: str
    level: Level
    text: str
    from_s: float
    to_s: float
    turns: float | None


@dataclass(frozen=True, slots=True)
class Stall:
    """The crank stood, told from its alarm on. before_Nm: torque just before; lowest_Nm: until it turned again."""

    at_s: float
    lasted_s: float
    turns: float | None
    before_Nm: float | None
    lowest_Nm: float | None

    @property
    def lost_Nm(self) -> float | None:
        """How far torque fell."""
        if self.before_Nm is None or self.lowest_Nm is None:
            return None
        return max(self.before_Nm - self.lowest_Nm, 0.0)


@dataclass(frozen=True, slots=True)
class Gap:
    """Seconds in which no torque came while the motor was wound; taking it off the hook is none."""

    at_s: float
    lasted_s: float


@dataclass(frozen=True, slots=True)
class WindRecord:
    """One wind. name: of its trace. turns_source: counted, tapped, estimated or unknown.

    work: of the crank, None without turns. remarks: what is wrong with the trace, one sentence each. steps: of the
    walk-in, as torque showed them.
    """

    name: str
    header: Header
    settings: CoachSettings
    samples: tuple[Sample, ...]
    phases: tuple[PhaseSpan, ...]
    alarms: tuple[AlarmSpan, ...]
    stalls: tuple[Stall, ...]
    gaps: tuple[Gap, ...]
    turns_source: str
    work: CrankWork | None
    restarts: int
    summary: Summary
    review: WindReview
    remarks: tuple[str, ...] = field(default=())
    steps: tuple[SeenStep, ...] = field(default=())

    @property
    def torque_scale(self) -> float:
        """This motor's torque over its plan's, 1 where it could not be told."""
        return self.review.figures.torque_scale or 1.0

    @property
    def wound(self) -> tuple[Sample, ...]:
        """The samples with turns, from the first turn until the motor broke or was taken off its hook."""
        return _wound(self.samples, self.summary.launch_torque_Nm)

    def span(self, phase: Phase) -> PhaseSpan | None:
        """Return a phase's first span, None if the wind did not come to it."""
        return next((one for one in self.phases if one.phase is phase), None)


@dataclass(slots=True)
class _RecordBuilder:
    """What is gathered during the pass."""

    samples: list[Sample] = field(default_factory=list)
    counts: list[tuple[float, float]] = field(default_factory=list)
    alarms: list[AlarmSpan] = field(default_factory=list)
    open: dict[tuple[str, Level], tuple[Alarm, float | None]] = field(default_factory=dict)
    gaps: list[Gap] = field(default_factory=list)
    live_s: float | None = None
    source: str = "unknown"
    held: list[tuple[float, float]] = field(default_factory=list)

    def see(self, view: CoachView) -> None:
        reading, phase = view.reading, view.phase
        if phase in OVER:
            return
        turns = reading.turns
        if turns is not None and phase in LOADED:
            self.source = reading.turns_source
        self._decide(view.at_s, turns, reading.turns_held)
        if turns is not None and (not self.counts or self.counts[-1][1] != turns):
            self.counts.append((view.at_s, turns))
        torque_Nm = reading.torque_Nm
        if view.stale or torque_Nm is None:
            return
        wound = phase in LOADED and phase is not Phase.READY
        if self.live_s is not None and wound and view.at_s - self.live_s > LEAST_GAP_S:
            self.gaps.append(Gap(self.live_s, view.at_s - self.live_s))
        self.live_s = view.at_s
        if not self.samples or view.at_s - self.samples[-1].at_s >= EVERY_S - 1e-9 or phase != self.samples[-1].phase:
            self.samples.append(Sample(view.at_s, phase, torque_Nm, turns, reading.distance_m))

    def _decide(self, at_s: float, turns: float | None, held: float) -> None:
        """Counts that were held are laid where they came, on or off, as soon as that is decided."""
        if held > 0.0:
            if not self.held or self.held[-1][1] != held:
                self.held.append((at_s, held))
        elif self.held:
            if turns is not None and self.counts:
                from_turns = self.counts[-1][1]
                way = 1.0 if turns > from_turns else -1.0
                self.counts.extend((then_s, from_turns + way * count) for then_s, count in self.held)
            self.held.clear()

    def hear(self, said: Alarm, turns: float | None) -> None:
        if said.active:
            self.open[said.code, said.level] = said, turns
        elif (said.code, said.level) in self.open:
            self._close(said.code, said.level, said.at_s)

    def _close(self, code: str, level: Level, at_s: float) -> None:
        began, turns = self.open.pop((code, level))
        self.alarms.append(AlarmSpan(code, level, began.text, began.at_s, at_s, turns))

    def end(self, at_s: float) -> None:
        for code, level in list(self.open):
            self._close(code, level, at_s)
        self.alarms.sort(key=lambda one: one.from_s)


def record_of(
    name: str, header: Header, settings: CoachSettings, inputs: Iterable[Input], remarks: Iterable[str] = ()
) -> WindRecord:
    """Run a wind's inputs through the coach and return what happened; costs about a second for two minutes.

    Raises:
        FiguresError: the plan contradicts itself, or is nowhere near what was wound.
    """
    coach, watch, taking = Coach(settings), WindWatch(settings), _RecordBuilder()
    view = coach.view
    for _ in taken(coach, inputs):
        view = coach.look(whole=False)
        watch.see(view)
        taking.see(view)
        for said in coach.said:
            if isinstance(said, Alarm):
                taking.hear(said, view.reading.turns)
    taking.end(view.at_s)
    assert coach.summary is not None
    found = watch.figures
    if not all(abs(value) < MOST_FIGURE for value in astuple(found) if value is not None):
        raise FiguresError("The plan does not fit this motor: make it again from the motor's measurements.")
    samples = _between_counts(taking.samples, taking.counts)
    wound = _wound(samples, coach.summary.launch_torque_Nm)
    ratio = settings.winder.ratio
    work = crank_work(
        [one.turns or 0.0 for one in wound],
        [one.torque_Nm for one in wound],
        [one.at_s for one in wound],
        step_turns=ratio,
        sd_Nm=settings.calibration.sd_Nm,
        longest_s=LEAST_GAP_S,
    )
    return WindRecord(
        name=name,
        header=header,
        settings=settings,
        samples=samples,
        phases=_phases(view, samples, ratio),
        alarms=tuple(taking.alarms),
        stalls=tuple(_stall(one, samples) for one in taking.alarms if one.code == "crank_stalled"),
        gaps=tuple(taking.gaps),
        turns_source=taking.source,
        work=work,
        restarts=view.link.restarts,
        summary=coach.summary,
        review=review_of(found, settings.plan, ratio, settings.units),
        remarks=tuple(remarks),
        steps=coach.steps_seen,
    )


def _wound(samples: Sequence[Sample], launch_Nm: float | None) -> tuple[Sample, ...]:
    loaded = [one for one in samples if one.turns is not None and one.phase in LOADED]
    held_Nm = 0.0 if launch_Nm is None else HELD_SHARE * launch_Nm
    while loaded and loaded[-1].phase is Phase.READY and loaded[-1].torque_Nm < held_Nm:
        loaded.pop()
    return tuple(loaded)


def _between_counts(samples: Sequence[Sample], counts: Sequence[tuple[float, float]]) -> tuple[Sample, ...]:
    """Return the samples with their turns laid straight between two counts, so that a curve has no steps.

    Where a count took much longer than is usual the crank stood: the turn is laid into the last of that time.
    """
    if len(counts) < 2:
        return tuple(samples)
    usual_s = statistics.median(to[0] - at[0] for at, to in pairwise(counts))
    marks = [counts[0]]
    for before, count in pairwise(counts):
        if count[0] - before[0] > STOOD * usual_s:
            marks.append((count[0] - usual_s, before[1]))
        marks.append(count)
    times, turns = [at_s for at_s, _ in marks], [at for _, at in marks]
    laid = np.interp([one.at_s for one in samples], times, turns).tolist()
    return tuple(
        one if one.turns is None else Sample(one.at_s, one.phase, one.torque_Nm, at, one.distance_m)
        for one, at in zip(samples, laid, strict=True)
    )


def _phases(view: CoachView, samples: Sequence[Sample], ratio: float) -> tuple[PhaseSpan, ...]:
    ends = [*(start[0] for start in view.phase_starts[1:]), view.at_s]
    spans = []
    for (from_s, _, phase), to_s in zip(view.phase_starts, ends, strict=False):
        if phase in OVER:
            continue
        here = [one for one in samples if from_s <= one.at_s <= to_s]
        last = here[-1] if here else None
        told = [one for one in here if one.turns is not None]
        pace = None
        if len(told) > 1 and told[-1].at_s > told[0].at_s:
            cranked = abs((told[-1].turns or 0.0) - (told[0].turns or 0.0)) / ratio
            if cranked >= LEAST_CRANKED_TURNS:
                pace = cranked / (told[-1].at_s - told[0].at_s)
        turns, torque_Nm = (None, None) if last is None else (last.turns, last.torque_Nm)
        spans.append(PhaseSpan(phase, from_s, to_s, turns, torque_Nm, pace))
    return tuple(spans)


def _stall(alarm: AlarmSpan, samples: Sequence[Sample]) -> Stall:
    before = [one.torque_Nm for one in samples if alarm.from_s - LOOK_BACK_S <= one.at_s <= alarm.from_s]
    during = [one.torque_Nm for one in samples if alarm.from_s <= one.at_s <= alarm.to_s]
    return Stall(
        alarm.from_s,
        alarm.to_s - alarm.from_s,
        alarm.turns,
        max(before, default=None),
        min(during, default=None),
    )
