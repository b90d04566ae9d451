"""A simulated person who winds motors and flies a simulated model, for the advice: sizes in, logged winds out.

The truth is `simulator.flights` (a rotor by blade-element momentum theory), flown with the rubber's whole history; what
is logged of it is measured as people measure. All figures are invented.
"""

from __future__ import annotations

import math
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from winding_coach.rubber.course import back_off_from, wind_along
from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.history import History
from winding_coach.rubber.law import Geometry
from winding_coach.rubber.motor import before_the_wind, breaking_turns, geometry_of
from winding_coach.rubber.plan import planned_course
from winding_coach.shelf.records import Flight, Model, Wind
from winding_coach.simulator.flights import SimulatedModel, fly

ORINGS_KG = 0.08e-3
SHARE, USE, RATIO = 0.85, 2, 15.0
START = datetime.fromisoformat("2026-03-07T10:00:00+00:00")


@dataclass(frozen=True)
class Size:
    """What is chosen: loop, linear density of one strand, launch torque."""

    loop_m: float
    density_kg_per_m: float
    launch_Nm: float

    def times(self, loop: float = 1.0, density: float = 1.0, launch: float = 1.0) -> Size:
        return Size(self.loop_m * loop, self.density_kg_per_m * density, self.launch_Nm * launch)

    @property
    def motor(self) -> MotorFigures:
        mass = 2.0 * self.loop_m * self.density_kg_per_m + ORINGS_KG
        return MotorFigures(self.loop_m, mass, ORINGS_KG, use=USE, share=SHARE)


@dataclass(frozen=True)
class Wound:
    """A motor at its peak and along its back-off."""

    size: Size
    body: Geometry
    breaks: float
    off: list[History]

    def launch(self, stiffness: float, torque_Nm: float) -> History:
        return next((mark for mark in self.off if stiffness * mark.torque_Nm <= torque_Nm), self.off[-1])


def wound(model: SimulatedModel, size: Size) -> Wound:
    """Wind a motor of this size to its share."""
    body = geometry_of(size.motor)
    breaks = breaking_turns(body, model.hooks_m)
    course = planned_course(body, model.hooks_m, SHARE * breaks, RATIO)
    up = wind_along(course, before_the_wind(body, USE, model.hooks_m), course.target_turns)
    return Wound(size, body, breaks, back_off_from(course, up[-1]))


def true_duration(model: SimulatedModel, size: Size, stiffness: float = 1.0) -> float:
    """What a flight lasts without luck."""
    motor = wound(model, size)
    launch = motor.launch(stiffness, size.launch_Nm)
    return fly(model, motor.body, launch, size.motor.mass_kg, torque_scale=stiffness).duration_s


def random_model(rng: np.random.Generator) -> SimulatedModel:
    """A model that nobody knows yet."""
    return SimulatedModel(
        "Lantern",
        mass_kg=float(rng.uniform(1.2e-3, 4e-3)),
        hooks_m=float(rng.uniform(0.16, 0.30)),
        radius_m=float(rng.uniform(0.12, 0.22)),
        solidity=float(rng.uniform(0.08, 0.16)),
        pitch_rad=float(rng.uniform(0.35, 0.50)),
        drag=float(rng.uniform(0.05, 0.12)),
        blade_flex=float(rng.uniform(0.0, 0.5)),
        loses=float(rng.uniform(0.0, 0.2)),
        ceiling_m=float(rng.uniform(6.0, 14.0)),
    )


def best_size(model: SimulatedModel, stiffness: float = 1.0) -> tuple[Size, float]:
    """Return the best motor and launch by brute force: a grid, then smaller and smaller steps from its best."""
    hold = model.hold_torque_Nm(1.8 * model.mass_kg)
    suits = 2.2e-3 * (hold / 1.3e-3) ** (2.0 / 3.0)
    best, longest = Size(model.hooks_m, suits, 2.0 * hold), 0.0
    for loop in (1.0, 1.25, 1.55, 1.9, 2.3, 2.8, 3.4):
        for density in (0.6, 0.75, 0.9, 1.05, 1.25, 1.5):
            size = Size(loop * model.hooks_m, density * suits, 0.0)
            motor = wound(model, size)
            for launch in (1.3, 1.8, 2.4, 3.2):
                at = motor.launch(stiffness, launch * hold)
                lasts = fly(model, motor.body, at, size.motor.mass_kg, torque_scale=stiffness).duration_s
                if lasts > longest:
                    best, longest = Size(size.loop_m, size.density_kg_per_m, launch * hold), lasts
    step = 0.12
    ways = ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1), (1, 0.5, 0), (-1, -0.5, 0))
    while step > 0.01:
        moved = False
        for loop_way, density_way, launch_way in ways:
            tried = best.times(1.0 + step * loop_way, 1.0 + step * density_way, 1.0 + step * launch_way)
            lasts = true_duration(model, tried, stiffness)
            if lasts > 1.0005 * longest:
                best, longest, moved = tried, lasts, True
        step = step if moved else step / 2.0
    return best, longest


class Flyer:
    """Winds, flies and logs. luck: spread of durations (relative). Winds and flights pile up as on a shelf."""

    def __init__(
        self, model: SimulatedModel, rng: np.random.Generator, *, stiffness: float = 1.0, luck: float = 0.03
    ) -> None:
        self.model, self.rng, self.stiffness, self.luck = model, rng, stiffness, luck
        self.shelf_model = Model(model.name, model.hooks_m, model.mass_kg)
        self.winds: list[Wind] = []
        self.flights: dict[str, Flight] = {}
        self.sizes: list[Size] = []

    def _about(self, value: float, sd: float) -> float:
        return value * (1.0 + sd * float(self.rng.standard_normal()))

    def fly(self, size: Size, *, logs_left: bool = True) -> tuple[Wind, Flight]:
        """Wind a motor of this size, fly and log it."""
        rng, model, stiffness = self.rng, self.model, self.stiffness
        motor = wound(model, size)
        launch = motor.launch(stiffness, size.launch_Nm)
        flown = fly(model, motor.body, launch, size.motor.mass_kg, torque_scale=stiffness)
        at = START + timedelta(hours=len(self.winds))
        peak = motor.off[0]
        wind = Wind(
            id=str(uuid.uuid4()),
            started=at.isoformat(),
            trace="",
            outcome="done",
            person="Wren",
            motor="th-07",
            batch="amber",
            model=model.name,
            use=USE,
            share=SHARE,
            loop_m=self._about(size.loop_m, 0.004),
            mass_kg=self._about(size.motor.mass_kg, 0.003),
            orings_kg=ORINGS_KG,
            strands=2,
            breaking_turns=motor.breaks,
            target_turns=peak.turns,
            peak_torque_Nm=self._about(stiffness * peak.torque_Nm, 0.02),
            peak_turns=round(peak.turns / RATIO) * RATIO,
            launch_torque_Nm=self._about(stiffness * launch.torque_Nm, 0.02),
            launch_turns=round(launch.turns / RATIO) * RATIO,
            ratio=RATIO,
            hooks_m=model.hooks_m,
        )
        lasted = flown.duration_s * math.exp(self.luck * float(rng.standard_normal()))
        left = max(0.0, flown.turns_left + 8.0 * float(rng.standard_normal()))
        height = self._about(flown.height_m, 0.1) if rng.random() < 0.5 else None
        flight = Flight(
            id=str(uuid.uuid4()),
            wind=wind.id,
            flown=wind.started,
            duration_s=round(lasted),
            turns_left=min(left, wind.launch_turns or 0.0) if logs_left else None,
            height_m=height,
            ceiling=flown.ceiling,
        )
        self.winds.append(wind)
        self.flights[wind.id] = flight
        self.sizes.append(size)
        return wind, flight
