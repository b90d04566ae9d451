"""A wound motor in flight: how it unwinds, and what a model makes of it. Motors and flight laws in, flights out. Pure.

Steady flight, one force balance a moment: the model holds its height at one torque, climbs above it, sinks below it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from winding_coach.base.units import GRAVITY_M_PER_S2
from winding_coach.rubber.course import back_off_from, wind_along
from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber, geometry
from winding_coach.rubber.motor import before_the_wind, breaking_turns, geometry_of
from winding_coach.rubber.plan import planned_course
from winding_coach.rubber.table import Table, table

Floats = npt.NDArray[np.float64]

LAUNCH_HEIGHT_M = 1.5
"""Where hands let go; assumed."""
MARKS = 64
"""Steps of the unwinding from launch to nothing, finer at first where torque falls steeply."""
_UNIT_LOOP_M, _UNIT_DENSITY = 0.30, 2.2e-3


@dataclass(frozen=True, slots=True)
class FlightLaw:
    """How a model flies: what its flights are fitted with.

    hold_torque_Nm: holds height at a flying mass of at_mass_kg (motor included). turns_per_s: used there. At another
    mass the torque goes with mass^mass_exponent and the rate with mass^½; at another torque the rate goes with
    torque^rate_exponent. climb_share: of the power beyond holding height, what lifts the model.

    Momentum theory of a rotor or propeller at given blade angles makes mass_exponent 1 (thrust and torque both go with
    the square of the rate), so that power goes with mass^1.5: Glauert, The Elements of Aerofoil and Airscrew Theory
    (1926); Leishman, Principles of Helicopter Aerodynamics, ch. 2 (from memory).
    """

    hold_torque_Nm: float
    at_mass_kg: float
    turns_per_s: float
    mass_exponent: float = 1.0
    rate_exponent: float = 0.5
    climb_share: float = 0.5

    def hold_torque_at(self, mass_kg: float) -> float:
        """Return the torque that holds height at a flying mass."""
        return self.hold_torque_Nm * float((mass_kg / self.at_mass_kg) ** self.mass_exponent)

    def turns_per_s_at(self, torque_Nm: float, mass_kg: float) -> float:
        """Return the turns used per second at a torque and a flying mass."""
        hold = self.hold_torque_at(mass_kg)
        return self.turns_per_s * math.sqrt(mass_kg / self.at_mass_kg) * float((torque_Nm / hold) ** self.rate_exponent)

    def as_row(self) -> tuple[float, ...]:
        """Return the figures in the order that `fly` takes them, without the mass they hold at."""
        return (self.hold_torque_Nm, self.turns_per_s, self.mass_exponent, self.rate_exponent, self.climb_share)


@dataclass(frozen=True, slots=True)
class Launch:
    """A motor as it leaves the hand. torque: against turns, unwinding. peak_turns: where it was backed off from."""

    torque: Table
    peak_turns: float
    turns: float
    torque_Nm: float


def unwinding_of(
    motor: MotorFigures, hooks_m: float, peak_turns: float, rubber: Rubber = DEFAULT_RUBBER
) -> tuple[Table, float]:
    """Return torque against turns as the motor unwinds from a peak at the hooks, and its breaking turns.

    It is drawn for one motor of each shape and scaled: torque with mass per length^1.5, turns with loop over its root.

    Raises:
        FiguresError: figures that no motor can have.
    """
    body = geometry_of(motor, rubber)
    per_metre = body.linear_density_kg_per_m * body.strands / (2.0 * _UNIT_DENSITY)
    scale = motor.loop_m / _UNIT_LOOP_M / math.sqrt(per_metre)
    slack = round(hooks_m / motor.loop_m, 2)
    unit_breaks = _unit_breaks(slack, rubber)
    breaks = unit_breaks * scale
    share = min(max(peak_turns / breaks, 0.2), 1.05)
    unit_turns, unit_torque = _unit_unwinding(slack, round(share, 2), min(motor.use, 3), rubber)
    stretch = peak_turns / unit_turns[-1]
    stiff = per_metre**1.5
    # The small rest between the rounded share and the true one is stretched over, torque by its slope there (about 2).
    stiff *= (share / round(share, 2)) ** 2.0
    return table([n * stretch for n in unit_turns], [m * stiff for m in unit_torque]), breaks


@lru_cache(maxsize=256)
def _unit_breaks(slack: float, rubber: Rubber) -> float:
    return breaking_turns(geometry(_UNIT_LOOP_M, _UNIT_DENSITY, 2, rubber), slack * _UNIT_LOOP_M, rubber)


@lru_cache(maxsize=512)
def _unit_unwinding(
    slack: float, share: float, use: int, rubber: Rubber
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return turns, rising, and the torque at each while one motor unwinds."""
    body = geometry(_UNIT_LOOP_M, _UNIT_DENSITY, 2, rubber)
    hooks_m = slack * _UNIT_LOOP_M
    course = planned_course(body, hooks_m, share * _unit_breaks(slack, rubber), 10.0)
    up = wind_along(course, before_the_wind(body, use, hooks_m, rubber), course.target_turns, rubber)
    down = back_off_from(course, up[-1], rubber)[::-1]
    return tuple(mark.turns for mark in down), tuple(mark.torque_Nm for mark in down)


def launch_at(unwinding: Table, torque_Nm: float, scale: float = 1.0) -> Launch:
    """Return the motor backed off from its peak to a torque (the peak itself if it has less).

    scale: of this motor's torque over the law's.
    """
    scaled = Table(unwinding.marks, tuple(scale * m for m in unwinding.values)) if scale != 1.0 else unwinding
    peak = scaled.marks[-1]
    turns = peak
    if scaled.values[-1] > torque_Nm:
        # On the way down torque falls, so that the last mark at or below it is next to the launch.
        i = max(j for j, m in enumerate(scaled.values) if m <= torque_Nm)
        low, high = scaled.values[i], scaled.values[i + 1]
        turns = scaled.marks[i] + (scaled.marks[i + 1] - scaled.marks[i]) * (torque_Nm - low) / (high - low)
    return Launch(scaled, peak, turns, scaled.at(turns))


@dataclass(frozen=True, slots=True)
class Flights:
    """What comes of launches (rows) flown by laws (columns): one figure each."""

    duration_s: Floats
    turns_left: Floats
    height_m: Floats


def fly(
    launches: Sequence[Launch], masses_kg: Sequence[float], laws: Floats, at_mass_kg: float, ceiling_m: float = math.inf
) -> Flights:
    """Return each launch flown by each law: up from the hand, along the ceiling if it is met, down to the floor.

    masses_kg: flying mass of each. laws: rows as `FlightLaw.as_row` gives them, all at the same at_mass_kg.
    A motor that has run out lets the model sink with what height it has.
    """
    # Finer near the launch, where torque falls steeply.
    steps = np.linspace(0.0, 1.0, MARKS + 1) ** 1.6
    turns = np.array([one.turns for one in launches])[:, None] * (1.0 - steps)
    torque = np.array(
        [np.interp(row, one.torque.marks, one.torque.values) for one, row in zip(launches, turns, strict=True)]
    )
    ratio = np.asarray(masses_kg)[:, None] / at_mass_kg
    weight = GRAVITY_M_PER_S2 * np.asarray(masses_kg)[:, None]
    hold0, rate0, mass_exponent, rate_exponent, climb = (column[None, :] for column in laws.T)
    hold = hold0 * ratio**mass_exponent
    rate_at_hold = rate0 * np.sqrt(ratio)
    power_share = 2.0 * np.pi * climb / weight
    holding_W = hold * rate_at_hold
    shape = np.broadcast_shapes(ratio.shape, hold0.shape)
    height = np.full(shape, LAUNCH_HEIGHT_M)
    top = height.copy()
    time = np.zeros(shape)
    left = np.broadcast_to(turns[:, -1:], shape).copy()
    up = np.ones(shape, dtype=bool)
    for i in range(MARKS):
        used = turns[:, i : i + 1] - turns[:, i + 1 : i + 2]
        middle = np.maximum(0.5 * (torque[:, i : i + 1] + torque[:, i + 1 : i + 2]), 1e-9)
        rate = rate_at_hold * (middle / hold) ** rate_exponent
        dt = used / rate
        rise = power_share * (middle * rate - holding_W) * dt
        # The share of this step after which the floor is met, if it is.
        share = np.where(height + rise < 0.0, height / np.maximum(-rise, 1e-12), 1.0)
        lands = up & (share < 1.0)
        time += np.where(up, dt * share, 0.0)
        left = np.where(lands, turns[:, i : i + 1] - share * used, left)
        height = np.where(up, np.minimum(height + rise, ceiling_m), height)
        top = np.maximum(top, height)
        up &= ~lands
    time += np.where(up, height / (power_share * holding_W), 0.0)
    return Flights(time, left, top)
