"""`Coach.step`: one input in; phases, prompts and alarms out. Live, replay and practice all run this.

It reads no clock and draws no random number, so the same settings and inputs give equal views.
"""

from __future__ import annotations

from dataclasses import replace

from winding_coach.coach.alarms import AlarmBank
from winding_coach.coach.band import RateBand
from winding_coach.coach.dead_crank import DeadCrank
from winding_coach.coach.guide import Guide
from winding_coach.coach.limits import limits_from
from winding_coach.coach.live import LiveScale
from winding_coach.coach.look import reading_of, risk_at_peak, risk_here, targets_of
from winding_coach.coach.moment import Moment
from winding_coach.coach.notes import Notes
from winding_coach.coach.phases import BROKEN_FOR_S, LOADED, PREPARING, UNLOADING, WINDING, SignalSteps, next_by_key
from winding_coach.coach.prompts import Pacer, Scene, wanted
from winding_coach.coach.said import Level, LinkSaid, Phase, PhaseSaid, ReadingSaid, Said, Summary
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.view import CoachView, LinkView
from winding_coach.coach.watching import BACK_FOR_S, Heard, MotorTurns, Stillness, ZeroTaker, zero_offers
from winding_coach.coach.wording import SILENT, STRANGE, alarm_words
from winding_coach.inputs import BytesArrived, Ended, Input, KeyPressed, LinkDown, LinkUp, TimePassed
from winding_coach.meter.reader import MeterReader, TorqueSample
from winding_coach.rubber.path import PlanPath
from winding_coach.signals.broke import BreakDetector
from winding_coach.signals.estimator import Estimator
from winding_coach.signals.limit import LimitPredictor
from winding_coach.signals.reading import CrankState

STALE_S = 0.5
SILENT_AFTER_S = 2.0


class Coach:
    """A wind being coached: `step` takes an input, `said` is what that input made it say, `view` is all to be seen.

    `finished` turns true with the summary; inputs after that change nothing.
    """

    def __init__(self, settings: CoachSettings) -> None:
        self.settings = settings
        self.said: tuple[Said, ...] = ()
        self.summary: Summary | None = None
        self._limits = self._plan_limits = limits_from(settings)
        peak_Nm = self._limits.peak_Nm
        self._path = PlanPath(settings.plan, settings.motor)
        self._band = RateBand(self._limits, self._path)
        self._meter = MeterReader(settings.calibration, settings.tare_counts)
        self._estimator = Estimator(peak_Nm)
        self._breaks = BreakDetector(peak_Nm)
        self._limit = LimitPredictor(peak_Nm)
        self._still = Stillness(peak_Nm, self._limits.launch_Nm)
        self._zero = ZeroTaker()
        self._turns = MotorTurns(settings.winder.ratio)
        self._dead_crank = DeadCrank(self._path)
        self._notes = Notes()
        self._alarms = AlarmBank(lambda code, figures: alarm_words(code, figures, settings.units))
        self._live = LiveScale(self._limits, self._path)
        self._guide = Guide(self._path, self._limits)
        self._steps = SignalSteps()
        self._pacer = Pacer(settings.units, settings.steps)
        self._link = LinkView()
        self._phase = Phase.HOOK_UP
        self._phase_at_s = 0.0
        self._phase_top_Nm = 0.0
        self._stopped = False
        self._phase_before_break = Phase.HOOK_UP
        self._phases: tuple[tuple[float, float | None, Phase], ...] = ()
        self._alarm_starts: tuple[tuple[float, float | None, Level], ...] = ()
        self._at_s = 0.0
        self._sample: TorqueSample | None = None
        self._heard = Heard()
        self._up_at_s: float | None = None
        self._tared = settings.tare_counts is not None
        self._broke = False
        self._strange_bytes = 0
        self._saying: list[Said] = []
        self._now: Moment | None = None
        self._view: CoachView | None = None

    @property
    def finished(self) -> bool:
        """Whether the wind is closed."""
        return self.summary is not None

    def step(self, event: Input) -> None:
        """Take one input. Afterwards `said` holds what it made the coach say, in order."""
        self.said = ()
        if self.summary is not None:
            return
        self._view = None
        self._saying = []
        self._at_s = event.at_s
        if not self._phases:
            self._enter(Phase.HOOK_UP)
        match event:
            case BytesArrived(_, data):
                self._bytes(data)
            case LinkUp(at_s, port):
                self._meter.link_up()
                self._up_at_s = at_s
                self._heard = Heard()
                self._link_is("up", port=port)
            case LinkDown(_, reason):
                self._up_at_s, self._heard = None, Heard()
                self._link_is("down", port=self._link.port, reason=reason)
            case KeyPressed(_, name):
                self._key(name)
            case TimePassed():
                if self._sample is not None:
                    self._estimator.at(self._sample.device_s + self._since(self._heard.line_at_s))
            case Ended():
                self._close(self._outcome())
        if self.summary is None:
            self._silence()
            self._rules()
        self.said = tuple(self._saying)

    def _bytes(self, data: bytes) -> None:
        self._strange_bytes += len(data)
        for sample in self._meter.feed(data):
            self._strange_bytes = 0
            self._sample = sample
            # A saturated reading is no torque: taken for one it would be the top, and its end a break.
            good = not (sample.torque_Nm is None or sample.settling or sample.saturated)
            self._heard.take(self._at_s, good=good)
            crank_turns = None if self._dead_crank.dead else sample.crank_turns
            share = self._share_of_top() if self._phase in UNLOADING else None
            self._turns.count(crank_turns, signed=sample.quadrature, phase=self._phase, torque_share_of_top=share)
            if sample.restarted:
                self._estimator.reset()
                self._breaks.reset()
            if sample.torque_Nm is None or not good:
                continue
            t_s, torque_Nm = sample.device_s, sample.torque_Nm
            if sample.raw is not None:
                self._zero.add(t_s, sample.raw)
            self._estimator.two_sensors = sample.quadrature
            self._estimator.add(t_s, torque_Nm, crank_turns, sample.distance_m)
            self._breaks.set_rate(self._estimator.lines_per_s)
            self._still.add(t_s, torque_Nm, self._notes.top_Nm)
            if self._breaks.add(t_s, torque_Nm) and self._phase in LOADED:
                self._broke = True
                self._still.reset()
                self._estimator.gap(t_s)

    def _key(self, name: str) -> None:
        if name == "tare" and self._phase in PREPARING:
            self._tare()
        elif name == "count":
            self._turns.tap(self._phase)
        elif name == "quit":
            self._close(self._outcome())
        else:
            to = next_by_key(self._phase, name)
            if to is not None:
                self._enter(to)

    def _tare(self) -> None:
        zero = self._zero.zero()
        if zero is None:
            return
        self._meter.tare(zero)
        self._tared = True
        self._turns.restart()
        self._still.reset()
        self._breaks.reset()
        if self._sample is not None:
            self._estimator.gap(self._sample.device_s)

    # -- what follows from it

    def _rules(self) -> None:
        now = self._moment()
        if self._phase is Phase.HOOK_UP and not self._tared and zero_offers(now, self._limits.peak_Nm):
            self._tare()
            now = self._moment()
        counted, contradicted = self._turns.source == "counted", self._estimator.contradicted
        if counted and self._dead_crank.tell(now, self._limits, contradicted=contradicted):
            self._turns.give_up()
            self._estimator.sensor_lost()
            self._notes.uncounted()
            now = self._moment()
        for _ in Phase:
            to = self._steps.next(now, self._limits)
            if to is None:
                break
            self._enter(to)
            now = self._moment()
        if self._phase is Phase.BROKEN and now.torque_back:
            self._broke = False
            self._enter(self._phase_before_break)
            now = self._moment()
        for alarm in self._alarms.tell(now, self._limits):
            self._notes.alarmed(alarm)
            if alarm.active:
                self._alarm_starts = (*self._alarm_starts[-99:], (alarm.at_s, now.turns, alarm.level))
            self._saying.append(alarm)
        self._notes.tell(now)
        guided = self._guide.tell(now, self._limits, self._notes.marks, self._live.scale, self._pacer.mark_m)
        scene = Scene(
            now,
            self._limits,
            guided.mark_m,
            guided.mark_in,
            frozenset(alarm.code for alarm in self._alarms.on),
            self._notes.marks,
            guided.off_left,
            self._pacer.stopping(self._at_s),
            guided.side,
            self._pacer.slowed_in(self._phase),
            guided.off_next_Nm,
        )
        prompt = self._pacer.tell(now, wanted(scene))
        if prompt is not None:
            self._saying.append(prompt)
        self._now = now
        if self._phase in (Phase.DONE, Phase.ABORTED) or (
            self._phase is Phase.BROKEN and now.in_phase_s >= BROKEN_FOR_S
        ):
            self._close(self._outcome())

    def _moment(self) -> Moment:
        sample = self._sample if self._since(self._heard.line_at_s) <= STALE_S else None
        live = self._estimator.reading if self._since(self._heard.good_at_s) <= STALE_S else None
        torque_Nm = None if live is None else live.torque_Nm
        fast = None if live is None else live.rate_fast_Nm_per_s
        slow = None if live is None else live.rate_slow_Nm_per_s
        crank = None if live is None else live.crank_rev_per_s
        turns = self._turns.turns
        distance_m = None if sample is None else sample.distance_m
        pace_turns = self._guide.pace_of(turns, live)
        plan_Nm = None if turns is None else self._path.torque_at(turns)
        scale = self._live.scale
        self._live.tell(self._at_s, self._phase, torque_Nm, turns, distance_m)
        if self._live.scale != scale:
            self._limits = self._plan_limits.scaled(self._live.scale)
        low, high = self._band.at(self._phase, turns)
        self._phase_top_Nm = max(self._phase_top_Nm, torque_Nm or 0.0)
        cranking = None if live is None else live.cranking
        reversing = live is not None and live.crank_state is CrankState.REVERSING
        self._stopped = self._stopped or cranking is False or reversing
        coming, peak_in_s = False, None
        if torque_Nm is not None and self._phase in WINDING:
            coming = self._limit.update(torque_Nm, slow, self._limits.peak_Nm).coming
            rise = max(fast or 0.0, slow or 0.0)
            left = max(self._limits.peak_Nm - torque_Nm, 0.0)
            peak_in_s = left / rise if rise > 0.0 and left < 60.0 * rise else None
        return Moment(
            at_s=self._at_s,
            phase=self._phase,
            in_phase_s=self._at_s - self._phase_at_s,
            torque_Nm=torque_Nm,
            rate_Nm_per_s=fast,
            rate_sd_Nm_per_s=None if live is None else live.rate_fast_sd_Nm_per_s,
            slow_rate_Nm_per_s=slow,
            torque_top_Nm=self._notes.top_Nm,
            phase_top_Nm=self._phase_top_Nm,
            cranking=cranking,
            reversing=reversing,
            turns=turns,
            counted=turns is not None,
            pace_turns=pace_turns,
            fitted=self._live.ratio,
            off_path_m=self._guide.off_path_m(pace_turns, distance_m),
            stopped=self._stopped,
            distance_m=distance_m,
            expected_Nm=None if plan_Nm is None else plan_Nm * self._live.scale,
            plan_Nm=plan_Nm,
            rate_low_Nm_per_s=low,
            rate_high_Nm_per_s=high,
            per_crank_turn_Nm=self._band.per_crank_turn(self._phase, turns),
            peak_in_s=peak_in_s,
            limit_coming=coming,
            broke=self._broke,
            still_s=self._still.still_s,
            gone_s=self._still.gone_s,
            silent_s=self._silent_s() if self._phase in LOADED or self._up_at_s is not None else 0.0,
            saturated=sample is not None and sample.saturated,
            overloaded=sample is not None and sample.overload,
            tared=self._tared,
            torque_back=self._still.back_s >= BACK_FOR_S,
            crank_rev_per_s=crank,
        )

    def _since(self, at_s: float | None) -> float:
        return 1e9 if at_s is None else self._at_s - at_s

    def _silent_s(self) -> float:
        """Seconds without a reading (a saturated meter speaks, and has its own alarm); before the first, from the
        link's opening, but loaded for ever."""
        if self._sample is not None and self._sample.saturated and self._since(self._heard.line_at_s) <= STALE_S:
            return 0.0
        begun = None if self._phase in LOADED else self._up_at_s
        return self._since(begun if self._heard.good_at_s is None else self._heard.good_at_s)

    def _share_of_top(self) -> float | None:
        reading = self._estimator.reading
        return None if reading is None or not self._notes.top_Nm else reading.torque_Nm / self._notes.top_Nm

    def _silence(self) -> None:
        """Say that the link is silent, or up again."""
        silent = min(self._silent_s(), self._since(self._up_at_s)) >= SILENT_AFTER_S and self._up_at_s is not None
        if silent and self._link.state == "up":
            self._link_is("silent", port=self._link.port, reason=STRANGE if self._strange_bytes > 64 else SILENT)
        elif not silent and self._link.state == "silent":
            self._link_is("up", port=self._link.port)

    def _link_is(self, state: str, *, port: str | None = None, reason: str | None = None) -> None:
        self._link = LinkView(state, port, reason)
        self._saying.append(LinkSaid(self._at_s, state, port, reason))

    def _enter(self, phase: Phase) -> None:
        if phase is Phase.BROKEN:
            self._phase_before_break = self._phase
        self._phase, self._phase_at_s, self._phase_top_Nm, self._stopped = phase, self._at_s, 0.0, False
        if phase is Phase.BACK_OFF:
            self._turns.back_off(self._notes.marks.peak_turns, self._share_of_top())
        self._phases = (*self._phases, (self._at_s, self._turns.turns, phase))
        self._saying.append(PhaseSaid(self._at_s, phase))

    def _outcome(self) -> str:
        if self._phase is Phase.BROKEN:
            return "broken"
        if self._phase in (Phase.READY, Phase.DONE):
            return "done"
        return "lost" if self._link.state == "down" and self._phase in LOADED else "stopped"

    def _close(self, outcome: str) -> None:
        self.summary = self._notes.summary(self._at_s, outcome, self._meter.lost_lines, self._energy_J(outcome))
        self._saying.append(self.summary)

    def _energy_J(self, outcome: str) -> float | None:
        """Energy left on the motor by its turns, scaled by how its peak compares with the plan's."""
        marks = self._notes.marks
        turns = marks.launch_turns if marks.launch_turns is not None else self._turns.turns
        if outcome == "broken" or turns is None or marks.peak_turns is None or marks.peak_torque_Nm is None:
            return None
        expected_Nm = self._path.torque_at(marks.peak_turns)
        return self._path.energy_left_J(turns) * marks.peak_torque_Nm / expected_Nm if expected_Nm > 0 else None

    # -- what is seen

    @property
    def view(self) -> CoachView:
        """The moment as a value; made when first asked for after a step."""
        if self._view is None:
            self._view = self._look()
        return self._view

    def _look(self) -> CoachView:
        now = self._now
        stale = now is None or now.torque_Nm is None
        meter = self._meter
        return CoachView(
            at_s=self._at_s,
            phase=self._phase,
            plan=self.settings.plan,
            winder_ratio=self.settings.winder.ratio,
            units=self.settings.units,
            reading=self._reading(now),
            slow_rate_Nm_per_s=None if now is None else now.slow_rate_Nm_per_s,
            shown_torque_Nm=None if stale or self._estimator.reading is None else self._estimator.reading.shown_Nm,
            stale=stale,
            prompt=self._pacer.prompt,
            alarms=self._alarms.on,
            targets=targets_of(now, self._phase, self._limits, self._guide.now.mark_m),
            link=replace(
                self._link,
                meter=None if meter.hello is None else meter.hello.board,
                lost_lines=meter.lost_lines,
                bad_lines=meter.bad_lines,
                restarts=meter.restarts,
            ),
            marks=self._notes.marks,
            zero_counts=meter.zero_counts,
            tared=self._tared,
            phase_starts=self._phases,
            alarm_starts=self._alarm_starts,
            summary=self.summary,
            steps=self.settings.steps,
            motor=self.settings.motor,
            peak_risk=None if now is None else risk_at_peak(now, self._limits, self._path, self._live),
        )

    def _reading(self, now: Moment | None) -> ReadingSaid:
        if now is None:
            return ReadingSaid(self._at_s)
        seen = self._estimator.reading
        risk = risk_here(now, self._path, self._live) if self._phase in LOADED else None
        return reading_of(now, self._turns.source, seen, self._limits, risk)
