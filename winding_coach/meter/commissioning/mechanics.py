"""Sizes and materials of a torque meter in; stiffness, strain, friction, frequency and cross-talk out. Pure, SI.

Handbook formulas for slender bars of round section and small deflections; the sources stand at each function, from
memory unless a test names one that was read. The meter of the build notes has not been built yet: calculated, not seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

STEEL_E_PA, STEEL_G_PA = 200e9, 79e9
ALUMINIUM_E_PA, ALUMINIUM_G_PA = 70e9, 26e9
MUSIC_WIRE_PA = 2.0e9
"""Tensile strength of music wire of 0.5 to 0.8 mm: the standards ask for 1.9 to 2.3 GPa; from memory, its low side."""
BALL_FRICTION, THRUST_FRICTION = 0.0015, 0.0015
"""Coefficients of deep-groove and thrust ball bearings at the bore's radius, M = μPd/2: a maker's catalogue gives
0.0010 to 0.0015 for both."""


def area_m2(diameter_m: float) -> float:
    """Return the section of a round bar."""
    return 0.25 * math.pi * diameter_m**2


def bending_inertia_m4(diameter_m: float) -> float:
    """Return the second moment of a round section, πd⁴/64 (Timoshenko, Strength of Materials I)."""
    return math.pi * diameter_m**4 / 64.0


def polar_inertia_m4(diameter_m: float) -> float:
    """Return the polar moment of a round section, πd⁴/32."""
    return math.pi * diameter_m**4 / 32.0


def cantilever_N_per_m(diameter_m: float, length_m: float, modulus_Pa: float = STEEL_E_PA) -> float:
    """Return the stiffness of a bar clamped at one end and pushed sideways at the other, 3EI/L³ (Roark)."""
    return 3.0 * modulus_Pa * bending_inertia_m4(diameter_m) / length_m**3


def guided_N_per_m(diameter_m: float, length_m: float, modulus_Pa: float = STEEL_E_PA) -> float:
    """Return the same with the other end held parallel, 12EI/L³: a joint wire clamped at both ends (Roark)."""
    return 12.0 * modulus_Pa * bending_inertia_m4(diameter_m) / length_m**3


def buckling_N(diameter_m: float, length_m: float, modulus_Pa: float = STEEL_E_PA) -> float:
    """Return the push at which a bar clamped at both ends buckles, 4π²EI/L² (Euler; Timoshenko & Gere)."""
    return 4.0 * math.pi**2 * modulus_Pa * bending_inertia_m4(diameter_m) / length_m**2


def torsion_Nm_per_rad(diameter_m: float, length_m: float, shear_Pa: float = STEEL_G_PA) -> float:
    """Return the stiffness of a round bar in twist, GJ/L (Saint-Venant; Roark)."""
    return shear_Pa * polar_inertia_m4(diameter_m) / length_m


def axial_N_per_m(diameter_m: float, length_m: float, modulus_Pa: float = STEEL_E_PA) -> float:
    """Return the stiffness of a bar in pull, EA/L."""
    return modulus_Pa * area_m2(diameter_m) / length_m


def twist_strain(torque_Nm: float, diameter_m: float, shear_Pa: float = ALUMINIUM_G_PA) -> float:
    """Return the strain at 45° on a twisted round rod, half the shear strain 16T/(πd³G): what a gauge there feels."""
    return 0.5 * 16.0 * torque_Nm / (math.pi * diameter_m**3) / shear_Pa


def bending_strain(moment_Nm: float, diameter_m: float, modulus_Pa: float = ALUMINIUM_E_PA) -> float:
    """Return the largest strain along a bent round rod, 32M/(πd³E)."""
    return 32.0 * moment_Nm / (math.pi * diameter_m**3) / modulus_Pa


def pull_torque_Nm(pull_N: float, offset_m: float, tilt_rad: float) -> float:
    """Return the torque about the axis of a pull that passes it at a distance and is tilted against it: F·e·sin α.

    Without tilt a pull is parallel to the axis and has no moment about it, however far off: only a bending moment.
    Without offset it meets the axis, and has none either.
    """
    return pull_N * offset_m * math.sin(tilt_rad)


def friction_Nm(load_N: float, radius_m: float, coefficient: float = BALL_FRICTION) -> float:
    """Return the torque that a bearing holds back, μFr, at the radius of its bore."""
    return coefficient * abs(load_N) * radius_m


def frequency_Hz(stiffness_Nm_per_rad: float, inertia_kg_m2: float) -> float:
    """Return the natural frequency of what turns on a spring, √(k/I)/2π."""
    return math.sqrt(stiffness_Nm_per_rad / inertia_kg_m2) / (2.0 * math.pi)


def bar_inertia_kg_m2(mass_kg: float, length_m: float) -> float:
    """Return the inertia of a slender bar about its middle, mL²/12."""
    return mass_kg * length_m**2 / 12.0


def overhang_N(side_N: float, overhang_m: float, span_m: float) -> tuple[float, float]:
    """Return what two bearings carry of a side force in front of the first: F(a+b)/b and Fa/b (statics)."""
    return side_N * (overhang_m + span_m) / span_m, side_N * overhang_m / span_m


def double_shear_Pa(force_N: float, diameter_m: float) -> float:
    """Return the shear stress in a cross pin, F/2A."""
    return force_N / (2.0 * area_m2(diameter_m))


def stop_gap_m(at_rating_m: float, arm_m: float, stop_m: float, share: float) -> float:
    """Return the gap at a stop that touches at a share of the rating: the arm turns, so it grows with the radius.

    at_rating_m: how far the cell gives at its rating, where the arm meets it.
    """
    return share * at_rating_m * stop_m / arm_m


def stop_share(at_rating_m: float, arm_m: float, stop_m: float, gap_m: float) -> float:
    """Return the share of the rating at which a stop of this gap touches."""
    return gap_m / (at_rating_m * stop_m / arm_m)


def level_error(tilt_rad: float) -> float:
    """Return the share by which an arm that is not level shortens: 1 − cos α."""
    return 1.0 - math.cos(tilt_rad)


@dataclass(frozen=True, slots=True)
class Cell:
    """A load cell with its converter. rating_kg, mV_per_V: its data sheet's; noise_V: of the converter, rms."""

    rating_kg: float
    mV_per_V: float = 1.0
    supply_V: float = 5.0
    gain: int = 128
    noise_V: float = 90e-9

    def rating_Nm(self, arm_m: float) -> float:
        """Return the torque that loads it fully on an arm."""
        return self.rating_kg * 9.80665 * arm_m

    def counts_per_Nm(self, arm_m: float) -> float:
        """Return counts of 24 bits for a newton metre."""
        return 2**23 * self.range_share / self.rating_Nm(arm_m)

    @property
    def range_share(self) -> float:
        """Share of the converter's range that the rating reaches; the supply cancels."""
        return self.mV_per_V * 1e-3 * self.gain / 0.5

    def noise_Nm(self, arm_m: float) -> float:
        """Return the converter's noise as torque, rms."""
        return self.noise_V / (0.5 * self.supply_V / self.gain) * 2**23 / self.counts_per_Nm(arm_m)


CELLS_KG = (0.1, 0.3, 0.5, 1.0)
ARMS_M = (0.010, 0.020, 0.030, 0.040)
RATING_OVER_PEAK = 2.0
"""A peak at half the rating leaves room for a slip, a wrong motor, and the stops at 1.25 times it; assumed."""


def cell_for(peak_Nm: float) -> tuple[Cell, float]:
    """Return the least cell and arm that take twice a motor's peak torque; the largest where none does."""
    pairs = sorted(((Cell(kg), arm) for kg in CELLS_KG for arm in ARMS_M), key=lambda pair: pair[0].rating_Nm(pair[1]))
    return next((pair for pair in pairs if pair[0].rating_Nm(pair[1]) >= RATING_OVER_PEAK * peak_Nm), pairs[-1])
