"""What is known at one moment, gathered for the rules: phases, alarms and prompts read this and nothing else."""

from __future__ import annotations

from winding_coach.base.values import value
from winding_coach.coach.said import Phase


@value(frozen=True, slots=True)
class Moment:
    """Torque and rates in SI, turns of the motor, times in seconds. None: not known.

    in_phase_s: since the phase began, phase_before: the one before it. torque_top_Nm: the highest smoothed torque of
    this wind; phase_top_Nm: of this phase.
    still_s: how long torque has been steady. counted: `turns` come from pulses or taps, so a rule may trust them.
    pace_turns: turns counted or, for the pace of the walk-in only, estimated. fitted: this motor's torque over the
    plan's as fitted at full stretch, None until it is.
    off_path_m: how much further out than the walk-in's path the person stands (below 0: too far in), where the meter
    tells. stopped: since the phase began the crank has stood still or gone back.
    plan_Nm: the plan's torque at these turns; expected_Nm: the same times this
    motor's live scale. peak_in_s: time to the peak at the present rate, if it rises.
    per_crank_turn_Nm: what the next turn of the crank should bring by the plan; the band of the rate follows from it.
    walk_m_per_s: how quickly the hooks move apart. led: whether torque leads the feet; climbs_s: how long it has
    climbed though they were told to go on; arriving: where nobody measures, the way in should be over; waits_s: how
    long they have been told to wait. lies_s: how long torque has been down without coming back; rises_s: how long it
    has risen; phase_low_Nm: lowest in this phase. taken_off: turns that a two-sensor crank has taken off their most.
    asks: a key that torque speaks against is to be pressed again.
    silent_s: since the last sample. gone_s: how long torque has been about nothing.
    wound_turns: put on by the winder in this wind; turns_in: in the motor before it, rest_Nm: torque then. frozen: the
    raw value repeats for longer than noise can. another: another board answers (board: its name). doubts: what a torque
    far from the label may be, best fit first; of_plan: that torque over the plan's; going_on: somebody said to go on.
    by_taps: the meter has failed in mid-wind, and taps carry its count on.
    zero_refused_Nm: what was on the hook when a zero was refused. left_hand: found so. distance_lost: given up.
    turns_held: of `turns`, those that may have come off instead, since one sensor counts up either way.
    as_left: the turns in are those that the last flight left. mean_Nm: torque without the smoothing's swing, for what
    is seen where the motor has just come off.
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
    waits_s: float = 0.0
    lies_s: float = 0.0
    rises_s: float = 0.0
    phase_low_Nm: float = 0.0
    taken_off: float = 0.0
    led: bool = False
    wound_turns: float | None = None
    turns_in: float = 0.0
    turns_in_noticed: bool = False
    rest_Nm: float = 0.0
    frozen: bool = False
    another: bool = False
    board: str | None = None
    doubts: tuple[str, ...] = ()
    of_plan: float | None = None
    going_on: bool = False
    zero_refused_Nm: float | None = None
    left_hand: bool = False
    distance_lost: bool = False
    arriving: bool = False
    phase_before: Phase | None = None
    asks: bool = False
    as_left: bool = False
    by_taps: bool = False
    turns_held: float = 0.0
    mean_Nm: float | None = None

    @property
    def empty_Nm(self) -> float | None:
        """Torque of a hook on which nothing hangs."""
        return self.torque_Nm if self.mean_Nm is None else self.mean_Nm

    @property
    def in_doubt(self) -> bool:
        """Whether the wind has to stop because torque is too far from the label."""
        return bool(self.doubts) and not self.going_on
