"""Winds in which something is good and untrue: an obedient person, a motor of its own truth, and a spoilt wire.

The wire carries real lines, parsed and written anew; the coach sees nothing else. Figures are of the true motor.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from tests.bench.people import shown_of
from tests.scenario import MOTOR, SETTINGS
from winding_coach.base.inputs import BytesArrived, Input, KeyPressed, LinkUp, TimePassed
from winding_coach.coach.said import Alarm, Level, Phase, Prompt, ReadingSaid, Said
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.frames import RAW_MAX, RAW_MIN, FrameParser, Sample, encode, encode_sample
from winding_coach.simulator.bench import Bench, MeterModel, Truth
from winding_coach.simulator.coached import CoachedPerson
from winding_coach.simulator.motor import SimulatedMotor
from winding_coach.simulator.skill import SKILLS
from winding_coach.sound.hearing import CueSelector

TICK_S = 0.025
LONGEST_S = 260.0
Spoil = Callable[[Sample, "World"], "Sample | None"]


class WoundBefore(SimulatedMotor):
    """A motor that holds turns already when it is hooked up."""

    def hold(self, turns: float) -> None:
        """Bring it there, slack, some minutes ago."""
        self.before = turns
        for share in np.linspace(0.02, 1.0, 50):
            super().move(turns * float(share), MOTOR.loop_m, 0.2)
        for _ in range(60):
            super().move(turns, MOTOR.loop_m, 1.0)

    before = 0.0

    def move(self, turns: float, distance_m: float, dt_s: float) -> None:
        """Turns are those of the winder; those of before are in the motor too."""
        super().move(turns + self.before, distance_m, dt_s)


@dataclass
class World:
    """One wind. spoil: each line on its way, None to lose it. keys: (seconds, name). late: the share of the lines'
    time in which the link delivers them. ratio: the winder's own, whatever the settings say."""

    spoil: Spoil | None = None
    settings: CoachSettings = SETTINGS
    meter: MeterModel = field(default_factory=lambda: MeterModel(channels="cd"))
    ratio: float = 10.0
    turns_in: float = 0.0
    torque_scale: float = 1.0
    strength_u: float = 0.5
    skill: str = "practised"
    seed: int = 1_000_000
    keys: tuple[tuple[float, str], ...] = ()
    link: float = 1.0
    longest_s: float = LONGEST_S

    def __post_init__(self) -> None:
        rng = np.random.default_rng([self.seed, 15])
        self.motor = WoundBefore(self.settings.motor, torque_scale=self.torque_scale, strength_u=self.strength_u)
        if self.turns_in:
            self.motor.hold(self.turns_in)
        peak_Nm = self.settings.plan.peak_torque_Nm
        self.person = CoachedPerson(SKILLS[self.skill], self.settings.motor.loop_m, rng, full_Nm=peak_Nm)
        self.bench = Bench(self.motor, self.person, self.ratio, self.meter, rng)
        self.coach = Coach(self.settings)
        self.said: list[Said] = []
        self.readings: list[ReadingSaid] = []
        self.truths: list[Truth] = []
        self.inputs: list[Input] = []
        self.top_turns = self.top_Nm = 0.0
        self.stop_turns: float | None = None
        self.words_after_stop: list[str] = []
        self.at_s = 0.0
        self._parser = FrameParser()
        self._waiting = b""
        self._keys = list(self.keys)
        self._ear = CueSelector()

    # -- the wire

    def _wire(self, data: bytes) -> bytes:
        if self.spoil is None:
            return data
        out = []
        for frame in self._parser.feed(data):
            if not isinstance(frame, Sample):
                out.append(encode(frame))
                continue
            spoilt = self.spoil(frame, self)
            if spoilt is not None:
                out.append(encode_sample(spoilt))
        return b"".join(out)

    def _arrived(self) -> bytes:
        """What the link delivers by now: all, or its share of the time's bytes."""
        if self.link >= 1.0:
            data, self._waiting = self._waiting, b""
            return data
        due = int(self.link * self.at_s * 80.0 * 34.0) - self._delivered
        data, self._waiting = self._waiting[: max(due, 0)], self._waiting[max(due, 0) :]
        self._delivered += len(data)
        return data

    _delivered = 0

    def _step(self, event: Input) -> None:
        self.inputs.append(event)
        self.coach.step(event)
        self.said += self.coach.said
        for one in self.coach.said:
            if isinstance(one, Prompt):
                if one.code == "stop_at_peak" and self.stop_turns is None:
                    self.stop_turns = self.motor.turns
                elif self.stop_turns is not None:
                    self.words_after_stop.append(one.code)

    def run(self) -> World:
        """Wind until the person has finished or the motor broke and some seconds passed."""
        self._step(LinkUp(0.0, "bench"))
        tick, broke_s = 0, math.inf
        while not self.bench.done and self.at_s < min(self.longest_s, broke_s + 3.0) and not self.coach.finished:
            tick += 1
            self.at_s = round(tick * TICK_S, 6)
            self._waiting += self._wire(self.bench.advance(TICK_S))
            truth = self.bench.truth
            self.truths.append(truth)
            if self.motor.broken:
                broke_s = min(broke_s, self.at_s)
            else:
                self.top_turns = max(self.top_turns, truth.turns)
                self.top_Nm = max(self.top_Nm, truth.torque_Nm)
            while self._keys and self._keys[0][0] <= self.at_s:
                self._step(KeyPressed(self.at_s, self._keys.pop(0)[1]))
            if tick % 2 == 0:
                data = self._arrived()
                self._step(BytesArrived(self.at_s, data) if data else TimePassed(self.at_s))
            if tick % 4 == 0:
                view = self.coach.view
                self.readings.append(view.reading)
                self.person.see(shown_of(view, self._ear.hear(view)))
        return self

    # -- what came of it

    @property
    def broken(self) -> bool:
        """Whether the motor broke."""
        return self.motor.broken

    @property
    def past_target(self) -> float:
        """Highest turns over the target."""
        return self.top_turns / self.settings.plan.target_turns

    def alarms(self, level: Level | None = None) -> list[str]:
        """Codes that went on, in order."""
        on = [one for one in self.said if isinstance(one, Alarm) and one.active]
        return [alarm.code for alarm in on if level is None or alarm.level is level]

    def phases(self) -> list[Phase]:
        """Phases, in order."""
        return [phase for _, _, phase in self.coach.view.phase_starts]

    def report(self) -> str:
        """One line for the table."""
        last = next((one.text for one in reversed(self.said) if isinstance(one, Prompt)), "")
        stop = "no stop" if self.stop_turns is None else f"stop at {self.stop_turns:.0f}"
        nan = any(math.isnan(r.torque_Nm or 0.0) for r in self.readings)
        broke = "BROKE" if self.broken else "intact"
        alarms = ",".join(dict.fromkeys(self.alarms()))
        return (
            f"{broke} top {self.top_turns:.0f} turns {self.top_Nm * 1e3:.2f} mN·m; {stop}; {alarms or 'no alarm'};"
            f" phase {self.coach.view.phase}; last: {last!r}{' NaN' if nan else ''}; {self.at_s:.0f} s"
        )


# -- untruths


def negated(sample: Sample, world: World) -> Sample:
    """The cell turned round, or the motor wound the other way."""
    if sample.raw is None:
        return sample
    zero = SIMULATED.zero_counts
    return replace(sample, raw=round(min(max(2 * zero - sample.raw, RAW_MIN), RAW_MAX)))


def changed_from(turns: float, *, gain: float = 1.0, zero_Nm: float = 0.0, within_s: float = 0.0) -> Spoil:
    """A gain that falls or a zero that steps or drifts away once so many turns are on, within so many seconds."""
    begun: list[float] = []

    def spoil(sample: Sample, world: World) -> Sample:
        if world.motor.turns < turns or sample.raw is None:
            return sample
        begun.append(world.at_s)
        part = 1.0 if within_s <= 0.0 else min((world.at_s - begun[0]) / within_s, 1.0)
        zero, off = SIMULATED.zero_counts, zero_Nm / SIMULATED.Nm_per_count
        raw = zero + (sample.raw - zero) * (1.0 + part * (gain - 1.0)) + part * off
        return replace(sample, raw=round(min(max(raw, RAW_MIN), RAW_MAX)))

    return spoil


def stuck_from(turns: float, *, pulses: bool = False) -> Spoil:
    """The converter gives the same value from these turns on (pulses: and so does the crank)."""
    held: dict[str, int | None] = {}

    def spoil(sample: Sample, world: World) -> Sample:
        if world.motor.turns < turns and not held:
            return sample
        raw = held.setdefault("raw", sample.raw)
        crank = held.setdefault("crank", sample.crank) if pulses else sample.crank
        return replace(sample, raw=raw, crank=crank)

    return spoil


def distance_once(turns: float, distance_mm: int) -> Spoil:
    """One line tells an absurd distance."""
    done: list[bool] = []

    def spoil(sample: Sample, world: World) -> Sample:
        if world.motor.turns < turns or done:
            return sample
        done.append(True)
        return replace(sample, distance_mm=distance_mm)

    return spoil


def pulses_lost(share: float) -> Spoil:
    """The sensor misses a share of the turns."""
    return lambda sample, world: (
        sample if sample.crank is None else replace(sample, crank=int(sample.crank * (1 - share)))
    )


def weight_on(from_s: float, to_s: float, torque_Nm: float) -> Spoil:
    """Something hangs on the hook for a while."""
    counts = round(torque_Nm / SIMULATED.Nm_per_count)

    def spoil(sample: Sample, world: World) -> Sample:
        if sample.raw is None or not from_s <= world.at_s < to_s:
            return sample
        return replace(sample, raw=min(max(sample.raw + counts, RAW_MIN), RAW_MAX))

    return spoil


def off_hook(turns: float, for_s: float) -> Spoil:
    """The motor slips off the meter's hook at these turns, keeps them in the hand, and is hooked up again."""
    since: list[float] = []

    def spoil(sample: Sample, world: World) -> Sample:
        if world.motor.turns >= turns and not since:
            since.append(world.at_s)
        if since and world.at_s - since[0] < for_s and sample.raw is not None:
            noise = (sample.seq * 7919) % 5 - 2
            return replace(sample, raw=round(SIMULATED.zero_counts) + noise)
        return sample

    return spoil
