"""What is known at one moment, gathered for the rules: phases, alarms and prompts read this and nothing else."""

from __future__ import annotations

from dataclasses import dataclass

from winding_coach.coach.said import Phase


@dataclass(frozen=True, slots=True)
class Moment:
    """Torque and rates in SI, turns of the motor, times in seconds. None: not known.

    in_phase_s: since the phase began. torque_top_Nm: the highest smoothed torque of
    this wind; phase_top_Nm: of this phase.
    still_s: how long torque has been steady. counted: `turns` come from pulses or taps, so a rule may trust them.
    pace_turns: turns counted or, for the pace of the walk-in only, estimated. fitted: this motor's torque over the
    plan's as fitted at full stretch, None until it is.
    off_path_m: how much further out than the walk-in's path the person stands (below 0: too far in), where the meter
    tells. stopped: since the phase began the crank has stood still or gone back.
    plan_Nm: the plan's torque at these turns; expected_Nm: the same times this
    motor's live scale. peak_in_s: time to the peak at the present rate, if it rises.
    per_crank_turn_Nm: what the next turn of the crank should bring by the plan; the band of the rate follows from it.
    silent_s: since the last sample. gone_s: how long torque has been about nothing.
    """

    at_s: float
    phase: Phase
    in_phase_s: float
    torque_Nm: float | None
    rate_Nm_per_s: float | None
    rate_sd_Nm_per_s: float | None
    slow_rate_Nm_per_s: float | None
    torque_top_Nm: float
    phase_top_Nm: float
    cranking: bool | None
    reversing: bool
    turns: float | None
    counted: bool
    pace_turns: float | None
    off_path_m: float | None
    stopped: bool
    fitted: float | None
    distance_m: float | None
    expected_Nm: float | None
    plan_Nm: float | None
    rate_low_Nm_per_s: float | None
    rate_high_Nm_per_s: float | None
    per_crank_turn_Nm: float | None
    peak_in_s: float | None
    limit_coming: bool
    broke: bool
    still_s: float
    gone_s: float
    silent_s: float
    saturated: bool
    overloaded: bool
    tared: bool
    torque_back: bool
    crank_rev_per_s: float | None
    walk_m_per_s: float | None = None
    climbs_s: float = 0.0
    led: bool = False
