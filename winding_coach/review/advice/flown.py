"""Records of the shelf in, each wind with the flight that came of it as one `Flown` out: what advice rests on. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from winding_coach.rubber.figures import FiguresError, MotorFigures
from winding_coach.rubber.motor import geometry_of
from winding_coach.shelf.records import Flight, Model, Wind


@dataclass(frozen=True, slots=True)
class Flown:
    """One flight with its wind. SI, turns of the motor, None for not known.

    model_kg: without motor. spacer_kg: flown beside a part-motor, 0 with a motor that fills the model's hooks.
    hooks_m: between the motor's own hooks, the spacer taken off.
    """

    started: str
    motor: MotorFigures
    hooks_m: float
    model_kg: float | None = None
    ratio: float | None = None
    peak_turns: float | None = None
    peak_torque_Nm: float | None = None
    launch_turns: float | None = None
    launch_torque_Nm: float | None = None
    duration_s: float | None = None
    turns_left: float | None = None
    height_m: float | None = None
    ceiling: bool | None = None
    spacer_kg: float = 0.0
    ceiling_m: float | None = None

    @property
    def flying_kg(self) -> float:
        """Mass in the air: model, motor and spacer."""
        return (self.model_kg or 0.0) + self.motor.mass_kg + self.spacer_kg

    @property
    def density_kg_per_m(self) -> float:
        """Linear density of one strand."""
        motor = self.motor
        return (motor.mass_kg - motor.orings_kg) / (motor.strands * motor.loop_m)

    @property
    def left_share(self) -> float | None:
        """Turns left over turns at launch, 0-1."""
        if self.turns_left is None or not self.launch_turns:
            return None
        return min(max(self.turns_left / self.launch_turns, 0.0), 1.0)

    @property
    def backed_off_share(self) -> float | None:
        """Turns backed off over turns at the peak, 0-1."""
        if self.launch_turns is None or not self.peak_turns:
            return None
        return min(max(1.0 - self.launch_turns / self.peak_turns, 0.0), 1.0)


def flown_of(wind: Wind, flight: Flight | None, model: Model | None) -> Flown | None:
    """Return a wind with its flight, None where motor or hooks are not known or cannot be."""
    if wind.loop_m is None or wind.mass_kg is None:
        return None
    motor = MotorFigures(
        wind.loop_m, wind.mass_kg, wind.orings_kg or 0.0, wind.strands or 2, wind.use or 1, wind.share, wind.motor
    )
    hooks_m = wind.hooks_m if wind.hooks_m is not None else model.hooks_m if model is not None else None
    if hooks_m is not None and flight is not None and flight.spacer_m is not None:
        hooks_m -= flight.spacer_m
    try:
        geometry_of(motor)
    except FiguresError:
        return None
    if hooks_m is None or not 0.0 < hooks_m < 5.0 * motor.loop_m:
        return None
    peak = wind.peak_turns
    launch = wind.launch_turns
    if launch is None and peak is not None and wind.backed_off_turns is not None:
        launch = peak - wind.backed_off_turns
    # Without a counter the turns are those of the plan, if the motor was wound to its peak.
    if peak is None and wind.outcome == "done":
        peak = wind.target_turns
    return Flown(
        started=wind.started,
        motor=motor,
        hooks_m=hooks_m,
        model_kg=None if model is None else model.mass_kg,
        ratio=wind.ratio,
        peak_turns=peak,
        peak_torque_Nm=wind.peak_torque_Nm,
        launch_turns=launch,
        launch_torque_Nm=wind.launch_torque_Nm,
        duration_s=None if flight is None else flight.duration_s,
        turns_left=None if flight is None else flight.turns_left,
        height_m=None if flight is None else flight.height_m,
        ceiling=None if flight is None else flight.ceiling,
        spacer_kg=0.0 if flight is None else flight.spacer_kg or 0.0,
        ceiling_m=None if flight is None else flight.ceiling_m,
    )


def all_flown(winds: Iterable[Wind], flights: Mapping[str, Flight], models: Mapping[str, Model]) -> list[Flown]:
    """Return the winds that were flown and can be used, oldest first; spoilt flights are left out.

    flights: by wind; models: by name.
    """
    found = [
        flown_of(wind, flights[wind.id], models.get((wind.model or "").casefold()))
        for wind in sorted(winds, key=lambda one: one.started)
        if wind.id in flights and flights[wind.id].spoilt is None
    ]
    return [one for one in found if one is not None]
