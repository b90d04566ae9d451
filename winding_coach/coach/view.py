"""What there is to see at one moment: the immutable value that screen, sound and trace look at."""

from __future__ import annotations

from dataclasses import field

from winding_coach.base.standing import USUAL, Steps
from winding_coach.base.units import UnitSystem
from winding_coach.base.values import value
from winding_coach.coach.said import Alarm, Level, Phase, Prompt, ReadingSaid, Summary
from winding_coach.rubber.figures import MotorFigures, Plan


@value(frozen=True, slots=True)
class Targets:
    """What the figures on the screen are held against, in this phase.

    torque_Nm: the torque that this phase works towards (stretched torque, peak, launch torque), None when
    there is none. rate_low/high: the band of torque-rise rate, Nm/s. stand_at_m: where to stand now.
    turns: of the motor, where this phase ends by the plan. per_crank_turn_Nm: what the next turn of the crank should
    bring. peak_Nm: what the wind goes to, in every phase, None before there is a moment.
    """

    torque_Nm: float | None = None
    rate_low_Nm_per_s: float | None = None
    rate_high_Nm_per_s: float | None = None
    stand_at_m: float | None = None
    turns: float | None = None
    per_crank_turn_Nm: float | None = None
    peak_Nm: float | None = None


@value(frozen=True, slots=True)
class LinkView:
    """state: waiting (not yet opened), up, silent, down. port: name to show. reason: why it is down.

    crank: what is wrong with a crank sender, in a few words.
    """

    state: str = "waiting"
    port: str | None = None
    reason: str | None = None
    meter: str | None = None
    lost_lines: int = 0
    bad_lines: int = 0
    restarts: int = 0
    crank: str | None = None


@value(frozen=True, slots=True)
class Marks:
    """Figures noted by themselves the moment they happen."""

    peak_torque_Nm: float | None = None
    peak_turns: float | None = None
    launch_torque_Nm: float | None = None
    launch_turns: float | None = None
    peak_at_s: float | None = None


@value(frozen=True, slots=True)
class CoachView:
    """Everything to be seen at `at_s`. Equal for a live wind and its replay.

    shown_torque_Nm: for the digits, where a jump is there at once; the reading's torque smooths it.
    stale: the reading is older than half a second and must not be shown as live.
    peak_risk: chance that such a motor breaks by the peak that it is wound to, as this wind goes; the reading's risk is
    that of here and now. None where turns are not counted.
    letting_down: a wound motor is let down, no wind is coached.
    checks: what of the list before the wind is ticked.
    alarms: those that are on, the one that matters most first.
    phase_starts: (at_s, turns or None, phase) of each phase so far; alarm_starts: the same of the last alarms.
    """

    at_s: float
    phase: Phase
    plan: Plan
    winder_ratio: float
    units: UnitSystem
    reading: ReadingSaid
    slow_rate_Nm_per_s: float | None = None
    shown_torque_Nm: float | None = None
    stale: bool = True
    prompt: Prompt | None = None
    alarms: tuple[Alarm, ...] = ()
    targets: Targets = field(default_factory=Targets)
    link: LinkView = field(default_factory=LinkView)
    marks: Marks = field(default_factory=Marks)
    zero_counts: float | None = None
    tared: bool = False
    phase_starts: tuple[tuple[float, float | None, Phase], ...] = ()
    alarm_starts: tuple[tuple[float, float | None, Level], ...] = ()
    summary: Summary | None = None
    steps: Steps = USUAL
    motor: MotorFigures | None = None
    peak_risk: float | None = None
    letting_down: bool = False
    checks: tuple[str, ...] = ()
