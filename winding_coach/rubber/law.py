"""The law of the rubber: figures of a motor's strands in, strand stretch, torque, pull and energy out.

No history here: `rubber.history` corrects the stress for it. Everything is SI, turns are turns of the motor,
functions take one number at a time and are closed forms.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Rubber:
    """What a rubber is like. Each default carries its status: published, fitted, weak, from memory, assumed.

    Material law: Gent (1996) with a second-invariant term (Pucci & Saccomandi 2002).
    """

    density_kg_per_m3: float = 930.0
    """Published: natural rubber 910-950."""
    shear_modulus_Pa: float = 0.388e6
    """Gent's μ; fitted to common practice."""
    invariant_limit: float = 129.0
    """Gent's Jm, where the chains are stretched out; fitted to common practice."""
    second_term_Pa: float = 0.28e6
    """C2; fitted to Treloar 1944."""
    packing: float = 0.706
    """Radius of the twisted rope over that of a round bar of the same section; two round strands give 1/√2."""
    break_stretch: float = 9.61
    """Strand stretch at which half of the motors have broken; common practice, no source."""
    break_shape: float = 45.0
    """Weibull shape of the strand stretch at break; assumed."""
    hysteresis_share: float = 0.453
    """Share of the stress that is lost in unloading; fitted, from the back-off."""
    hysteresis_stretch: float = 0.114
    """Strand stretch over which it is lost, for a stop element of width 1; fitted, from the back-off."""
    hysteresis_from: float = 1.5
    """Strand stretch at which unloading begins to lose stress; assumed, published crystals begin later (4.5-5.2)."""
    hysteresis_full: float = 4.5
    """Strand stretch from which it loses the whole share; assumed."""
    rope_friction: float = 0.086
    """Share of torque added by the rope's friction on itself when fully knotted; weak."""
    friction_turns: float = 16.0
    """Turns over which that friction reverses; assumed."""
    relaxation_per_decade: float = 0.031
    """Share of stress lost per decade of time; from memory, 2-3 % for unfilled natural rubber."""
    softening_ratio: float = 10.0
    """r of Ogden & Roxburgh (1999); assumed."""
    softening_energy_Pa: float = 1e6
    """m of Ogden & Roxburgh; assumed."""
    softening_growth: float = 0.15
    """β of Ogden & Roxburgh; assumed."""
    knot_slope: float = 1.2
    """Slope of the strands at which the rope begins to knot; assumed."""
    loose_by_slack: float = 0.05
    """Disorder of the knots gained per unit of strand stretch let go while they form; assumed."""
    loose_by_knotting: float = 0.10
    """Disorder gained while the first row forms close in; assumed."""
    set_limit: float = 0.05
    """Permanent set after many winds to a strand stretch of 9; assumed."""
    set_rate: float = 0.70
    """Share of the way to it that one wind goes; assumed."""

    def stress_Pa(self, stretch: float) -> float:
        """Return nominal stress P at a strand stretch; 0 when slack, infinite where the chains are stretched out."""
        if stretch <= 1.0:
            return 0.0
        inverse_square = 1.0 / (stretch * stretch)
        left = self.invariant_limit - (stretch * stretch + 2.0 / stretch - 3.0)
        if left <= 0.0:
            return math.inf
        first = self.shear_modulus_Pa * self.invariant_limit / left * (stretch - inverse_square)
        second = 2.0 * self.second_term_Pa * (1.0 - inverse_square / stretch) / (2.0 * stretch + inverse_square)
        return first + second

    def energy_Pa(self, stretch: float) -> float:
        """Return strain energy W per volume of rubber (J/m³); its derivative by stretch is `stress_Pa`."""
        if stretch <= 1.0:
            return 0.0
        used = (stretch * stretch + 2.0 / stretch - 3.0) / self.invariant_limit
        if used >= 1.0:
            return math.inf
        first = -0.5 * self.shear_modulus_Pa * self.invariant_limit * math.log1p(-used)
        return first + self.second_term_Pa * math.log((2.0 * stretch + 1.0 / (stretch * stretch)) / 3.0)

    def break_risk(self, stretch: float) -> float:
        """Return the chance (0-1) that a motor breaks at or below a strand stretch (disorder of the knots included)."""
        if stretch <= 0.0:
            return 0.0
        # Capped where the exponential has long vanished: a power of 45 must not overflow.
        return -math.expm1(-math.log(2.0) * min(stretch / self.break_stretch, 2.0) ** self.break_shape)

    def stretch_at_risk(self, risk: float) -> float:
        """Return the strand stretch that breaks this share (0-1) of the motors: `break_risk` the other way round."""
        level = -math.log1p(-min(risk, 1.0 - 1e-12)) / math.log(2.0)
        return float(self.break_stretch * level ** (1.0 / self.break_shape))


DEFAULT_RUBBER = Rubber()
"""Rubber strip for motors, fitted to common practice of the trade (no source)."""

TRELOAR_RUBBER = Rubber(shear_modulus_Pa=0.240e6, invariant_limit=78.45, second_term_Pa=0.280e6)
"""The law fitted to the rubber of Treloar, Trans. Faraday Soc. 40 (1944) 59, uniaxial. Not a motor's rubber."""


@dataclass(frozen=True, slots=True)
class Geometry:
    """A motor as strands of rubber side by side.

    turns_scale: n1, so that turns/n1 and distance/loop are free of size. radius_m: of the rope's helix at stretch 1.
    """

    loop_m: float
    linear_density_kg_per_m: float
    strands: int
    area_m2: float
    volume_m3: float
    radius_m: float
    turns_scale: float

    def strand_stretch(self, distance_m: float, turns: float) -> float:
        """Return the strand stretch at a hook distance and so many turns."""
        return strand_stretch(distance_m / self.loop_m, turns / self.turns_scale)

    def distance_m(self, stretch: float, turns: float) -> float:
        """Return the hook distance that gives a strand stretch (ellipse of equal stretch); 0 beyond its end."""
        return self.loop_m * math.sqrt(max(0.0, stretch * stretch - (turns / self.turns_scale) ** 2 / stretch))

    def turns(self, stretch: float, distance_m: float) -> float:
        """Return the turns that give a strand stretch at a hook distance; 0 where distance alone exceeds it."""
        return self.turns_scale * math.sqrt(stretch * max(0.0, stretch * stretch - (distance_m / self.loop_m) ** 2))

    def torque_Nm(self, distance_m: float, turns: float, stress_Pa: float) -> float:
        """Return the torque that a stress in the strands gives: ∂U/∂θ when the stress is the law's own."""
        x, tau = distance_m / self.loop_m, turns / self.turns_scale
        if tau == 0.0:
            return 0.0
        stretch = strand_stretch(x, tau)
        return self.volume_m3 * stress_Pa * 2.0 * tau / (3.0 * stretch * stretch - x * x) * self.radius_m / self.loop_m

    def pull_N(self, distance_m: float, turns: float, stress_Pa: float) -> float:
        """Return the pull along the motor that a stress in the strands gives: ∂U/∂L when it is the law's own."""
        x = distance_m / self.loop_m
        if x == 0.0:
            return 0.0
        stretch = strand_stretch(x, turns / self.turns_scale)
        return self.volume_m3 * stress_Pa * 2.0 * x * stretch / (3.0 * stretch * stretch - x * x) / self.loop_m


def geometry(
    loop_m: float, linear_density_kg_per_m: float, strands: int = 2, rubber: Rubber = DEFAULT_RUBBER
) -> Geometry:
    """Return the geometry of a motor from its relaxed loop length, the linear density of one strand and the strands."""
    area = linear_density_kg_per_m / rubber.density_kg_per_m3
    radius = rubber.packing * math.sqrt(strands * area / math.pi)
    return Geometry(
        loop_m=loop_m,
        linear_density_kg_per_m=linear_density_kg_per_m,
        strands=strands,
        area_m2=area,
        volume_m3=strands * area * loop_m,
        radius_m=radius,
        turns_scale=loop_m / (2.0 * math.pi * radius),
    )


def strand_stretch(distance_ratio: float, twist_ratio: float) -> float:
    """Return the strand stretch λ, positive root of λ³ − x²λ − τ² = 0.

    distance_ratio: x, hook distance over loop length, ≥ 0. twist_ratio: τ, turns over the turns scale, any sign.
    """
    x, square = distance_ratio, twist_ratio * twist_ratio
    discriminant = square * square / 4.0 - x**6 / 27.0
    if discriminant >= 0.0:
        if square == 0.0:
            return x  # nothing to divide by: no distance and no turns
        u = math.cbrt(square / 2.0 + math.sqrt(discriminant))
        return u + x * x / (3.0 * u)
    return 2.0 * x / math.sqrt(3.0) * math.cos(math.acos(min(1.0, 1.5 * math.sqrt(3.0) * square / x**3)) / 3.0)


def torque_Nm(motor: Geometry, distance_m: float, turns: float, rubber: Rubber = DEFAULT_RUBBER) -> float:
    """Return the torque without history, ∂U/∂θ."""
    return motor.torque_Nm(distance_m, turns, rubber.stress_Pa(motor.strand_stretch(distance_m, turns)))


def pull_N(motor: Geometry, distance_m: float, turns: float, rubber: Rubber = DEFAULT_RUBBER) -> float:
    """Return the pull without history, ∂U/∂L."""
    return motor.pull_N(distance_m, turns, rubber.stress_Pa(motor.strand_stretch(distance_m, turns)))


def energy_J(motor: Geometry, distance_m: float, turns: float, rubber: Rubber = DEFAULT_RUBBER) -> float:
    """Return the strain energy U held in the motor, without history."""
    return motor.volume_m3 * rubber.energy_Pa(motor.strand_stretch(distance_m, turns))
