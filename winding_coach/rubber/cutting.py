"""The wanted linear density in; the strip's width on the stripper and the length to cut out. Pure.

A strip of width w and thickness t has the linear density w·t·ρ. Thickness and density are a batch's own, and strippers
do not cut what their scale says, so weighed strips decide: each gives grams a metre for a millimetre of scale.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.law import DEFAULT_RUBBER

DENSITY_CV = 0.02
"""Relative uncertainty of the rubber's density: natural rubber compounds run from 910 to 950 kg/m³ (published)."""
THICKNESS_CV = 0.03
"""Of a sheet's nominal thickness; assumed."""
STRIP_CV = 0.015
"""Spread of single strips about what the stripper's scale gives; assumed, until two weighed strips say."""
BELIEVED_LIKE = 2.0
"""The belief in that spread weighs like so many strips; assumed."""
KNOT_M = 0.02
"""Strip that one knot takes up, both ends together: common practice, no source; measure your own."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """A strip as weighed: its width as set on the stripper, length and mass."""

    width_m: float
    length_m: float
    mass_kg: float

    @property
    def density_kg_per_m(self) -> float:
        """Linear density."""
        return self.mass_kg / self.length_m


@dataclass(frozen=True, slots=True)
class Sheet:
    """What a batch's sheet gives: linear density for a width, kg/m for a metre, with its relative uncertainty (one
    standard deviation) and the spread of single strips. strips: how many weighed ones it rests on."""

    areal_kg_per_m2: float
    cv: float
    strip_cv: float
    strips: int


@dataclass(frozen=True, slots=True)
class Cut:
    """One strip to cut. width_m on the stripper, its spread width_sd_m; strip_m to cut for a loop of loop_m with its
    knot; mass_kg of the finished motor, O-rings included; density_sd_kg_per_m of the strip that comes out."""

    density_kg_per_m: float
    density_sd_kg_per_m: float
    width_m: float
    width_sd_m: float
    strip_m: float
    loop_m: float
    mass_kg: float


def sheet_of(weighed: Sequence[Weighed], thickness_m: float | None = None) -> Sheet:
    """Return what a sheet gives, from weighed strips, or from its thickness where there are none.

    Raises:
        FiguresError: neither is known, or a strip cannot be.
    """
    if not weighed:
        if thickness_m is None:
            raise FiguresError(
                "Nothing says how much a strip weighs at a width: weigh one ('batch weigh'), or give --thickness."
            )
        return Sheet(DEFAULT_RUBBER.density_kg_per_m3 * thickness_m, math.hypot(DENSITY_CV, THICKNESS_CV), STRIP_CV, 0)
    each = [one.density_kg_per_m / one.width_m for one in weighed]
    for value, one in zip(each, weighed, strict=True):
        if not 0.05 <= value <= 20.0:
            raise FiguresError(
                f"A strip {one.width_m * 1e3:.3g} mm wide and {one.length_m:.3g} m long does not weigh"
                f" {one.mass_kg * 1e3:.3g} g: check width, length and mass."
            )
    areal = statistics.fmean(each)
    squares = sum((value / areal - 1.0) ** 2 for value in each)
    strip_cv = math.sqrt((squares + BELIEVED_LIKE * STRIP_CV**2) / (len(each) - 1.0 + BELIEVED_LIKE))
    return Sheet(areal, strip_cv / math.sqrt(len(each)), strip_cv, len(each))


def cut_for(
    density_kg_per_m: float,
    loop_m: float,
    sheet: Sheet,
    *,
    strands: int = 2,
    orings_kg: float = 0.0,
    knot_m: float = KNOT_M,
) -> Cut:
    """Return how to cut the strip of one motor.

    strands: of the finished motor; an even number, since a strip knotted into a ring makes two for each loop.
    knot_m: strip that the knot takes up; it is in the mass and not in the loop.

    Raises:
        FiguresError: no motor can be like that.
    """
    if strands < 2 or strands % 2:
        raise FiguresError(f"A knotted strip makes an even number of strands, not {strands}: one loop has 2.")
    if not 0.1e-3 <= density_kg_per_m <= 50e-3:
        raise FiguresError(f"{density_kg_per_m * 1e3:.3g} g/m is impossible for a strip: check the linear density.")
    width_m = density_kg_per_m / sheet.areal_kg_per_m2
    strip_m = strands * loop_m + knot_m
    spread = math.hypot(sheet.cv, sheet.strip_cv)
    return Cut(
        density_kg_per_m,
        spread * density_kg_per_m,
        width_m,
        sheet.cv * width_m,
        strip_m,
        loop_m,
        strip_m * density_kg_per_m + orings_kg,
    )


def loop_of_mass(
    density_kg_per_m: float, mass_kg: float, *, strands: int = 2, orings_kg: float = 0.0, knot_m: float = KNOT_M
) -> float:
    """Return the loop of a motor of this mass (O-rings and knot included) at a linear density.

    Raises:
        FiguresError: the mass leaves no rubber for a loop.
    """
    loop_m = ((mass_kg - orings_kg) / density_kg_per_m - knot_m) / strands
    if not loop_m > 0.0:
        raise FiguresError(f"{mass_kg * 1e3:.3g} g leaves no rubber for a loop: check the masses.")
    return loop_m


def kit(
    density_kg_per_m: float,
    mass_kg: float,
    sheet: Sheet,
    *,
    count: int,
    step: float,
    strands: int = 2,
    orings_kg: float = 0.0,
    knot_m: float = KNOT_M,
) -> list[Cut]:
    """Return cuts around an optimum, the optimum in the middle: linear densities `step` apart (a share), each of the
    same mass of motor, so that only the shape of the motor differs from flight to flight.

    Raises:
        FiguresError: no motor can be like that.
    """
    middle = (count - 1) / 2.0
    cuts = []
    for i in range(count):
        density = density_kg_per_m * (1.0 + step) ** (i - middle)
        loop = loop_of_mass(density, mass_kg, strands=strands, orings_kg=orings_kg, knot_m=knot_m)
        cuts.append(cut_for(density, loop, sheet, strands=strands, orings_kg=orings_kg, knot_m=knot_m))
    return cuts
