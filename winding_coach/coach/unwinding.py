"""A wound motor let down on the meter: inputs in; phases, prompts and the count of the turns left out. Pure.

The same face as `coach.step.Coach`, so that session, screen, sound and trace serve both. Turns are counted by the
crank's pulses until torque has run out; without pulses torque says them, once the motor is stretched out and still.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import replace
from statistics import fmean, median

from winding_coach.base.inputs import BytesArrived, Ended, Input, KeyPressed, LinkDown, LinkUp, TimePassed
from winding_coach.coach.let_down_count import ZERO_SHARE, LetDownCount, StillZero
from winding_coach.coach.said import LinkSaid, Phase, PhaseSaid, Prompt, ReadingSaid, Said, Summary, Unwound
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.view import CoachView, LinkView, Targets
from winding_coach.coach.wording import SILENT, in_words
from winding_coach.meter.reader import MeterReader, TorqueSample
from winding_coach.rubber.turns_left import StretchedMotor, TurnsLeft

STALE_S, SILENT_AFTER_S = 0.5, 2.0
LOADED_SHARE = 0.06
"""Of the launch torque: a motor with turns in it is on the hook; above what a bearing's friction and drift show."""
EMPTY_SHARE = 0.02
"""Of the launch torque: it has run out. Ten turns of the motor still show a fifth of it (by the law)."""
EMPTY_FOR_S = 1.0
STILL_FOR_S, STILL_SHARE = 3.0, 0.05
"""Stretched out and held: torque within this share (of itself) for so long."""
TIGHT_SHARE, TIGHT_AFTER_S = 0.5, 0.7
"""Of the launch torque, as it is hooked up: with more the motor is too full to be stretched out (in the model, over
55 % of its breaking turns), and is let down where it is."""
NEAREST_SHARE = 0.7
"""A distance sensor is believed from this share of the stretch on."""
FAST_REV_PER_S = 3.0
"""Let down faster, the handle runs away from the hand; assumed."""
TOLD_EVERY_S = 4.0
CLOSES_AFTER_S = 5.0
"""Once it is empty, hands-free."""


class UnwindCoach:
    """A motor being let down: `step` takes an input, `said` is what it made the coach say, `view` all to be seen."""

    def __init__(self, settings: CoachSettings, motor: StretchedMotor) -> None:
        self.settings = settings
        self.said: tuple[Said, ...] = ()
        self.summary: Summary | None = None
        self.unwound: Unwound | None = None
        self._motor = motor
        self._launch_Nm = settings.plan.launch_torque_Nm
        self._meter = MeterReader(settings.calibration, settings.tare_counts)
        self._count = LetDownCount(settings.winder.ratio)
        self._zero = StillZero(ZERO_SHARE * self._launch_Nm)
        self._link = LinkView()
        self._phase: Phase | None = None
        self._phases: tuple[tuple[float, float | None, Phase], ...] = ()
        self._at_s = 0.0
        self._line_at_s: float | None = None
        self._up_at_s: float | None = None
        self._torque_Nm: float | None = None
        self._recent: deque[tuple[float, float]] = deque(maxlen=2000)
        self._since: dict[str, float] = {}
        self._rest_Nm: float | None = None
        self._sign = 1.0
        self._too_full: bool | None = None
        self._hooked_s = 0.0
        self._left_at_rest: TurnsLeft | None = None
        self._tared = settings.tare_counts is not None
        self._prompt: Prompt | None = None
        self._saying: list[Said] = []
        self._sample: TorqueSample | None = None

    @property
    def finished(self) -> bool:
        """Whether it is over."""
        return self.unwound is not None

    def step(self, event: Input) -> None:
        """Take one input. Afterwards `said` holds what it made the coach say, in order."""
        self.said = ()
        if self.unwound is not None:
            return
        self._saying = []
        self._at_s = event.at_s
        if self._phase is None:
            self._enter(Phase.SET_ZERO)
        match event:
            case BytesArrived(_, data):
                for sample in self._meter.feed(data, self._at_s):
                    self._take(sample)
            case LinkUp(at_s, port):
                self._meter.link_up()
                self._up_at_s, self._line_at_s = at_s, None
                self._link_is("up", port)
            case LinkDown(_, reason):
                self._up_at_s = self._line_at_s = None
                self._link_is("down", self._link.port, reason)
            case KeyPressed(_, name):
                self._key(name)
            case TimePassed():
                pass
            case Ended():
                self._close()
        if self._phase is Phase.EMPTY and self._at_s - self._phases[-1][0] >= CLOSES_AFTER_S:
            self._close()
        if self.unwound is None:
            self._silence()
            self._tell()
        self.said = tuple(self._saying)

    # -- what comes in

    def _take(self, sample: TorqueSample) -> None:
        self._line_at_s = self._at_s
        self._sample = sample
        if sample.torque_Nm is None or sample.settling or sample.saturated:
            return
        t_s, torque_Nm = sample.device_s, sample.torque_Nm
        self._recent.append((t_s, torque_Nm))
        while t_s - self._recent[0][0] > STILL_FOR_S:
            self._recent.popleft()
        self._torque_Nm = fmean(m for at, m in self._recent if t_s - at <= 0.15)
        if self._phase is Phase.SET_ZERO:
            self._hook_up(t_s, torque_Nm, sample)
        elif self._phase is Phase.LET_DOWN:
            self._let_down(t_s, sample)

    def _hook_up(self, t_s: float, torque_Nm: float, sample: TorqueSample) -> None:
        """Set zero on an empty hook, or find a wound motor on it."""
        if sample.raw is not None and not self._tared:
            zero = self._zero.add(t_s, torque_Nm, sample.raw)
            if zero is not None:
                self._meter.tare(zero)
                self._tared = True
                self._recent.clear()
                return
        size_Nm = abs(self._torque_Nm or 0.0)
        if size_Nm < LOADED_SHARE * self._launch_Nm:
            self._recent.clear()
            self._too_full, self._hooked_s = None, t_s
        elif self._too_full is None:
            if t_s - self._hooked_s >= TIGHT_AFTER_S:
                self._too_full = size_Nm > TIGHT_SHARE * self._launch_Nm
        elif t_s - self._recent[0][0] >= 0.95 * STILL_FOR_S and self._is_still():
            self._rest(t_s, sample)

    def _is_still(self) -> bool:
        """Whether torque has hardly changed over the time that is remembered: by the means of its thirds."""
        sizes = [abs(m) for _, m in self._recent]
        third = max(len(sizes) // 3, 1)
        means = [fmean(sizes[i : i + third]) for i in range(0, third * 3, third) if sizes[i : i + third]]
        return max(means) - min(means) <= STILL_SHARE * max(means)

    def _rest(self, t_s: float, sample: TorqueSample) -> None:
        """It is held still, stretched out: torque says the turns, and letting down may begin."""
        sizes = [abs(m) for _, m in self._recent]
        self._rest_Nm = median(sizes)
        self._sign = math.copysign(1.0, self._torque_Nm or 0.0)
        if not self._too_full:
            noise_Nm = math.sqrt(fmean((m - self._rest_Nm) ** 2 for m in sizes) / len(sizes))
            at_m = (
                sample.distance_m if sample.distance_m and sample.distance_m > NEAREST_SHARE * self.stretch_m else None
            )
            self._left_at_rest = self._motor.turns_at(self._rest_Nm, noise_Nm, at_m)
        self._count.begin(t_s, sample, self._rest_Nm)
        self._enter(Phase.LET_DOWN)

    @property
    def stretch_m(self) -> float:
        """Where to stand while it is let down."""
        return self._motor.distance_m

    def _let_down(self, t_s: float, sample: TorqueSample) -> None:
        # Let down too far it is wound the other way: that is empty too.
        size_Nm = max(self._sign * (self._torque_Nm or 0.0), 0.0)
        self._count.add(t_s, sample, size_Nm, empty=size_Nm <= EMPTY_SHARE * self._launch_Nm)
        if self._held("empty", t_s, size_Nm <= EMPTY_SHARE * self._launch_Nm, EMPTY_FOR_S):
            self._enter(Phase.EMPTY)

    def _held(self, what: str, t_s: float, is_so: bool, for_s: float) -> bool:
        if not is_so:
            self._since.pop(what, None)
            return False
        return t_s - self._since.setdefault(what, t_s) >= for_s

    def _key(self, name: str) -> None:
        if name == "tare" and self._phase is Phase.SET_ZERO:
            zero = self._zero.now()
            if zero is not None:
                self._meter.tare(zero)
                self._tared = True
                self._recent.clear()
        elif name == "next" and self._phase is Phase.LET_DOWN:
            self._enter(Phase.EMPTY)
        elif name == "count" and self._phase is Phase.LET_DOWN:
            self._count.tap()
        elif name in ("quit", "stop") or (name == "next" and self._phase is Phase.EMPTY):
            self._close()

    # -- what follows from it

    def _enter(self, phase: Phase) -> None:
        self._phase = phase
        self._since.clear()
        self._phases = (*self._phases, (self._at_s, None, phase))
        self._saying.append(PhaseSaid(self._at_s, phase))

    def _result(self) -> Unwound:
        """Return what is known now; the count only once torque has run out."""
        rest = self._left_at_rest
        counted = self._count.crank_turns if self._phase is Phase.EMPTY else None
        if counted is not None:
            turns = counted * self.settings.winder.ratio + self._uncounted()
            return Unwound(
                self._at_s,
                turns,
                self._count.resolution * self.settings.winder.ratio / math.sqrt(12.0),
                "counted",
                counted,
                self._rest_Nm,
                self._count.work_J,
            )
        if rest is not None and self._phase is not Phase.SET_ZERO:
            return Unwound(self._at_s, rest.turns, rest.sd, "by torque", None, self._rest_Nm, None)
        return Unwound(self._at_s, None, None, "unknown", None, None, None)

    def _uncounted(self) -> float:
        """Turns that were in it when torque had run out as far as it can be told from nothing."""
        if self._too_full:
            return self._motor.slack_turns
        return self._motor.turns_at(EMPTY_SHARE * self._launch_Nm).turns

    def _close(self) -> None:
        self.unwound = self._result()
        self._saying.append(self.unwound)

    def _silence(self) -> None:
        silent = (
            self._up_at_s is not None
            and self._at_s - max(self._up_at_s, self._line_at_s or self._up_at_s) >= SILENT_AFTER_S
        )
        if silent and self._link.state == "up":
            self._link_is("silent", self._link.port, SILENT)
        elif not silent and self._link.state == "silent":
            self._link_is("up", self._link.port)

    def _link_is(self, state: str, port: str | None, reason: str | None = None) -> None:
        self._link = LinkView(state, port, reason)
        self._saying.append(LinkSaid(self._at_s, state, port, reason))

    def _tell(self) -> None:
        said = self._prompt
        code, crank, turns = self._wanted()
        if said is not None and said.code == code:
            due = self._at_s - said.at_s >= TOLD_EVERY_S
            if code != "let_down" or not due or said.crank_turns == crank:
                return
        self._prompt = in_words(
            Prompt(self._at_s, code, "", self._place(code), crank, self._rest_Nm, turns),
            self.settings.units,
            self.settings.steps,
        )
        self._saying.append(self._prompt)

    def _wanted(self) -> tuple[str, float | None, float | None]:
        """Return the prompt that fits: its code, crank turns left, turns of the motor."""
        if self._phase is Phase.SET_ZERO:
            if self._too_full is not None:
                return ("stay_wound" if self._too_full else "step_out_wound"), None, None
            return ("hook_wound" if self._tared else "tare"), None, None
        if self._phase is Phase.EMPTY:
            return "empty", None, self._result().turns_left
        if self._count.rev_per_s > FAST_REV_PER_S:
            return "let_down_slower", None, None
        left = self.turns_now
        return "let_down", None if left is None else float(round(left / self.settings.winder.ratio)), left

    def _place(self, code: str) -> float | None:
        return self.stretch_m if code in ("hook_wound", "step_out_wound") else None

    @property
    def turns_now(self) -> float | None:
        """Turns on the motor now: by torque before it turns, then less what the pulses counted."""
        if self._phase is not Phase.LET_DOWN or self._left_at_rest is None:
            return 0.0 if self._phase is Phase.EMPTY else None
        if self._count.source == "unknown":
            return self._motor.turns_at(abs(self._torque_Nm or 0.0)).turns
        return max(self._left_at_rest.turns - self._count.so_far * self.settings.winder.ratio, 0.0)

    @property
    def view(self) -> CoachView:
        """Everything to be seen now."""
        stale = self._line_at_s is None or self._at_s - self._line_at_s > STALE_S
        torque_Nm = None if stale or self._torque_Nm is None else abs(self._torque_Nm)
        left = self.turns_now
        counted = self._count.source if self._phase is Phase.LET_DOWN else "unknown"
        source = "estimated" if left is not None and counted == "unknown" else counted
        reading = ReadingSaid(self._at_s, torque_Nm, turns=left, turns_source=source)
        targets = Targets(0.0, turns=0.0) if self._phase is Phase.LET_DOWN else Targets(stand_at_m=self.stretch_m)
        settings = self.settings
        meter = None if self._meter.hello is None else dict(self._meter.hello.fields).get("board")
        return CoachView(
            self._at_s,
            self._phase or Phase.SET_ZERO,
            settings.plan,
            settings.winder.ratio,
            settings.units,
            reading,
            shown_torque_Nm=torque_Nm,
            stale=stale,
            prompt=self._prompt,
            targets=targets,
            link=replace(self._link, meter=meter, lost_lines=self._meter.lost_lines, bad_lines=self._meter.bad_lines),
            zero_counts=self._meter.zero_counts,
            tared=self._tared,
            phase_starts=self._phases,
            steps=settings.steps,
            motor=settings.motor,
            letting_down=True,
        )
