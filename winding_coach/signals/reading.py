"""What the signal shows at one moment of device time, and nothing about what to do. None means not known."""

from __future__ import annotations

from enum import StrEnum
from typing import Literal

from winding_coach.base.values import value

TurnsSource = Literal["counted", "tapped", "estimated", "unknown"]


class CrankState(StrEnum):
    """What the handle does, as far as pulses and torque can tell."""

    TURNING = "turning"
    STALLED = "stalled"
    REVERSING = "reversing"
    UNKNOWN = "unknown"


@value(frozen=True, slots=True)
class Reading:
    """The state of the signal at `t_s` (device seconds of the newest sample that went in).

    torque_Nm: torque with the crank ripple taken out. rate_fast: its rate of change about 0.7 s ago, for the
    gauge, with its standard deviation; rate_slow: for prediction. gated_Nm: the newest sample with spikes taken
    out, for limits. shown_Nm: the smoothed torque, or a jump that smoothing has not followed yet, for people to
    look at. cranking: True while the handle turns (either way), False when it stands.
    crank_turns: revolutions of the handle since the count began (what a reset keeps), with crank_turns_sd its
    standard deviation (0 when each was counted). No limit may rest on a count whose source is "estimated".
    crank_confidence: 0-1, how sure crank_state is; p_standing: by torque alone, the chance
    that the handle stands, None with a count or where torque cannot show it. distance_m: hook distance and
    walk_m_per_s: how quickly it grows, where the meter has it.
    """

    t_s: float
    torque_Nm: float
    rate_fast_Nm_per_s: float | None = None
    rate_fast_sd_Nm_per_s: float | None = None
    rate_slow_Nm_per_s: float | None = None
    cranking: bool | None = None
    crank_rev_per_s: float | None = None
    crank_turns: float | None = None
    turns_source: TurnsSource = "unknown"
    gated_Nm: float = 0.0
    shown_Nm: float | None = None
    crank_state: CrankState = CrankState.UNKNOWN
    crank_confidence: float = 0.0
    crank_turns_sd: float | None = None
    p_standing: float | None = None
    distance_m: float | None = None
    walk_m_per_s: float | None = None
