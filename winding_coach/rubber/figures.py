"""The figures that come with a motor, a winder and a model, and the plan made from them. Values only.

Everything is SI; turns are turns of the motor (`crank_turns` are revolutions of the winder's handle).
`None` means not known.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from winding_coach.base.errors import WrongFigures


class FiguresError(WrongFigures):
    """Figures that no motor can have; the message is one clear sentence that says what to do."""


@dataclass(frozen=True, slots=True)
class MotorFigures:
    """A motor as weighed and measured now.

    loop_m: relaxed length of the loop (half the strip). mass_kg: as weighed, O-rings included.
    strands: 2 for one loop. use: which wind of this motor, from 1. share: wanted share of the breaking
    turns (0-1), None for the usual one of this use.
    """

    loop_m: float
    mass_kg: float
    orings_kg: float = 0.0
    strands: int = 2
    use: int = 1
    share: float | None = None
    name: str | None = None


@dataclass(frozen=True, slots=True)
class WinderFigures:
    """ratio: turns of the motor for one revolution of the handle. limit_Nm: what the winder is rated for."""

    ratio: float = 10.0
    limit_Nm: float | None = None


@dataclass(frozen=True, slots=True)
class ModelFigures:
    """hooks_m: distance between the model's hooks. launch_torque_Nm: wanted at launch, None for the plan's own."""

    hooks_m: float | None = None
    launch_torque_Nm: float | None = None
    name: str | None = None


@dataclass(frozen=True, slots=True)
class WalkInRow:
    """One mark of the walk-in: at so many turns stand at this distance and expect this torque."""

    turns: float
    crank_turns: float
    distance_m: float
    torque_Nm: float


@dataclass(frozen=True, slots=True)
class Plan:
    """The winding plan of a motor: see section "plan --json" of the command reference for each figure.

    stretched_turns: where the walk-in starts, at stretch_distance_m. walk_in: from there to the hooks.
    peak_torque_Nm: where to stop cranking, expected at target_turns. launch_turns: left on the motor
    after back_off_turns are taken off. break_risk: chance (0-1) to break on the way to the peak.
    rests_on: what the figures come from, one sentence. limits: what binds, one sentence each.
    """

    linear_density_kg_per_m: float
    breaking_turns: float
    breaking_turns_sd: float
    share: float
    target_turns: float
    target_crank_turns: float
    peak_torque_Nm: float
    stretch_distance_m: float
    stretched_turns: float
    stretched_torque_Nm: float
    stretched_pull_N: float
    walk_in: tuple[WalkInRow, ...]
    back_off_turns: float
    launch_torque_Nm: float
    launch_turns: float
    energy_stored_J: float
    break_risk: float
    rests_on: str
    limits: tuple[str, ...] = field(default=())
