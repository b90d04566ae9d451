"""Coaches that are broken on purpose, one a row of what once went wrong: what they do the judge must find.

They wrap the real coach and take from it what a defence lives on, or put back what was said before there was one. So
they hold whatever the coach is made of.
"""

from __future__ import annotations

from binascii import crc_hqx
from dataclasses import dataclass, replace

from tests.trust.truth.wind import MakeCoach
from tests.trust.truth.world import NM_PER_COUNT
from winding_coach.base.inputs import BytesArrived, Input, KeyPressed
from winding_coach.coach.phases import LOADED, WINDING
from winding_coach.coach.said import Alarm, Level, Phase, Prompt, Said, Summary
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView

ON = "Keep cranking."
BLOCKS_S = 12.0


class Planted:
    """The real coach within; `_seen` and `_shown` are what a fault changes."""

    def __init__(self, settings: CoachSettings) -> None:
        self.settings = settings
        self.within = Coach(settings)
        self.said: tuple[Said, ...] = ()
        self.raw: int | None = None
        self.counted = 0
        self.distance_mm: int | None = None
        self.at_s = 0.0
        self.over: Summary | None = None

    @property
    def finished(self) -> bool:
        """Whether the wind is closed."""
        return self.over is not None or self.within.finished

    @property
    def view(self) -> CoachView:
        """What is seen."""
        return self._shown(self.within.view)

    def step(self, event: Input) -> None:
        """Take an input."""
        self.at_s = event.at_s
        if isinstance(event, BytesArrived):
            event = BytesArrived(event.at_s, b"".join(self._line(line) for line in event.data.splitlines()))
        self.within.step(event)
        self.said = tuple(self._heard(one) for one in self.within.said)
        self._after()

    def _line(self, line: bytes) -> bytes:
        if not line.startswith(b"$D,"):
            return line + b"\r\n"
        fields = line[1:-5].decode().split(",")
        self.raw = int(fields[3]) if fields[3] else None
        for field in fields[5:]:
            if field.startswith("c="):
                self.counted = int(field[2:])
            if field.startswith("d="):
                self.distance_mm = int(field[2:])
        self._seen(fields)
        body = ",".join(fields).encode()
        return b"$%b*%04X\r\n" % (body, crc_hqx(body, 0xFFFF))

    @property
    def torque_Nm(self) -> float:
        """By the line, with the zero in use."""
        zero = self.within.view.zero_counts
        return 0.0 if self.raw is None or zero is None else (self.raw - zero) * NM_PER_COUNT

    def _seen(self, fields: list[str]) -> None:
        """Change a line's fields."""

    def _shown(self, view: CoachView) -> CoachView:
        """Change what is seen."""
        return view

    def _heard(self, said: Said) -> Said:
        """Change what is said."""
        return said

    def _after(self) -> None:
        """Do something after an input."""

    def _goes_on(self, view: CoachView) -> CoachView:
        if view.phase not in WINDING | {Phase.BACK_OFF}:
            return view
        prompt = Prompt(view.at_s if view.prompt is None else view.prompt.at_s, "keep_cranking", ON)
        return replace(view, prompt=prompt, alarms=())


class ReadingsThatStand(Planted):
    """Does not see that readings stand: they are shaken a little before it sees them."""

    _last = ""
    _shake = 0

    def _seen(self, fields: list[str]) -> None:
        if fields[3] and fields[3] == self._last:
            self._shake = (self._shake * 75 + 74) % 65_537
            fields[3] = str(int(fields[3]) + self._shake % 301 - 150)
        else:
            self._last = fields[3]


class FrozenIsACaution(Planted):
    """Asks for more whatever stands beside it, as long as torque is below the peak."""

    def _shown(self, view: CoachView) -> CoachView:
        if abs(self.torque_Nm) > 0.97 * self.settings.plan.peak_torque_Nm:
            return view
        return self._goes_on(view)


class NotANumber(Planted):
    """One absurd distance makes a figure that is none, for good."""

    _spoilt = False

    def _seen(self, fields: list[str]) -> None:
        self._spoilt = self._spoilt or (self.distance_mm is not None and self.distance_mm > 8000)

    def _shown(self, view: CoachView) -> CoachView:
        return replace(view, slow_rate_Nm_per_s=float("nan")) if self._spoilt else view


class SkipsTheWalkIn(Planted):
    """A distance of nothing is taken for the hooks."""

    _at_hooks = False

    def _after(self) -> None:
        phase = self.within.view.phase
        if not self._at_hooks and self.distance_mm == 0 and phase in WINDING:
            self._at_hooks = True
            while self.within.view.phase in (*WINDING, Phase.BACK_OFF):
                self.within.step(KeyPressed(self.at_s, "next"))


class SignedLimits(Planted):
    """Torque below zero is under every limit: start cranking."""

    def _shown(self, view: CoachView) -> CoachView:
        return self._goes_on(view) if self.torque_Nm < -0.1 * self.settings.plan.peak_torque_Nm else view


class CountDecides(Planted):
    """Stops by its count alone: turns that were in the motor, lost pulses and a wrong ratio are not noticed."""

    def _shown(self, view: CoachView) -> CoachView:
        if self.counted * self.settings.winder.ratio >= self.settings.plan.target_turns:
            return view
        return self._goes_on(view)


class NoAge(Planted):
    """Takes each line for one of now: device time is made anew from arrival."""

    def _seen(self, fields: list[str]) -> None:
        fields[2] = str(round(self.at_s * 1e6) % 2**32)


class OldStays(Planted):
    """What was read last is shown as live for ever."""

    _kept: CoachView | None = None

    def _shown(self, view: CoachView) -> CoachView:
        if view.reading.torque_Nm is not None and not view.stale:
            self._kept = view
        if self._kept is None or view.phase not in LOADED:
            return view
        return replace(view, reading=self._kept.reading, stale=False)


class Blocked(Planted):
    """Something it writes to blocks near the peak: for twelve seconds it takes nothing in, and the screen stays."""

    _from_s: float | None = None
    _stood: CoachView | None = None

    def __init__(self, settings: CoachSettings) -> None:
        super().__init__(settings)
        self._waiting: list[Input] = []

    def step(self, event: Input) -> None:
        """Take an input, once what blocks goes on."""
        if self._from_s is None and self.torque_Nm > 0.93 * self.settings.plan.peak_torque_Nm:
            self._from_s, self._stood = event.at_s, self.within.view
        if self._from_s is not None and event.at_s < self._from_s + BLOCKS_S:
            self._waiting.append(event)
            self.at_s, self.said = event.at_s, ()
            return
        self._stood = None
        for one in self._waiting:
            super().step(one)
        self._waiting.clear()
        super().step(event)

    def _shown(self, view: CoachView) -> CoachView:
        return self._stood or view


class RaisesThePeak(Planted):
    """Takes more torque than the label's for a stiffer motor, and moves the peak up by 15 %."""

    def _shown(self, view: CoachView) -> CoachView:
        plan = self.settings.plan
        if self.counted * self.settings.winder.ratio > 0.9 * plan.target_turns:
            return self._goes_on(view) if abs(self.torque_Nm) < 1.15 * plan.peak_torque_Nm else view
        return view


class DecidesThatItBroke(Planted):
    """Torque that is gone for five seconds closes the wind as broken."""

    _gone_s: float | None = None

    def _after(self) -> None:
        view = self.within.view
        gone = view.phase in LOADED | {Phase.BROKEN} and abs(self.torque_Nm) < 2e-4
        self._gone_s = (self._gone_s or self.at_s) if gone else None
        if self._gone_s is not None and self.at_s - self._gone_s > 5.0 and self.over is None:
            self.over = Summary(self.at_s, "broken")
            self.said = (*self.said, self.over)


class AnyZero(Planted):
    """Takes for zero whatever hangs on the hook in the third second."""

    def __init__(self, settings: CoachSettings) -> None:
        super().__init__(settings)
        self._inputs: list[Input] = []
        self._taken = False

    def step(self, event: Input) -> None:
        """Take an input; begin again with the zero once it is taken."""
        super().step(event)
        if self._taken:
            return
        self._inputs.append(event)
        if self.at_s > 2.5 and self.raw is not None:
            self._taken = True
            self.within = Coach(replace(self.settings, tare_counts=float(self.raw)))
            for one in self._inputs:
                self.within.step(one)

    def _shown(self, view: CoachView) -> CoachView:
        """Nor does it doubt it afterwards."""
        if self.torque_Nm > 0.97 * self.settings.plan.peak_torque_Nm:
            return view
        return self._goes_on(view)


class StopsAndCranks(Planted):
    """In a danger it says stop and keep cranking in turns."""

    def _shown(self, view: CoachView) -> CoachView:
        if not any(alarm.level is Level.DANGER for alarm in view.alarms):
            return view
        return self._goes_on(view) if int(self.at_s) % 2 else view


class StepsOut(Planted):
    """Sends people out again."""

    def _shown(self, view: CoachView) -> CoachView:
        prompt = view.prompt
        if prompt is None or prompt.code != "walk_in_to" or prompt.distance_m is None or int(self.at_s) % 20 < 16:
            return view
        return replace(view, prompt=replace(prompt, distance_m=prompt.distance_m + 0.4))


class NoDanger(Planted):
    """Says every danger as a caution."""

    def _shown(self, view: CoachView) -> CoachView:
        alarms = tuple(replace(alarm, level=Level.CAUTION) for alarm in view.alarms)
        return replace(view, alarms=alarms, link=replace(view.link, state="up"))

    def _heard(self, said: Said) -> Said:
        return replace(said, level=Level.CAUTION) if isinstance(said, Alarm) else said


class CriesWolf(Planted):
    """Says stop and danger in the middle of every wind."""

    def _shown(self, view: CoachView) -> CoachView:
        if view.phase is not Phase.WALK_IN:
            return view
        alarm = Alarm(view.at_s, "not_this_motor", Level.DANGER, True, "Stop: this is not the motor of the label.")
        return replace(view, alarms=(alarm, *view.alarms))


@dataclass(frozen=True, slots=True)
class Fault:
    """A broken coach; the kinds of untruth of which one must be in a wind for it to show, none: any wind; the rules
    of which it breaks one."""

    make: MakeCoach
    kinds: tuple[str, ...]
    rules: tuple[str, ...]


PAST = ("more past the target", "broke, asked for more", "far from the label, more")
FAULTS: dict[str, Fault] = {
    "an absurd distance makes NaN": Fault(NotANumber, ("absurd distance", "distance dead"), ("no number",)),
    "a distance of 0 skips the walk-in": Fault(
        SkipsTheWalkIn, ("absurd distance", "distance dead"), ("ready at full stretch",)
    ),
    "readings that stand are believed": Fault(
        ReadingsThatStand, ("raw frozen", "all frozen"), ("frozen, no danger", "frozen, more")
    ),
    "beside readings that stand it says more": Fault(FrozenIsACaution, ("raw frozen", "all frozen"), ("frozen, more",)),
    "limits hold for torque above zero only": Fault(
        SignedLimits, ("torque negative",), (*PAST, "past a rating, no danger")
    ),
    "far from the label is a caution": Fault(
        FrozenIsACaution, ("gain", "ratio typed", "pulses lost", "mass typed", "strands typed"), PAST
    ),
    **{
        f"{what} is a caution": Fault(FrozenIsACaution, (kind,), PAST)
        for what, kind in (
            ("a gain that is wrong", "gain"),
            ("a ratio that is wrong", "ratio typed"),
            ("a zero that steps", "zero steps"),
            ("a gain that falls", "gain falls"),
        )
    },
    "the peak goes up by 15 %": Fault(RaisesThePeak, ("pulses lost", "gain", "turns in"), PAST),
    "another winder's ratio is not noticed": Fault(CountDecides, ("ratio typed",), PAST),
    "a disk that blocks stops it": Fault(Blocked, (), PAST),
    "turns in the motor are not noticed": Fault(CountDecides, ("turns in",), PAST),
    "lost pulses are not noticed": Fault(CountDecides, ("pulses lost",), PAST),
    "a backlog counts as now": Fault(NoAge, ("backlog",), ("old as live",)),
    "what was read last stays": Fault(OldStays, ("silent", "no data", "process stopped"), ("old as live",)),
    "it decides that the motor broke": Fault(
        DecidesThatItBroke, ("slips off", "breaks early"), ("broken by itself", "left")
    ),
    "any zero is taken": Fault(AnyZero, ("weight at tare", "wound motor at tare"), PAST),
    "stop and crank in turns": Fault(
        StopsAndCranks, ("raw frozen", "saturated", "no data", "silent", "gain"), ("stop and crank in turns",)
    ),
    "out after in": Fault(StepsOut, (), ("out after in",)),
    "no danger is one": Fault(
        NoDanger,
        ("silent", "no data", "saturated", "raw frozen"),
        ("blind, no danger", "frozen, no danger", "past a rating, no danger"),
    ),
    "a danger in every wind": Fault(CriesWolf, ("",), ("honest wind, danger", "honest wind, no peak")),
}
"""The kind "" asks for a wind with nothing untrue."""
