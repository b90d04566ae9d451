"""What others measured on rubber and on twisted strands, and what the law gives for the same. Each beside its source.

Used by the tests of this folder and by `docs/made_by/fidelity.py`, so that page and tests show the same values.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

from winding_coach.base.units import INCH_M
from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.flight import unwinding_of
from winding_coach.rubber.history import advance, permanent_set, relaxed
from winding_coach.rubber.law import DEFAULT_RUBBER, TRELOAR_RUBBER, Geometry, Rubber, geometry
from winding_coach.rubber.motor import breaking_turns
from winding_coach.rubber.published import PUBLISHED_MARKS as PUBLISHED_MARKS

DATA = Path(__file__).parent / "data"
FT_LBF_J, LB_KG, LBF_N = 1.3558179483314004, 0.45359237, 4.4482216152605
"""Exact by definition of inch, pound and standard gravity (NIST SP 811)."""

Rows = tuple[tuple[float, float], ...]
ACROSS: dict[str, Callable[[float], float]] = {
    "uniaxial": lambda stretch: stretch**-0.5,
    "pure shear": lambda stretch: 1.0,
    "equibiaxial": lambda stretch: stretch,
}
"""Stretch across, for a stretch along."""


# -- the material, in two directions


@lru_cache(maxsize=8)
def measured(file: str, kind: str) -> Rows:
    """Return stretch and nominal stress (Pa) of one kind of test."""
    with (DATA / file).open(encoding="utf-8") as opened:
        rows = csv.DictReader(line for line in opened if not line.startswith("#"))
        return tuple((float(row["stretch"]), 1e6 * float(row["P_MPa"])) for row in rows if row["kind"] == kind)


def stress_along_Pa(rubber: Rubber, along: float, across: float) -> float:
    """Return the nominal stress along, by the law's energy in both invariants; no stress in the third way."""
    third = 1.0 / (along * across)
    first = along**2 + across**2 + third**2 - 3.0
    second = along**-2 + across**-2 + third**-2
    by_first = 0.5 * rubber.shear_modulus_Pa * rubber.invariant_limit / (rubber.invariant_limit - first)
    by_second = rubber.second_term_Pa / second
    return 2.0 * (along - third**2 / along) * (by_first + across**2 * by_second)


def misfit(rubber: Rubber, file: str, kind: str) -> tuple[float, float]:
    """Return root mean square and largest relative misfit of a law against one kind of test."""
    off = [stress_along_Pa(rubber, s, ACROSS[kind](s)) / p - 1.0 for s, p in measured(file, kind)]
    return math.sqrt(sum(o * o for o in off) / len(off)), max(map(abs, off))


def fitted_uniaxial(file: str, *, second_term: bool = True) -> Rubber:
    """Return the law fitted to the uniaxial test alone, relative least squares (it is linear in both moduli)."""
    one = replace(TRELOAR_RUBBER, shear_modulus_Pa=1.0, second_term_Pa=0.0)
    two = replace(TRELOAR_RUBBER, shear_modulus_Pa=0.0, second_term_Pa=1.0)
    rows = [
        (stress_along_Pa(one, s, s**-0.5) / p, stress_along_Pa(two, s, s**-0.5) / p if second_term else 0.0)
        for s, p in measured(file, "uniaxial")
    ]
    aa, ab, bb = (sum(r[i] * r[j] for r in rows) for i, j in ((0, 0), (0, 1), (1, 1)))
    a, b = sum(r[0] for r in rows), sum(r[1] for r in rows)
    if not second_term:
        return replace(one, shear_modulus_Pa=a / aa)
    det = aa * bb - ab * ab
    return replace(one, shear_modulus_Pa=(a * bb - b * ab) / det, second_term_Pa=(b * aa - a * ab) / det)


# -- work of a twisted strip, 1889


LANGLEY_FT_LBF = {50: 37.5, 75: 63.0, 100: 124.6}
"""Work given back after so many twists: Langley & Manly, Smithsonian Contributions to Knowledge 27 no. 3 (1911) 22.

A strip 1.3 in wide, 0.12 in thick, 3 ft long, doubled, of 0.38 lb; it ran down in 7, 10 and 12 s.
"""
LANGLEY_RUN_S = {50: 7.0, 75: 10.0, 100: 12.0}
LANGLEY_MOTOR = geometry(36 * INCH_M, 0.38 * LB_KG / (2 * 36 * INCH_M), 2)
"""Read as 3 ft long when doubled: the other reading gives a rubber twice as dense as any (`langley_density`)."""


def langley_density(loop_in: float) -> float:
    """Return the density of the rubber, kg/m³, if the doubled strip is so many inches long."""
    return 0.38 * LB_KG / (2.0 * loop_in * INCH_M * 1.3 * 0.12 * INCH_M**2)


def langley_work_ft_lbf(twists: int, hooks_share: float = 1.0, *, new: bool = False) -> float:
    """Return the work that the law gives back, unwound evenly at the hooks in the time that was measured."""
    hooks_m = hooks_share * LANGLEY_MOTOR.loop_m
    now = relaxed(LANGLEY_MOTOR, 0.0 if new else math.inf)
    for i in range(1, 101):
        now = advance(LANGLEY_MOTOR, now, hooks_m, twists * i / 100, 0.3)
    seen = [(now.turns, now.torque_Nm)]
    for i in range(1, 201):
        now = advance(LANGLEY_MOTOR, now, hooks_m, twists * (1 - i / 200), LANGLEY_RUN_S[twists] / 200)
        seen.append((now.turns, now.torque_Nm))
    return 2 * math.pi * sum(0.5 * (a[1] + b[1]) * (a[0] - b[0]) for a, b in pairwise(seen)) / FT_LBF_J


# -- breaking turns


MARK_100_110 = (100.0, 110.0)
"""Turns an inch that are a good mark for breaking: mailing list Indoor_Construction, 2011; the strip is not said."""


def law_mark(motor: Geometry, hooks_m: float, rubber: Rubber = DEFAULT_RUBBER) -> float:
    """Return breaking turns per length of loop times the root of the section."""
    return breaking_turns(motor, hooks_m, rubber) / motor.loop_m * math.sqrt(motor.strands * motor.area_m2)


def most_writhe(motor: Geometry, stretch: float = 10.0) -> float:
    """Return the turns that tightly packed coils hold: x L/√(π n w t), R. Morris, Free Flight Quarterly, April 2011."""
    return stretch * motor.loop_m / math.sqrt(math.pi * motor.strands * motor.area_m2)


# -- pulled, not twisted


@dataclass(frozen=True, slots=True)
class Pull:
    """A loop pulled: its mass, its length, the force, the length then."""

    mass_kg: float
    loop_m: float
    force_N: float
    length_m: float

    @property
    def stretch(self) -> float:
        """Length over loop."""
        return self.length_m / self.loop_m

    @property
    def stress_Pa(self) -> float:
        """Force over the section of both strands, by mass, length and the density of natural rubber."""
        return self.force_N * self.loop_m * DEFAULT_RUBBER.density_kg_per_m3 / self.mass_kg


PULLED = Pull(0.480e-3, 5.8 * INCH_M, 3.72 * LBF_N, 56.875 * INCH_M)
"""Motor rubber, not broken by it: a test by F. Pearce's method (Model Aviation, March 1979), written up in 2017."""
BREAK_IN_STRESS_PA = tuple(kilos * 9.80665 / (26 * 3.0e-6) for kilos in (37.0, 40.0))
"""26 strands of 1 × 3 mm pulled to 37-40 kg for four minutes to break them in: mailing list, 15 March 2007."""


def law_pull_Pa(stretch: float) -> float:
    """Return the default rubber's nominal stress while pulled out for the first time, broken in."""
    return DEFAULT_RUBBER.stress_Pa(stretch)


LONGER_AFTER_BREAK_IN = (0.03, 320.0 / 310.0 - 1.0)
"""A motor is longer by about 3 % for good once broken in; a loop of 310 mm, 320: mailing list, 12 May 2015."""


def law_longer(peak_stretch: float) -> float:
    """Return the permanent set of one wind or pull."""
    return permanent_set(DEFAULT_RUBBER, 0.0, peak_stretch)


ONSET_OF_CRYSTALS = {"uniaxial": 5.2, "pure shear": 4.5}
"""Stretch at which natural rubber begins to crystallize: Hiraiwa and others, RSC Advances 13 (2023), d3ra07173a."""

DISCHARGE = (1.5 / 2.70, 247.0 / 957.0)
"""Torque over the first shown, after this share of the turns: U. Alvarez, El arte del peanut scale, ch. 40."""


def law_discharge(share: float, off_first: float = 0.0) -> float:
    """Return the same for an invented motor wound to a share of its breaking turns, some of them taken off first."""
    motor = MotorFigures(0.30, 1.40e-3, 0.08e-3, use=3)
    breaks = unwinding_of(motor, 0.22, 1000.0)[1]
    torque, _ = unwinding_of(motor, 0.22, share * breaks)
    first = share * breaks * (1.0 - off_first)
    return torque.at(first * (1.0 - DISCHARGE[1])) / torque.at(first)


# -- two strands at a fixed distance


def hookean_pair_torque_Nm(motor: Geometry, young_Pa: float, strain: float, turns: float) -> float:
    """Return the torque of two Hookean strands wound on each other at a fixed distance, in closed form.

    Each strand is a helix of constant radius R, so long as √(L² + (Rθ)²); its energy is EA(ℓ − L0)²/(2 L0). That a pair
    stores nearly all of its energy so, little in bending and none to speak of in contact, was measured by Chopin,
    Biswas & Kudrolli, Phys. Rev. E 109, 025003 (2024); their own closed form could not be read and is not used.
    """
    angle = 2.0 * math.pi * turns
    length = math.hypot((1.0 + strain) * motor.loop_m, motor.radius_m * angle)
    tension = young_Pa * motor.area_m2 * (length / motor.loop_m - 1.0)
    return motor.strands * tension * motor.radius_m**2 * angle / length


def bending_share(motor: Geometry, distance_m: float, turns: float, rubber: Rubber = DEFAULT_RUBBER) -> float:
    """Return bending over stretching energy, were the rope the even double helix of the law: round strands.

    The curvature of a helix is R θ²/ℓ²; a fibre at the strand's edge is stretched by that times its radius.
    """
    stretch = motor.strand_stretch(distance_m, turns)
    radius, strand = motor.radius_m / math.sqrt(stretch), math.sqrt(motor.area_m2 / math.pi / stretch)
    curvature = radius * (2.0 * math.pi * turns / (stretch * motor.loop_m)) ** 2
    step = 1e-4 * stretch
    tangent = (rubber.stress_Pa(stretch + step) - rubber.stress_Pa(stretch - step)) / (2.0 * step)
    edge = stretch * curvature * strand
    return tangent * edge**2 / 8.0 / rubber.energy_Pa(stretch)
