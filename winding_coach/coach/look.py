"""A moment as it is seen: the reading, and what it is held against in each phase. Pure."""

from __future__ import annotations

from winding_coach.coach.limits import Limits
from winding_coach.coach.moment import Moment
from winding_coach.coach.said import Phase, ReadingSaid
from winding_coach.coach.view import Targets
from winding_coach.signals.reading import Reading


def targets_of(now: Moment | None, phase: Phase, limits: Limits, mark_m: float | None) -> Targets:
    """Return the targets of a phase; `mark_m` is where the walk-in wants the person next."""
    torque_Nm, turns, stand_m = {
        Phase.STRETCH_OUT: (limits.stretched_Nm, limits.stretched_turns, limits.stretch_m),
        Phase.WIND_STRETCHED: (limits.stretched_Nm, limits.stretched_turns, limits.stretch_m),
        Phase.WALK_IN: (limits.stretched_Nm, limits.walked_in_turns, mark_m),
        Phase.FINAL_TURNS: (limits.peak_Nm, limits.target_turns, limits.hooks_m),
        Phase.BACK_OFF: (limits.launch_Nm, limits.target_turns - limits.back_off_turns, limits.hooks_m),
        Phase.READY: (limits.launch_Nm, None, limits.hooks_m),
    }.get(phase, (None, None, None))
    low, high = (None, None) if now is None else (now.rate_low_Nm_per_s, now.rate_high_Nm_per_s)
    return Targets(torque_Nm, low, high, stand_m, turns)


def reading_of(
    now: Moment, turns_source: str, seen: Reading | None, limits: Limits, break_risk: float | None
) -> ReadingSaid:
    """Return the reading of a moment; the crank's speed only where torque is live.

    Turns that nobody counted are shown as the signal estimates them, and nothing is worked out from them.
    """
    turns = now.turns
    if turns is None and seen is not None and seen.turns_source == "estimated" and seen.crank_turns is not None:
        turns, turns_source = seen.crank_turns * limits.ratio, "estimated"
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
    )
