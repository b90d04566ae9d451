"""A moment gathered from what the signal, the plan and this motor's scale say; the limits of now with it. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace

from winding_coach.coach.band import RateBand
from winding_coach.coach.direction import LEFT
from winding_coach.coach.distance import UNCHANGED_S
from winding_coach.coach.doubts import Doubts
from winding_coach.coach.follow import Fallen
from winding_coach.coach.guide import Guide
from winding_coach.coach.intake import Intake
from winding_coach.coach.limits import Limits
from winding_coach.coach.live import LiveScale
from winding_coach.coach.moment import Moment
from winding_coach.coach.phases import PREPARING, WINDING
from winding_coach.coach.said import Phase
from winding_coach.coach.turns_in import TurnsIn
from winding_coach.coach.watching import BACK_FOR_S
from winding_coach.rubber.path import PlanPath
from winding_coach.signals.limit import LimitPredictor
from winding_coach.signals.reading import CrankState, Reading

RHYTHM_FROM = 12.0
"""Turns of the crank before the rhythm of the pulses is held against their count."""
DEAD_SHARE = 0.72
"""Torque below this share of what belongs where the sensor says that one stands; found with simulated winds."""


@dataclass(slots=True)
class InPhase:
    """The phase of now, since when, and what has been seen in it; each phase begins a new one.

    top_Nm, low_Nm: the highest and lowest torque in it. stopped: the crank has stood still or gone back.
    """

    phase: Phase
    at_s: float
    top_Nm: float = 0.0
    low_Nm: float | None = None
    stopped: bool = False


class Gathering:
    """`limits`: those of now, for this motor's live scale. `doubts`, `turns_in`: what is not as it was said to be."""

    def __init__(self, limits: Limits, path: PlanPath, turns_in: float | None = None) -> None:
        self.limits = limits
        self.live = LiveScale(limits, path)
        self.doubts = Doubts(path, limits)
        self.turns_in = TurnsIn(path, limits, turns_in)
        self._plan_limits = limits
        self._fallen = Fallen()
        self._most_turns = 0.0
        self._path = path
        self._band = RateBand(limits, path)
        self._limit = LimitPredictor(limits.peak_Nm)

    def moment(self, intake: Intake, here: InPhase, guide: Guide, top_Nm: float) -> Moment:
        """Return the moment of `intake.at_s`; `top_Nm` is the highest torque of the wind so far."""
        now = self._gathered(intake, here, guide, top_Nm)
        self._doubt(now, intake)
        if self.doubts.reasons:
            doubts = self.doubts
            now = replace(now, doubts=doubts.reasons, of_plan=doubts.of_plan, going_on=doubts.going_on)
        return now

    def go_on(self) -> bool:
        """Somebody says to go on although in doubt; returns whether there was one."""
        if not self.doubts.go_on(self.live):
            return False
        self.limits = self._plan_limits.scaled(self.live.scale)
        return True

    def _gathered(self, intake: Intake, here: InPhase, guide: Guide, top_Nm: float) -> Moment:
        at_s, phase = intake.at_s, here.phase
        sample, live = intake.sample, intake.live
        torque_Nm = None if live is None else live.torque_Nm
        distance_m = intake.distance_m
        self._held(intake, phase, guide, torque_Nm, distance_m)
        turns, held = intake.turns.turns, self.turns_in.held
        pace_turns = guide.pace_of(turns, live)
        plan_Nm = None if turns is None else self._path.torque_at(turns)
        self._scale(at_s, phase, torque_Nm, turns, distance_m)
        low, high = self._band.at(phase, turns)
        here.top_Nm = max(here.top_Nm, torque_Nm or 0.0)
        if torque_Nm is not None:
            here.low_Nm = torque_Nm if here.low_Nm is None else min(here.low_Nm, torque_Nm)
        self._fallen.tell(at_s, torque_Nm)
        self._most_turns = max(self._most_turns, turns or 0.0)
        signed = sample is not None and sample.quadrature
        cranking = None if live is None else live.cranking
        reversing = live is not None and live.crank_state is CrankState.REVERSING
        here.stopped = here.stopped or cranking is False or reversing
        coming, peak_in_s = self._peak_coming(phase, live)
        return Moment(
            at_s=at_s,
            phase=phase,
            in_phase_s=at_s - here.at_s,
            torque_Nm=torque_Nm,
            rate_Nm_per_s=None if live is None else live.rate_fast_Nm_per_s,
            rate_sd_Nm_per_s=None if live is None else live.rate_fast_sd_Nm_per_s,
            slow_rate_Nm_per_s=None if live is None else live.rate_slow_Nm_per_s,
            torque_top_Nm=top_Nm,
            phase_top_Nm=here.top_Nm,
            cranking=cranking,
            reversing=reversing,
            turns=turns,
            counted=turns is not None,
            pace_turns=pace_turns,
            fitted=self.live.at_stretch,
            off_path_m=guide.off_path_m(pace_turns, distance_m),
            stopped=here.stopped,
            distance_m=distance_m,
            expected_Nm=None if plan_Nm is None else plan_Nm * self.live.scale,
            plan_Nm=plan_Nm,
            rate_low_Nm_per_s=low,
            rate_high_Nm_per_s=high,
            per_crank_turn_Nm=self._band.per_crank_turn(phase, turns),
            peak_in_s=peak_in_s,
            limit_coming=coming,
            broke=intake.broke,
            still_s=intake.still.still_s,
            gone_s=intake.still.gone_s,
            silent_s=intake.silent_for_s(phase),
            saturated=sample is not None and sample.saturated,
            overloaded=sample is not None and sample.overload,
            tared=intake.tared,
            torque_back=intake.still.back_s >= BACK_FOR_S,
            crank_rev_per_s=None if live is None else live.crank_rev_per_s,
            walk_m_per_s=None if live is None else live.walk_m_per_s,
            waits_s=0.0 if guide.lead is None else guide.lead.waits_s(at_s),
            lies_s=self._fallen.lies_s,
            rises_s=self._fallen.rises_s,
            phase_low_Nm=here.low_Nm or 0.0,
            taken_off=self._most_turns - turns if signed and turns is not None else 0.0,
            led=guide.lead is not None,
            climbs_s=0.0 if guide.lead is None else guide.lead.climbs_s,
            wound_turns=intake.turns.wound,
            turns_in=held.turns,
            turns_in_noticed=held.source == "noticed",
            rest_Nm=self.turns_in.rest_Nm,
            frozen=intake.frozen.frozen,
            another=intake.meter.another,
            board=None if intake.meter.hello is None else intake.meter.hello.board,
            zero_refused_Nm=intake.zeroing.refused_Nm,
            left_hand=intake.direction.found == LEFT,
            distance_lost=intake.distance.lost,
        )

    def _held(
        self, intake: Intake, phase: Phase, guide: Guide, torque_Nm: float | None, distance_m: float | None
    ) -> None:
        """How many turns were in the motor before."""
        if phase not in PREPARING | {Phase.WIND_STRETCHED}:
            return
        if torque_Nm is not None and phase in PREPARING and intake.zeroing.unloaded:
            torque_Nm = 0.0  # A zero that drifted holds no turns.
        self.turns_in.tell(phase, torque_Nm, intake.still.still_s, intake.turns.wound, distance_m)
        intake.turns.before = guide.turns_in = self.turns_in.held.turns

    def _doubt(self, now: Moment, intake: Intake) -> None:
        """Hold what is read against the label."""
        live = intake.live
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
        scale = self.live.scale
        self.live.tell(at_s, phase, torque_Nm, turns, distance_m)
        if self.live.scale != scale:
            self.limits = self._plan_limits.scaled(self.live.scale)

    def _peak_coming(self, phase: Phase, live: Reading | None) -> tuple[bool, float | None]:
        """Whether the peak will be reached before the hand stops, and in how many seconds, if torque rises."""
        if live is None or phase not in WINDING:
            return False, None
        peak_Nm, slow = self.limits.peak_Nm, live.rate_slow_Nm_per_s
        coming = self._limit.update(live.torque_Nm, slow, peak_Nm).coming
        rise = max(live.rate_fast_Nm_per_s or 0.0, slow or 0.0)
        left = max(peak_Nm - live.torque_Nm, 0.0)
        return coming, left / rise if rise > 0.0 and left < 60.0 * rise else None
