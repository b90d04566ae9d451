"""A moment gathered from what the signal, the plan and this motor's scale say; the limits of now with it. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace

from winding_coach.coach.band import RateBand
from winding_coach.coach.direction import LEFT
from winding_coach.coach.distance import UNCHANGED_S
from winding_coach.coach.doubts import Doubts
from winding_coach.coach.follow import Fallen
from winding_coach.coach.guide import Guide
from winding_coach.coach.held import HeldTurns
from winding_coach.coach.intake import Intake
from winding_coach.coach.limits import Limits
from winding_coach.coach.live import LiveScale
from winding_coach.coach.moment import Moment
from winding_coach.coach.phases import PREPARING, WINDING, arrives, leaves_again
from winding_coach.coach.said import Phase
from winding_coach.coach.turns_in import AS_LEFT, NOTICED, TurnsIn
from winding_coach.coach.watching import BACK_FOR_S
from winding_coach.rubber.path import PlanPath
from winding_coach.signals.limit import LimitPredictor
from winding_coach.signals.reading import CrankState, Reading

RHYTHM_FROM = 12.0
"""Turns of the crank before the rhythm of the pulses is held against their count."""
HOLDING = PREPARING | {Phase.WIND_STRETCHED}
"""Where turns that were in the motor before may be noticed."""
SURELY, QUICKEST = 0.97, 0.7
"""Below this share of the peak its time is no less than this share of what the turns still need: after a step torque
rises far quicker than it can for long."""
LONGEST_S = 60.0
"""A peak that is further away is not counted down."""
UNCOUNTED = 0.97
"""Where nobody counts, torque alone ends the climb, this much below the plan's peak: a motor 8 % softer than its label,
wound to the peak of its plan, is 5 % past its turns (`tests/bench/truth_search.py ideal`)."""
DEAD_SHARE = 0.72
"""Torque below this share of what belongs where the sensor says that one stands; found with simulated winds."""


@dataclass(slots=True)
class InPhase:
    """The phase of now, since when, and what has been seen in it; each phase begins a new one.

    top_Nm, low_Nm: the highest and lowest torque in it. stopped: the crank has stood still or gone back. arriving: the
    way in should be over. before: the phase before it.
    """

    phase: Phase
    at_s: float
    top_Nm: float = 0.0
    low_Nm: float | None = None
    stopped: bool = False
    arriving: bool = False
    before: Phase | None = None


class Gathering:
    """`limits`: those of now, for this motor's live scale. `doubts`, `turns_in`: what is not as it was said to be."""

    def __init__(
        self,
        limits: Limits,
        path: PlanPath,
        turns_in: float | None = None,
        expected: float | None = None,
        pull_reads_Nm: float = 0.0,
    ) -> None:
        """expected: turns that the last flight left. pull_reads_Nm: what the pull at full stretch reads as, by the
        calibration, in the meter's own sense."""
        self._pull_reads_Nm = pull_reads_Nm
        self.limits = limits
        self.live = LiveScale(limits, path)
        self.doubts = Doubts(path, limits)
        self.turns_in = TurnsIn(path, limits, turns_in, expected)
        self._plan_limits = limits
        self._counted = True
        self._fallen = Fallen()
        self._most_turns = 0.0
        self._held_turns = HeldTurns()
        self._path = path
        self._band = RateBand(limits, path)
        self._limit = LimitPredictor(limits.peak_Nm)

    def moment(self, intake: Intake, here: InPhase, guide: Guide, top_Nm: float, *, asks: bool = False) -> Moment:
        """Return the moment of `intake.at_s`; `top_Nm` is the highest torque of the wind so far. asks: whether a key is
        being asked for again."""
        live = intake.live
        now = self._gathered(intake, here, guide, top_Nm, live, asks)
        here.arriving = not leaves_again(now, self.limits) if here.arriving else arrives(now, self.limits)
        signed = intake.sample is not None and intake.sample.quadrature
        held = self._held_turns.tell(now, self.limits, signed=signed)
        if held:
            now = replace(now, turns_held=held)
        self._doubt(now, intake, live)
        doubts = self.doubts
        if doubts.reasons and (now.doubts, now.of_plan, now.going_on) != (
            doubts.reasons,
            doubts.of_plan,
            doubts.going_on,
        ):
            now = replace(now, doubts=doubts.reasons, of_plan=doubts.of_plan, going_on=doubts.going_on)
        return now

    def go_on(self) -> bool:
        """Somebody says to go on although in doubt; returns whether there was one."""
        if not self.doubts.go_on(self.live):
            return False
        self._set_limits()
        return True

    def _gathered(
        self, intake: Intake, here: InPhase, guide: Guide, top_Nm: float, live: Reading | None, asks: bool
    ) -> Moment:
        at_s, phase = intake.at_s, here.phase
        sample = intake.sample
        torque_Nm = None if live is None else live.torque_Nm
        distance_m = None if sample is None else intake.distance.distance_m
        self._held(intake, phase, guide, torque_Nm, distance_m)
        turns, held = intake.turns.turns, self.turns_in.held
        pace_turns = guide.pace_of(turns, live)
        plan_Nm = None if turns is None else self._path.torque_at(turns)
        self._scale(at_s, phase, torque_Nm, turns, distance_m)
        per_crank_turn = self._band.per_crank_turn(phase, turns)
        low, high = self._band.about(phase, per_crank_turn)
        if torque_Nm is not None:
            if torque_Nm > here.top_Nm:
                here.top_Nm = torque_Nm
            if here.low_Nm is None or torque_Nm < here.low_Nm:
                here.low_Nm = torque_Nm
        self._fallen.tell(at_s, torque_Nm)
        if turns is not None and turns > self._most_turns:
            self._most_turns = turns
        signed = sample is not None and sample.quadrature
        known = None if intake.crank_unheard else live
        cranking = None if known is None else known.cranking
        reversing = known is not None and known.crank_state is CrankState.REVERSING
        here.stopped = here.stopped or cranking is False or reversing
        coming, peak_in_s = self._peak_coming(phase, live, turns)
        still, lead, fallen = intake.still, guide.lead, self._fallen
        return Moment(
            at_s,
            phase,
            at_s - here.at_s,  # in_phase_s
            torque_Nm,
            None if live is None else live.rate_fast_Nm_per_s,  # rate_Nm_per_s
            None if live is None else live.rate_fast_sd_Nm_per_s,  # rate_sd_Nm_per_s
            None if live is None else live.rate_slow_Nm_per_s,  # slow_rate_Nm_per_s
            top_Nm,  # torque_top_Nm
            here.top_Nm,  # phase_top_Nm
            cranking,
            reversing,
            turns,
            turns is not None,  # counted
            pace_turns,
            guide.off_path_m(pace_turns, distance_m),
            here.stopped,
            self.live.at_stretch,  # fitted
            distance_m,
            None if plan_Nm is None else plan_Nm * self.live.scale,  # expected_Nm
            plan_Nm,
            low,  # rate_low_Nm_per_s
            high,  # rate_high_Nm_per_s
            per_crank_turn,  # per_crank_turn_Nm
            peak_in_s,
            coming,  # limit_coming
            intake.broke,
            still.still_s,
            still.gone_s,
            intake.silent_for_s(phase),  # silent_s
            sample is not None and sample.saturated,  # saturated
            sample is not None and sample.overload,  # overloaded
            intake.tared,
            still.back_s >= BACK_FOR_S,  # torque_back
            None if live is None else live.crank_rev_per_s,
            None if live is None else live.walk_m_per_s,
            0.0 if lead is None else lead.climbs_s,
            0.0 if lead is None else lead.waits_s(at_s),  # waits_s
            fallen.lies_s,
            fallen.rises_s,
            here.low_Nm or 0.0,  # phase_low_Nm
            self._most_turns - turns if signed and turns is not None else 0.0,  # taken_off
            lead is not None,  # led
            intake.turns.wound,  # wound_turns
            held.turns,  # turns_in
            held.source in NOTICED,  # turns_in_noticed
            self.turns_in.rest_Nm,
            intake.stuck,  # frozen
            intake.meter.another,
            intake.meter.board,
            self.doubts.reasons,  # doubts
            self.doubts.of_plan if self.doubts.reasons else None,  # of_plan
            bool(self.doubts.reasons) and self.doubts.going_on,  # going_on
            intake.zeroing.refused_Nm,  # zero_refused_Nm
            intake.direction.found == LEFT,  # left_hand
            intake.distance.lost,  # distance_lost
            here.arriving,
            here.before,  # phase_before
            asks,
            held.source == AS_LEFT,  # as_left
            by_taps=intake.by_taps(phase),
            turns_held=0.0,  # turns_held
            mean_Nm=None if live is None else still.mean_Nm,
        )

    def _held(
        self, intake: Intake, phase: Phase, guide: Guide, torque_Nm: float | None, distance_m: float | None
    ) -> None:
        """How many turns were in the motor before."""
        if phase not in HOLDING:
            return
        if torque_Nm is not None and phase in PREPARING and intake.turns.wound is None:
            torque_Nm = intake.still.mean_Nm  # What smoothing holds back where nobody counts is not at rest yet.
        if torque_Nm is not None and phase in PREPARING and intake.zeroing.unloaded:
            torque_Nm = 0.0  # A zero that drifted holds no turns.
        elif torque_Nm is not None and phase is not Phase.SET_ZERO:
            # Nor does a pull: what it reads as at full stretch was measured when the meter was calibrated.
            torque_Nm -= intake.direction.sign * self._pull_reads_Nm
        self.turns_in.tell(intake.at_s, phase, torque_Nm, intake.still.still_s, intake.turns.wound, distance_m)
        intake.turns.before = guide.turns_in = self.turns_in.held.turns

    def _doubt(self, now: Moment, intake: Intake, live: Reading | None) -> None:
        """Hold what is read against the label."""
        estimated = pulses = None
        if live is not None and live.crank_turns is not None:
            ratio = self._plan_limits.ratio
            if live.turns_source == "estimated":
                estimated = live.crank_turns * ratio + now.turns_in, (live.crank_turns_sd or 0.0) * ratio
            elif live.turns_source == "counted" and now.wound_turns is not None:
                pulses = self._rhythm(now.wound_turns / ratio, intake.turns.amended)
        self._doubt_distance(now, intake)
        self.doubts.tell(
            now,
            self.live,
            other_way=intake.direction.contradicted,
            turns_differ=self.turns_in.contradicted,
            estimated=estimated,
            pulses=pulses,
            first=self.turns_in.label,
            jumped=intake.jumps.times,
            lost=intake.rhythm.lost,
        )

    @staticmethod
    def _rhythm(crank_turns: float, amended: float) -> float | None:
        """Turns by the rhythm of the pulses, which shows one that is missing, over those counted."""
        counted = crank_turns - amended
        return crank_turns / counted if crank_turns >= RHYTHM_FROM and counted > 0.0 else None

    def _doubt_distance(self, now: Moment, intake: Intake) -> None:
        """A distance that does not move while torque shows that the person does: a dead sensor."""
        if now.phase is not Phase.WALK_IN or now.distance_m is None or not now.turns or now.torque_Nm is None:
            return
        if intake.distance_unchanged_s < UNCHANGED_S or now.expected_Nm is None:
            return
        here_Nm = now.expected_Nm * self._path.torque_ratio(now.turns, now.distance_m)
        if now.torque_Nm < DEAD_SHARE * here_Nm:
            intake.distance.give_up()

    def _scale(
        self, at_s: float, phase: Phase, torque_Nm: float | None, turns: float | None, distance_m: float | None
    ) -> None:
        scale, counted = self.live.scale, self._counted
        self.live.tell(at_s, phase, torque_Nm, turns, distance_m)
        # What is counted from anywhere in a wind is not what is on the motor: then only its own scale counts again.
        self._counted = self.live.known or phase in PREPARING or (turns is not None and self._counted)
        if self.live.scale != scale or self._counted != counted:
            self._set_limits()

    def _set_limits(self) -> None:
        """The limits for this motor as far as it is known."""
        limits = self._plan_limits.scaled(self.live.scale)
        self.limits = limits if self._counted else replace(limits, peak_Nm=UNCOUNTED * limits.peak_Nm)

    def _peak_coming(self, phase: Phase, live: Reading | None, turns: float | None) -> tuple[bool, float | None]:
        """Whether the peak will be reached before the hand stops, and in how many seconds, if torque rises.

        Where turns are counted the target's turns are the peak too: whichever comes first.
        """
        if live is None or phase not in WINDING:
            return False, None
        peak_Nm, slow = self.limits.peak_Nm, live.rate_slow_Nm_per_s
        coming = self._limit.update(live.torque_Nm, slow, peak_Nm).coming
        rise = max(live.rate_fast_Nm_per_s or 0.0, slow or 0.0)
        left = max(peak_Nm - live.torque_Nm, 0.0)
        in_s = left / rise if rise > 0.0 and left < LONGEST_S * rise else None
        per_s = (live.crank_rev_per_s or 0.0) * self.limits.ratio
        if turns is not None and per_s > 0.0:
            by_turns_s = max(self.limits.target_turns - turns, 0.0) / per_s
            if in_s is not None and live.torque_Nm < SURELY * peak_Nm:
                in_s = max(in_s, QUICKEST * by_turns_s)
            in_s = by_turns_s if by_turns_s < min(LONGEST_S, in_s or LONGEST_S) else in_s
        return coming, in_s
