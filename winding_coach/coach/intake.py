"""What the link brings: bytes in; the newest sample, torque, turns, stillness and breaks, and how old each is. Pure."""

from __future__ import annotations

from winding_coach.base.inputs import LinkDown, LinkUp, Skipped
from winding_coach.coach.dead_crank import DeadCrank
from winding_coach.coach.direction import CrankWay, Direction
from winding_coach.coach.distance import DistanceGate
from winding_coach.coach.jumps import Jumps
from winding_coach.coach.limits import Limits
from winding_coach.coach.phases import LOADED, PREPARING, UNLOADING, WINDING
from winding_coach.coach.rhythm import Rhythm
from winding_coach.coach.said import LinkSaid, Phase
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.view import LinkView
from winding_coach.coach.watching import Heard, MotorTurns, Stillness
from winding_coach.coach.wording import SILENT, STANDS, STRANGE
from winding_coach.coach.zeroing import Zeroing
from winding_coach.meter.arrival import Arrival
from winding_coach.meter.frozen import REPEATS, FrozenReadings, Repeats
from winding_coach.meter.reader import MeterReader, TorqueSample
from winding_coach.rubber.path import PlanPath
from winding_coach.signals.broke import BreakDetector
from winding_coach.signals.estimator import Estimator
from winding_coach.signals.reading import Reading

STALE_S = 0.5
SILENT_AFTER_S = 2.0
SKIP_SAID_EVERY_S = 10.0
ALIVE_TURNS = 4.0
"""Crank turns that a sensor still counts at full stretch after it was given up: it loses pulses."""
LATE_SHARE = 0.3
"""Of the full-stretch torque: from here on it is too late to begin a count by taps."""
STRANGE_BYTES = 64
"""So many bytes without a line in them are not this meter's."""


class Intake:
    """All that is known of the signal. `at_s` is the time of the input being taken.

    Torque that leaves here is positive the way round that the motor is wound, once that is known.
    """

    def __init__(self, settings: CoachSettings, limits: Limits, path: PlanPath) -> None:
        self.meter = MeterReader(settings.calibration, settings.tare_counts)
        self.estimator = Estimator(limits.peak_Nm)
        self.still = Stillness(limits.peak_Nm, limits.launch_Nm)
        self.turns = MotorTurns(settings.winder.ratio)
        self.dead_crank = DeadCrank(path)
        self.direction = Direction(limits.stretched_Nm, settings.direction)
        self._crank_way = CrankWay(limits.stretched_Nm)
        self.distance = DistanceGate(limits.hooks_m, limits.stretch_m)
        self.frozen = FrozenReadings(Repeats.from_json(settings.calibration.more.get(REPEATS)))
        self.zeroing = Zeroing(settings, limits.peak_Nm)
        self.jumps = Jumps(limits.peak_Nm)
        self.rhythm = Rhythm()
        self._late_Nm = LATE_SHARE * limits.stretched_Nm
        self._given_up_at: float | None = None
        self.heard = Heard()
        self.link = LinkView()
        self.tared = settings.tare_counts is not None
        self.broke = False
        self.at_s = 0.0
        self._breaks = BreakDetector(limits.peak_Nm)
        self._breaks_at = 0.0
        self._arrival = Arrival()
        self._newest: TorqueSample | None = None
        self._device_s = -1.0
        self._up_at_s: float | None = None
        self._live_at_s: float | None = None
        self._strange_bytes = 0
        self._skip_said_at_s: float | None = None
        self._trouble_said_at_s: float | None = None

    # -- what happens

    def bytes(self, data: bytes, phase: Phase, top_Nm: float) -> None:
        """Take bytes as they came; `top_Nm` is the highest torque of the wind so far."""
        self._strange_bytes += len(data)
        for sample in self.meter.feed(data, self.at_s):
            self._strange_bytes = 0
            self._newest = sample
            self._take(sample, phase, top_Nm)

    def _take(self, sample: TorqueSample, phase: Phase, top_Nm: float) -> None:
        t_s = sample.device_s
        if sample.restarted:
            self._restarted()
        advanced = sample.advanced and t_s > self._device_s
        self._device_s = t_s
        # A saturated reading is no torque: taken for one it would be the top, and its end a break.
        good = advanced and not (sample.torque_Nm is None or sample.settling or sample.saturated)
        # What was long on its way says what was so then, not now.
        self.heard.take(self.at_s - self._arrival.age_s(self.at_s, t_s), good=good)
        crank_turns = None if self.dead_crank.dead else self._forward(sample, phase)
        if self.dead_crank.dead:
            self._after_given_up(sample.crank_turns, phase)
        share = self.share_of(top_Nm) if phase in UNLOADING else None
        self.turns.count(crank_turns, signed=sample.quadrature, phase=phase, torque_share_of_top=share)
        self.frozen.add(t_s, sample.raw, crank_turns, at_end=sample.saturated)
        if sample.torque_Nm is None or not good:
            return
        if sample.raw is not None:
            self.zeroing.add(t_s, sample.raw)
        if self.direction.add(t_s, sample.torque_Nm, phase, tared=self.tared):
            self._other_way(t_s)
        torque_Nm = self.direction.sign * sample.torque_Nm
        distance_m = self.distance.add(t_s, sample.distance_m)
        self.estimator.two_sensors = sample.quadrature
        amended = self.estimator.amended
        self.estimator.add(t_s, torque_Nm, crank_turns, distance_m)
        if self.estimator.amended != amended:
            self.turns.amend(self.estimator.amended - amended)
        if self.estimator.lines_per_s != self._breaks_at:
            self._breaks_at = self.estimator.lines_per_s
            self._breaks.set_rate(self._breaks_at)
        self.still.add(t_s, torque_Nm, top_Nm)
        self._untrue(t_s, torque_Nm, crank_turns, phase)
        if self._breaks.add(t_s, torque_Nm) and phase in LOADED:
            self.broke = True
            self.still.reset()
            self.estimator.gap(t_s)

    def _forward(self, sample: TorqueSample, phase: Phase) -> float | None:
        """The crank's count, up as it winds."""
        crank_turns = sample.crank_turns
        if crank_turns is None or not sample.quadrature:
            return crank_turns
        if sample.torque_Nm is not None and self._crank_way.add(crank_turns, sample.torque_Nm, phase):
            self.turns.other_way()
            self.rhythm.pause()
        return self._crank_way.sign * crank_turns

    def _untrue(self, t_s: float, torque_Nm: float, crank_turns: float | None, phase: Phase) -> None:
        """Look for what no motor and no hand does."""
        if phase in WINDING or self.jumps.pending:
            self.jumps.add(t_s, torque_Nm, walking=phase is not Phase.FINAL_TURNS)
        else:
            self.jumps.reset()
        if phase in PREPARING | {Phase.WIND_STRETCHED}:
            self.rhythm.add(t_s, crank_turns)

    def _after_given_up(self, crank_turns: float | None, phase: Phase) -> None:
        """Pulses of a crank sensor that was given up."""
        if crank_turns is None or phase not in PREPARING | {Phase.WIND_STRETCHED}:
            return
        if self._given_up_at is None:
            self._given_up_at = crank_turns
        elif abs(crank_turns - self._given_up_at) >= ALIVE_TURNS:
            self.rhythm.given_up_but_alive()

    def _restarted(self) -> None:
        """The meter's clock and counts began anew."""
        self.estimator.reset()
        self._breaks.reset()
        self._arrival.reset()
        self._begin_anew()
        self.distance.restart()

    def _begin_anew(self) -> None:
        """What comes next has no before."""
        self.frozen.reset()
        self.jumps.reset()
        self.rhythm.pause()

    def _other_way(self, t_s: float) -> None:
        """All torque so far had the other sign."""
        self._breaks.reset()
        self.still.reset()
        self.jumps.reset()
        self.estimator.gap(t_s)

    def link_up(self, event: LinkUp) -> LinkSaid:
        """The link opened."""
        self.meter.link_up()
        self._arrival.reset()
        self._begin_anew()
        self._up_at_s, self._live_at_s = event.at_s, None
        self.heard = Heard()
        return self._link_is("up", event.port)

    def link_down(self, event: LinkDown) -> LinkSaid:
        """The link was lost."""
        self._up_at_s, self.heard = None, Heard()
        return self._link_is("down", self.link.port, event.reason)

    def skipped(self, event: Skipped) -> list[LinkSaid]:
        """Bytes were left out on the way: the next may begin within a line. Said, but not again and again."""
        self.meter.link_up()
        self.rhythm.pause()
        if self.link.state != "up" or self._since(self._skip_said_at_s) < SKIP_SAID_EVERY_S:
            return []
        self._skip_said_at_s = event.at_s
        return [self._link_is("up", self.link.port, event.reason)]

    def tap(self, phase: Phase, top_Nm: float) -> None:
        """A helper says that the crank has turned once; `top_Nm` is the highest torque of the wind so far."""
        late = phase in LOADED and (phase is not Phase.WIND_STRETCHED or top_Nm > self._late_Nm)
        self.turns.tap(phase, silent=phase in LOADED and self.silent_s(phase) > STALE_S, late=late)

    def time_passed(self) -> None:
        """Nothing came for a while."""
        if self._newest is not None:
            self.estimator.at(self._newest.device_s + self._since(self.heard.line_at_s))

    def tare(self, zero: float) -> None:
        """Take these counts for zero."""
        self.meter.tare(zero)
        self.tared = True
        self.turns.restart()
        self.still.reset()
        self.jumps.reset()
        self._breaks.reset()
        if self._newest is not None:
            self.estimator.gap(self._newest.device_s)

    def hooked_up_anew(self) -> None:
        """A motor is on the hook again; how many turns it holds is not known."""
        self.broke = False
        self.turns.restart()
        self.still.reset()
        self.jumps.reset()
        self.rhythm = Rhythm()
        self._breaks.reset()
        if self._newest is not None:
            self.estimator.gap(self._newest.device_s)

    def crank_sensor_lost(self) -> None:
        """The crank sensor was given up: its count is not believed any more."""
        self.turns.give_up()
        self.rhythm = Rhythm()
        self.estimator.sensor_lost()

    def silence(self, phase: Phase) -> LinkSaid | None:
        """Return what is to be said of a link that fell silent, or speaks again."""
        good_at_s = self.heard.good_at_s
        if good_at_s is not None and self.at_s - good_at_s <= STALE_S:
            self._live_at_s = self.at_s
            if self.link.state == "up":
                return self._sender_trouble() if self.meter.crank_sender.lines else None
        silent = min(self.silent_s(phase), self._since(self._up_at_s)) >= SILENT_AFTER_S and self._up_at_s is not None
        if silent and self.link.state == "up":
            return self._link_is("silent", self.link.port, self._why_silent())
        if not silent and self.link.state == "silent":
            return self._link_is("up", self.link.port)
        return None

    def _sender_trouble(self) -> LinkSaid | None:
        """Return what is to be said of the crank sender's lines: lost, late, or none. Not again and again."""
        if self._since(self._trouble_said_at_s) < SKIP_SAID_EVERY_S:
            return None
        trouble = self.meter.crank_sender.trouble
        if trouble is None:
            return None
        self._trouble_said_at_s = self.at_s
        return self._link_is("up", self.link.port, trouble)

    def _why_silent(self) -> str:
        if self.meter.standing is not None:
            return STANDS.format(what=self.meter.standing)
        if self._strange_bytes > STRANGE_BYTES:
            return STRANGE
        return SILENT

    # -- what is known

    @property
    def sample(self) -> TorqueSample | None:
        """The newest line, None once it is old."""
        line_at_s = self.heard.line_at_s
        return self._newest if line_at_s is not None and self.at_s - line_at_s <= STALE_S else None

    @property
    def live(self) -> Reading | None:
        """The present reading, None once torque is old, frozen, or another meter's."""
        good_at_s = self.heard.good_at_s
        if good_at_s is None or self.at_s - good_at_s > STALE_S or self.stuck or self.meter.another:
            return None
        return self.estimator.reading

    @property
    def stuck(self) -> bool:
        """Whether the reading cannot be, since it does not change: by what comes, or by the meter's own word."""
        return self.frozen.frozen or (self._newest is not None and self._newest.frozen)

    @property
    def crank_unheard(self) -> bool:
        """Whether a sender of its own counts the crank and is not heard now: nobody knows whether it turns."""
        return self._newest is not None and self._newest.crank_unheard

    @property
    def distance_m(self) -> float | None:
        """The distance to go by, None without a sensor, or an old line."""
        return None if self.sample is None else self.distance.distance_m

    @property
    def distance_unchanged_s(self) -> float:
        """For how long the distance has been the same to the millimetre."""
        return self.distance.unchanged_s(self._device_s)

    def share_of(self, top_Nm: float) -> float | None:
        """Return torque as a share of the highest so far, None while either is not known."""
        reading = self.estimator.reading
        return None if reading is None or not top_Nm else reading.torque_Nm / top_Nm

    def by_taps(self, phase: Phase) -> bool:
        """Whether the meter has failed, and taps carry its count on."""
        return self.turns.carried and self.silent_s(phase) > STALE_S

    def silent_for_s(self, phase: Phase) -> float:
        """Return for how long an alarm counts silence: without a link only where there is load."""
        return self.silent_s(phase) if phase in LOADED or self._up_at_s is not None else 0.0

    def silent_s(self, phase: Phase) -> float:
        """Return seconds without a reading (a saturated meter speaks, and has its own alarm); before the first, from
        the link's opening, but loaded for ever."""
        sample = self.sample
        if sample is not None and sample.saturated:
            return 0.0
        begun = None if phase in LOADED else self._up_at_s
        if self.heard.good_at_s is None:
            return self._since(begun)
        if self._live_at_s == self.at_s:
            return max(self.at_s - self.heard.good_at_s, 0.0)
        # Lines that come late are silence from where they were too old, not from when they were made.
        late_s = 0.0 if self._live_at_s is None else self.at_s - self._live_at_s
        return max(self._since(self.heard.good_at_s), late_s)

    def _since(self, at_s: float | None) -> float:
        return 1e9 if at_s is None else self.at_s - at_s

    def _link_is(self, state: str, port: str | None, reason: str | None = None) -> LinkSaid:
        self.link = LinkView(state, port, reason)
        return LinkSaid(self.at_s, state, port, reason)
