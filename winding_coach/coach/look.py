"""A moment as it is seen: the reading, and what it is held against in each phase. Pure."""

from __future__ import annotations

from winding_coach.coach.limits import Limits
from winding_coach.coach.live import LiveScale
from winding_coach.coach.moment import Moment
from winding_coach.coach.phases import WINDING
from winding_coach.coach.said import Phase, ReadingSaid
from winding_coach.coach.view import Targets
from winding_coach.rubber.path import PlanPath
from winding_coach.signals.reading import Reading

TELLS_TURNS = 0.85
"""From this share of the peak on torque tells how many turns are left; before, it still remembers the last steps."""


def risk_here(now: Moment, path: PlanPath, live: LiveScale) -> float | None:
    """Return the chance that such a motor has broken where it is; None where turns are not counted."""
    return None if now.turns is None else path.break_risk(now.turns, now.distance_m, live.scale)


def risk_at_peak(now: Moment, limits: Limits, path: PlanPath, live: LiveScale) -> float | None:
    """Return the chance that such a motor breaks by the peak of these limits; None where turns are not counted.

    The peak's turns are the plan's for this motor's torque (fewer where a rating caps it), and near the peak those that
    torque says are left. A risk that was run already stays.
    """
    if now.turns is None or now.phase not in WINDING:
        return None
    at_peak = path.turns_at_torque(limits.peak_Nm / live.scale)
    if at_peak is None:
        return None
    at_hooks = now.phase is Phase.FINAL_TURNS or now.arriving
    if at_hooks and now.torque_Nm is not None and now.torque_Nm >= TELLS_TURNS * limits.peak_Nm:
        here = path.turns_at_torque(now.torque_Nm / live.scale)
        at_peak = now.turns if here is None else now.turns + max(at_peak - here, 0.0)
    at_peak = max(at_peak, now.turns)
    here_risk = path.break_risk(now.turns, now.distance_m, live.scale)
    return max(path.break_risk(at_peak, limits.hooks_m, live.scale), here_risk)


def targets_of(now: Moment | None, phase: Phase, limits: Limits, mark_m: float | None) -> Targets:
    """Return the targets of a phase; `mark_m` is where the walk-in wants the person next."""
    if now is not None and now.arriving:
        phase = Phase.FINAL_TURNS
    torque_Nm: float | None = None
    turns: float | None = None
    stand_m: float | None = None
    if phase is Phase.STRETCH_OUT or phase is Phase.WIND_STRETCHED:
        torque_Nm, turns, stand_m = limits.stretched_Nm, limits.stretched_turns, limits.stretch_m
    elif phase is Phase.WALK_IN:
        torque_Nm, turns, stand_m = limits.stretched_Nm, limits.walked_in_turns, mark_m
    elif phase is Phase.FINAL_TURNS:
        torque_Nm, turns, stand_m = limits.peak_Nm, limits.target_turns, limits.hooks_m
    elif phase is Phase.BACK_OFF:
        torque_Nm, turns, stand_m = limits.launch_Nm, limits.target_turns - limits.back_off_turns, limits.hooks_m
    elif phase is Phase.READY:
        torque_Nm, stand_m = limits.launch_Nm, limits.hooks_m
    if now is None:
        return Targets(torque_Nm, stand_at_m=stand_m, turns=turns, peak_Nm=limits.peak_Nm)
    rates = now.rate_low_Nm_per_s, now.rate_high_Nm_per_s
    return Targets(torque_Nm, *rates, stand_m, turns, now.per_crank_turn_Nm, limits.peak_Nm)


def reading_of(
    now: Moment, turns_source: str, seen: Reading | None, limits: Limits, break_risk: float | None
) -> ReadingSaid:
    """Return the reading of a moment; the crank's speed only where torque is live.

    Turns that nobody counted are shown as the signal estimates them, and nothing is worked out from them.
    """
    turns = None if now.turns is None else now.turns - now.turns_held
    if turns is None and seen is not None and seen.turns_source == "estimated" and seen.crank_turns is not None:
        turns, turns_source = seen.crank_turns * limits.ratio + now.turns_in, "estimated"
    return ReadingSaid(
        at_s=now.at_s,
        torque_Nm=now.torque_Nm,
        torque_rate_Nm_per_s=now.rate_Nm_per_s,
        torque_rate_sd_Nm_per_s=now.rate_sd_Nm_per_s,
        turns=turns,
        turns_source=turns_source,
        distance_m=now.distance_m,
        crank_rev_per_s=None if seen is None or now.torque_Nm is None else seen.crank_rev_per_s,
        cranking=now.cranking,
        turns_left=None if now.turns is None else max(limits.target_turns - now.turns, 0.0),
        break_risk=break_risk,
        turns_held=now.turns_held,
    )
