"""`Coach.step`: one input in; phases, prompts and alarms out. Live, replay and practice all run this.

It reads no clock and draws no random number, so the same settings and inputs give equal views.
"""

from __future__ import annotations

from dataclasses import replace

from winding_coach.base.inputs import (
    CHECK_KEYS,
    BytesArrived,
    Ended,
    Input,
    KeyPressed,
    LinkDown,
    LinkUp,
    Skipped,
    TimePassed,
)
from winding_coach.coach.alarms import AlarmBank
from winding_coach.coach.checks import checks_for, ticked
from winding_coach.coach.ending import Ending, ended_in
from winding_coach.coach.gathering import Gathering, InPhase
from winding_coach.coach.guide import Guide
from winding_coach.coach.intake import Intake
from winding_coach.coach.limits import Limits, limits_from
from winding_coach.coach.look import reading_of, risk_at_peak, risk_here, targets_of
from winding_coach.coach.moment import Moment
from winding_coach.coach.notes import Notes
from winding_coach.coach.pacer import Pacer
from winding_coach.coach.person import Habits, Learning, StopWatch
from winding_coach.coach.phases import (
    ASKS_FOR_S,
    BACK_HOLDS_S,
    LOADED,
    PREPARING,
    SignalSteps,
    all_but_there,
    next_by_key,
    speaks_against,
)
from winding_coach.coach.prompts import Scene, wanted
from winding_coach.coach.said import Level, Phase, PhaseSaid, ReadingSaid, Said, Summary
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.steps_seen import SeenStep
from winding_coach.coach.view import CoachView, LinkView
from winding_coach.coach.waiting import Waiting
from winding_coach.coach.watching import can_auto_zero
from winding_coach.coach.wording import alarm_words
from winding_coach.meter.commissioning.crosstalk import pull_reads_Nm
from winding_coach.rubber.path import PlanPath

PHASES = len(Phase)
MORE_TURNS_IN = {"more_turns_in": 10.0, "fewer_turns_in": -10.0}
"""Keys that say how many turns the motor holds already, and by how many each changes that."""


class Coach:
    """A wind being coached: `step` takes an input, `said` is what that input made it say, `view` is all to be seen.

    `finished` turns true with the summary; inputs after that change nothing.
    """

    def __init__(self, settings: CoachSettings) -> None:
        self.settings = settings
        self.said: tuple[Said, ...] = ()
        self.summary: Summary | None = None
        self._path = PlanPath(settings.plan, settings.motor)
        self._learning = Learning(settings.habits, learns=settings.learns)
        self._stops = StopWatch(self._learning)
        self._intake = Intake(settings, limits_from(settings), self._path)
        self._begin_motor(settings.turns_in, settings.turns_expected)
        self._alarms = AlarmBank(lambda code, figures: alarm_words(code, figures, settings.units))
        self._steps = SignalSteps()
        self._ending = Ending()
        self._pacer = Pacer(settings.units, settings.steps)
        self._here = InPhase(Phase.SET_ZERO, 0.0)
        self._phase_before_break = Phase.SET_ZERO
        self._phases: tuple[tuple[float, float | None, Phase], ...] = ()
        self._alarm_starts: tuple[tuple[float, float | None, Level], ...] = ()
        self._at_s = 0.0
        self._asked: tuple[str, float] | None = None
        self._jumped_from: Phase | None = None
        self._saying: list[Said] = []
        self._now: Moment | None = None
        self._checks: tuple[str, ...] = ()
        self._view: CoachView | None = None

    def _begin_motor(self, turns_in: float | None, expected: float | None = None) -> None:
        """Nothing is known of the motor on the hook but its label."""
        limits = limits_from(self.settings)
        kept, pull_N = self.settings.calibration.more.get("pull"), self.settings.plan.stretched_pull_N
        self._gathering = Gathering(limits, self._path, turns_in, expected, pull_reads_Nm(kept, pull_N))
        self._guide = Guide(self._path, limits, self._learning, led_by_torque=self.settings.led_by_torque)
        self._notes = Notes()
        self._waiting = Waiting()

    @property
    def finished(self) -> bool:
        """Whether the wind is closed."""
        return self.summary is not None

    @property
    def habits(self) -> Habits:
        """What this wind and those before showed of the person."""
        return self._learning.habits

    @property
    def steps_seen(self) -> tuple[SeenStep, ...]:
        """The steps of the walk-in, as torque showed them."""
        return () if self._guide.lead is None else self._guide.lead.seen.all

    @property
    def limits(self) -> Limits:
        """The limits of now, for this motor's live scale."""
        return self._gathering.limits

    _limits = limits

    def step(self, event: Input) -> None:
        """Take one input. Afterwards `said` holds what it made the coach say, in order."""
        self.said = ()
        if self.summary is not None:
            return
        self._view = None
        self._saying = []
        self._at_s = self._intake.at_s = event.at_s
        if not self._phases:
            self._enter(Phase.SET_ZERO)
        if isinstance(event, BytesArrived):
            self._intake.bytes(event.data, self._here.phase, self._notes.top_Nm)
        else:
            self._take(event)
        if self.summary is None:
            link = self._intake.silence(self._here.phase)
            if link is not None:
                self._saying.append(link)
            self._rules()
        if self.summary is None:
            ends = self._ending.tell(self._at_s, self._here.phase, self._intake.link.state)
            if ends is not None:
                self._close(ends)
        self.said = tuple(self._saying)

    def _take(self, event: Input) -> None:
        match event:
            case LinkUp():
                self._saying.append(self._intake.link_up(event))
            case LinkDown():
                self._saying.append(self._intake.link_down(event))
            case Skipped():
                self._saying += self._intake.skipped(event)
            case KeyPressed(_, name):
                self._ending.key()
                self._key(name)
            case TimePassed():
                self._intake.time_passed()
            case Ended():
                self._close(self._outcome())

    def _key(self, name: str) -> None:
        phase = self._here.phase
        if name == "tare" and phase in PREPARING:
            self._tare()
        elif name == "go_on":
            if self._intake.meter.another:
                self._intake.meter.accept_board()
            elif self._gathering.go_on():
                self._intake.jumps.accept()
        elif name in MORE_TURNS_IN and phase in PREPARING | {Phase.WIND_STRETCHED}:
            held = self._gathering.turns_in
            held.told(held.held.turns + MORE_TURNS_IN[name])
        elif name == "broke" and phase in LOADED | {Phase.BROKEN}:
            self._close("broken")
        elif name == "next" and phase is Phase.BROKEN:
            self._again()
        elif name in CHECK_KEYS:
            if phase in PREPARING:
                self._checks = ticked(self._checks, name, checks_for(self.settings.motor))
        elif name == "count":
            self._intake.tap(phase, self._notes.top_Nm)
        elif name == "quit":
            self._close(self._outcome())
        else:
            self._phase_key(name)

    def _phase_key(self, name: str) -> None:
        """A key that moves the phase on, or back. One that torque speaks against is asked for again; one that was
        bumped is taken back by `back`, to where it came from."""
        phase = self._here.phase
        to = next_by_key(phase, name)
        if name == "back" and self._jumped_from is not None:
            to = self._jumped_from
        if to is None:
            return
        if name == "back":
            self._steps.hold(phase, self._at_s + BACK_HOLDS_S)
        elif self._now is not None and speaks_against(self._now, self._gathering.limits, to):
            asked, self._asked = self._asked, (name, self._at_s)
            if asked is None or asked[0] != name or self._at_s - asked[1] > ASKS_FOR_S:
                return
        self._asked = None
        self._jumped_from = None if name == "back" else phase
        self._enter(to)

    def _tare(self) -> None:
        """Take a zero, unless something is on the hook."""
        intake = self._intake
        zero = intake.zeroing.taken(intake.still.still_s, hooked=self._here.phase is not Phase.SET_ZERO)
        if zero is not None:
            intake.tare(zero)
            self._gathering.turns_in.restart()

    def _again(self) -> None:
        """After a torque that was gone: a motor is hooked up anew, with turns that nobody knows."""
        self._intake.hooked_up_anew()
        self._begin_motor(None)
        self._enter(Phase.STRETCH_OUT)

    # -- what follows from it

    def _rules(self) -> None:
        now = self._moment()
        if (
            self._here.phase is Phase.SET_ZERO
            and not self._intake.tared
            and can_auto_zero(now, self._gathering.limits.peak_Nm)
        ):
            self._tare()
            now = self._moment()
        now = self._doubt_crank(now)
        for _ in range(PHASES):
            to = self._steps.next(now, self._gathering.limits)
            if to is None:
                break
            self._enter(to)
            now = self._moment()
        if self._here.phase is Phase.BROKEN and now.torque_back:
            self._intake.broke = False
            self._enter(self._phase_before_break)
            now = self._moment()
        for alarm in self._alarms.tell(now, self._gathering.limits):
            self._notes.alarmed(alarm)
            if alarm.active:
                self._alarm_starts = (*self._alarm_starts[-99:], (alarm.at_s, now.turns, alarm.level))
            self._saying.append(alarm)
        self._notes.tell(now)
        self._waiting.tell(now, self._gathering.limits)
        guided = self._guide.tell(
            now, self._gathering.limits, self._notes.marks, self._gathering.live.scale, self._pacer.mark_m
        )
        scene = Scene(
            now,
            self._gathering.limits,
            guided.walk,
            self._alarms.codes,
            self._notes.marks,
            guided.off_left,
            self._pacer.stopping(self._at_s, there=all_but_there(now, self._gathering.limits)),
            guided.side,
            self._pacer.slowed_in(self._here.phase),
            guided.off_next_Nm,
            guided.word,
            self._learning.habits.stop_lead_s,
            self._pacer.off_stopped,
            self._waiting.low,
        )
        self._learn_stop(now)
        prompt = self._pacer.tell(now, wanted(scene))
        if prompt is not None:
            self._saying.append(prompt)
        self._now = now
        if self._here.phase in (Phase.DONE, Phase.STOPPED):
            self._close(self._outcome())

    def _learn_stop(self, now: Moment) -> None:
        """How long after the word to stop the crank stands."""
        said = self._pacer.prompt
        said_s = said.at_s if said is not None and said.code == "stop_at_peak" else None
        turning, stands = now.cranking is True, now.cranking is False and now.counted
        self._stops.tell(now.at_s, now.torque_Nm, said_s=said_s, turning=turning, stands=stands)

    def _doubt_crank(self, now: Moment) -> Moment:
        """Give up a crank sensor that gives no pulses while the hand turns."""
        intake = self._intake
        contradicted = intake.estimator.contradicted
        if intake.turns.source != "counted":
            return now
        gone = intake.meter.crank_sender.gone
        if not intake.dead_crank.tell(now, self._gathering.limits, contradicted=contradicted, gone=gone):
            return now
        intake.crank_sensor_lost()
        self._notes.uncounted()
        return self._moment()

    def _moment(self) -> Moment:
        asks = self._asked is not None and self._at_s - self._asked[1] <= ASKS_FOR_S
        return self._gathering.moment(self._intake, self._here, self._guide, self._notes.top_Nm, asks=asks)

    def _enter(self, phase: Phase) -> None:
        if phase is Phase.BROKEN:
            self._phase_before_break = self._here.phase
        self._here = InPhase(phase, self._at_s, before=self._here.phase)
        if phase is Phase.BACK_OFF:
            self._notes.ended()
            self._intake.turns.back_off(self._notes.marks.peak_turns, self._intake.share_of(self._notes.top_Nm))
        self._phases = (*self._phases, (self._at_s, self._intake.turns.turns, phase))
        self._saying.append(PhaseSaid(self._at_s, phase))

    def _outcome(self) -> str:
        return ended_in(self._here.phase, lost=self._intake.link.state == "down")

    def _close(self, outcome: str) -> None:
        found = self._notes.summary(
            self._at_s,
            outcome,
            self._intake.meter.lost_lines,
            self._energy_J(outcome),
            handed_s=self._waiting.handed_s if outcome == "done" else None,
            checks=self._checks,
        )
        self.summary = replace(found, direction=self._intake.direction.name)
        self._saying.append(self.summary)

    def _energy_J(self, outcome: str) -> float | None:
        """Energy left on the motor by its turns, scaled by how its peak compares with the plan's."""
        marks = self._notes.marks
        turns = marks.launch_turns if marks.launch_turns is not None else self._intake.turns.turns
        if outcome in ("broken", "gone") or turns is None or marks.peak_turns is None or marks.peak_torque_Nm is None:
            return None
        expected_Nm = self._path.torque_at(marks.peak_turns)
        return self._path.energy_left_J(turns) * marks.peak_torque_Nm / expected_Nm if expected_Nm > 0 else None

    # -- what is seen

    @property
    def view(self) -> CoachView:
        """The moment as a value; made when first asked for after a step."""
        if self._view is None:
            self._view = self.look()
        return self._view

    def look(self, *, whole: bool = True) -> CoachView:
        """Return what is to be seen now; not `whole`: without chances of breaking and the mark to walk to."""
        now = self._now
        stale = now is None or now.torque_Nm is None
        meter, link = self._intake.meter, self._intake.link
        return CoachView(
            at_s=self._at_s,
            phase=self._here.phase,
            plan=self.settings.plan,
            winder_ratio=self.settings.winder.ratio,
            units=self.settings.units,
            reading=self._reading(now, whole),
            slow_rate_Nm_per_s=None if now is None else now.slow_rate_Nm_per_s,
            shown_torque_Nm=None
            if stale or self._intake.estimator.reading is None
            else self._intake.estimator.reading.shown_Nm,
            stale=stale,
            prompt=self._pacer.prompt,
            alarms=self._alarms.on,
            targets=targets_of(
                now, self._here.phase, self._gathering.limits, self._guide.now.mark_m if whole else None
            ),
            link=LinkView(
                link.state,
                link.port,
                link.reason,
                meter.board,
                meter.lost_lines,
                meter.bad_lines,
                meter.restarts,
                meter.crank_sender.sign,
            ),
            marks=self._notes.marks,
            zero_counts=meter.zero_counts,
            tared=self._intake.tared,
            phase_starts=self._phases,
            alarm_starts=self._alarm_starts,
            summary=self.summary,
            steps=self.settings.steps,
            motor=self.settings.motor,
            checks=self._checks,
            peak_risk=None
            if now is None or not whole
            else risk_at_peak(now, self._gathering.limits, self._path, self._gathering.live),
        )

    def _reading(self, now: Moment | None, risks: bool) -> ReadingSaid:
        if now is None:
            return ReadingSaid(self._at_s)
        seen = self._intake.estimator.reading
        told = risks and self._here.phase in LOADED
        risk = risk_here(now, self._path, self._gathering.live) if told else None
        return reading_of(now, self._intake.turns.source, seen, self._gathering.limits, risk)
