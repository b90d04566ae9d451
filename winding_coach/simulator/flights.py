"""A model that is not there flies a wound motor: rotor, mass and hall in; duration, turns left and height out.

Blade-element momentum theory of a rotor in steady climb or slow sink, not the power laws that flights are fitted with.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from winding_coach.base.units import GRAVITY_M_PER_S2
from winding_coach.rubber.flight import LAUNCH_HEIGHT_M
from winding_coach.rubber.history import History, advance
from winding_coach.rubber.law import DEFAULT_RUBBER, Geometry, Rubber

AIR_KG_PER_M3 = 1.2
"""Air in a warm hall."""
STEP_S = 1.0
FINE_TURNS = 0.004
"""No step uses more than this share of the turns, so that the steep first part is followed."""
LONGEST_S = 1800.0
LEAST_UPWASH = 0.55
"""Inflow over that of hovering below which momentum theory ends (the vortex ring); a slower rotor sinks no better."""


def induced_m_per_s(weight_N: float, disc_m2: float, air_kg_per_m3: float = AIR_KG_PER_M3) -> float:
    """Return the speed of the air through a hovering rotor, √(T/2ρA): times the weight it is the least power.

    Momentum theory: Leishman, Principles of Helicopter Aerodynamics, ch. 2; Glauert, Airplane Propellers (1935).
    """
    return math.sqrt(weight_N / (2.0 * air_kg_per_m3 * disc_m2))


@dataclass(frozen=True, slots=True)
class SimulatedModel:
    """A model with one lifting rotor; the figures of each are invented.

    mass_kg: without motor. radius_m, solidity, pitch_rad (of the twisted blades, as flown), drag: of the rotor.
    blade_flex: the share of pitch that soft blades lose when the weight doubles. loses: the share of torque that the
    other rotor or the fixed part takes. hooks_m: between the hooks. ceiling_m: of the hall.
    """

    name: str = "Thistledown"
    mass_kg: float = 2.4e-3
    hooks_m: float = 0.22
    radius_m: float = 0.22
    solidity: float = 0.12
    pitch_rad: float = 0.42
    drag: float = 0.09
    blade_flex: float = 0.3
    loses: float = 0.1
    ceiling_m: float = 8.0

    def steady(self, torque_Nm: float, mass_kg: float) -> tuple[float, float]:
        """Return turns per second and climb (m/s, negative sinks) at a torque and a flying mass.

        Thrust is the weight: with C_T = σa/2·(θ/3 − λ/2) and C_Q = λ·C_T + σ·C_d/8 (Leishman, Principles of Helicopter
        Aerodynamics, ch. 3, uniform inflow, from memory) torque over weight gives the inflow, thrust the rate, and
        momentum theory in climb (ch. 2) the climb.
        """
        weight = GRAVITY_M_PER_S2 * mass_kg
        wanted = max(torque_Nm, 0.0) * (1.0 - self.loses) / (weight * self.radius_m)
        pitch = self.pitch_rad * (mass_kg / self.mass_kg / 1.6) ** -self.blade_flex
        thrust_slope = self.solidity * 5.7 / 4.0
        profile = self.solidity * self.drag / 8.0
        limit = 2.0 * pitch / 3.0
        # λ + profile/C_T(λ) = wanted, C_T = slope·(limit − λ): a quadratic in λ, its lower root.
        b, c = wanted + limit, wanted * limit - profile / thrust_slope
        inflow = 0.5 * (b - math.sqrt(max(b * b - 4.0 * c, 0.0)))
        inflow = min(max(inflow, 1e-4), 0.97 * limit)
        disc = math.pi * self.radius_m**2
        thrust = thrust_slope * (limit - inflow)
        tip = math.sqrt(weight / (AIR_KG_PER_M3 * disc * thrust))
        induced = induced_m_per_s(weight, disc)
        through = max(inflow * tip, LEAST_UPWASH * induced)
        climb = through - induced * induced / through
        return tip / (2.0 * math.pi * self.radius_m), climb

    def hold_torque_Nm(self, mass_kg: float) -> float:
        """Return the torque at which it holds height."""
        low, high = 0.0, 1.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            if self.steady(middle, mass_kg)[1] < 0.0:
                low = middle
            else:
                high = middle
        return high


@dataclass(frozen=True, slots=True)
class Flown:
    """What a flight came to. turns_left: on the motor at landing. height_m: the highest. energy_J: given by the motor.
    end: the motor at landing."""

    duration_s: float
    turns_left: float
    height_m: float
    ceiling: bool
    energy_J: float
    end: History


def fly(
    model: SimulatedModel,
    motor: Geometry,
    launch: History,
    motor_kg: float,
    rubber: Rubber = DEFAULT_RUBBER,
    torque_scale: float = 1.0,
) -> Flown:
    """Return the flight of a motor as it was launched: at its launch turns, at the hooks, with all that it remembers.

    motor_kg: O-rings included. It ends on the floor; a motor that has run out lets the model sink.
    """
    mass = model.mass_kg + motor_kg
    now, at_s, height, top, energy = launch, 0.0, LAUNCH_HEIGHT_M, LAUNCH_HEIGHT_M, 0.0
    whole = launch.turns
    touched = False
    while True:
        rate, climb = model.steady(torque_scale * now.torque_Nm, mass)
        dt = STEP_S if now.turns <= 0.0 else min(STEP_S, FINE_TURNS * whole / rate)
        if climb < 0.0:
            dt = min(dt, max(-height / climb, 1e-6))
        turns = max(0.0, now.turns - rate * dt)
        after = advance(motor, now, model.hooks_m, turns, dt, rubber)
        energy += math.pi * (now.turns - turns) * (now.torque_Nm + after.torque_Nm) * torque_scale
        now = after
        at_s += dt
        height += climb * dt
        if height >= model.ceiling_m:
            height, touched = model.ceiling_m, True
        top = max(top, height)
        if height < 1e-9 or at_s >= LONGEST_S:
            break
    return Flown(at_s, now.turns, top, touched, energy, replace(now))
