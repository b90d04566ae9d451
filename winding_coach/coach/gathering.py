"""A moment gathered from what the signal, the plan and this motor's scale say; the limits of now with it. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from winding_coach.coach.band import RateBand
from winding_coach.coach.guide import Guide
from winding_coach.coach.intake import Intake
from winding_coach.coach.limits import Limits
from winding_coach.coach.live import LiveScale
from winding_coach.coach.moment import Moment
from winding_coach.coach.phases import WINDING
from winding_coach.coach.said import Phase
from winding_coach.coach.watching import BACK_FOR_S
from winding_coach.rubber.path import PlanPath
from winding_coach.signals.limit import LimitPredictor
from winding_coach.signals.reading import CrankState, Reading


@dataclass(slots=True)
class InPhase:
    """The phase of now, since when, and what has been seen in it; each phase begins a new one.

    top_Nm: the highest torque in it. stopped: the crank has stood still or gone back.
    """

    phase: Phase
    at_s: float
    top_Nm: float = 0.0
    stopped: bool = False


class Gathering:
    """`limits`: those of now, for this motor's live scale."""

    def __init__(self, limits: Limits, path: PlanPath) -> None:
        self.limits = limits
        self.live = LiveScale(limits, path)
        self._plan_limits = limits
        self._path = path
        self._band = RateBand(limits, path)
        self._limit = LimitPredictor(limits.peak_Nm)

    def moment(self, intake: Intake, here: InPhase, guide: Guide, top_Nm: float) -> Moment:
        """Return the moment of `intake.at_s`; `top_Nm` is the highest torque of the wind so far."""
        at_s, phase = intake.at_s, here.phase
        sample, live = intake.sample, intake.live
        torque_Nm = None if live is None else live.torque_Nm
        turns = intake.turns.turns
        distance_m = None if sample is None else sample.distance_m
        pace_turns = guide.pace_of(turns, live)
        plan_Nm = None if turns is None else self._path.torque_at(turns)
        self._scale(at_s, phase, torque_Nm, turns, distance_m)
        low, high = self._band.at(phase, turns)
        here.top_Nm = max(here.top_Nm, torque_Nm or 0.0)
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
            fitted=self.live.ratio,
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
            led=guide.lead is not None,
            climbs_s=0.0 if guide.lead is None else guide.lead.climbs_s,
        )

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
