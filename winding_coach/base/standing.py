"""Where to stand, in the person's own unit: metres, inches, feet, paces, or numbered tape marks on the floor. Pure.

Distances are hook to hook, in m. Tape marks are numbered from 1, the one nearest the meter; paces go by halves.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

from winding_coach.base.units import INCH_M, UnitSystem, show

StepUnit = Literal["metres", "inches", "feet", "paces", "tape"]
STEP_UNITS: tuple[StepUnit, ...] = get_args(StepUnit)

PACE_M = 0.70
"""A pace where none is given: an assumption, to be measured by the person."""
MOST_MARKS = 40
AT_MARK_M = 0.015
"""Nearer than this to a mark is at it: the tape is as wide."""
APART_M = 0.03
"""A mark nearer than this to either end of the walk-in is no step of its own."""


@dataclass(frozen=True, slots=True)
class Steps:
    """unit: None is metres or inches, as the unit system has it. tape_m: distances of the tape marks, mark 1 first."""

    unit: StepUnit | None = None
    pace_m: float = PACE_M
    tape_m: tuple[float, ...] = ()

    def stops_m(self, hooks_m: float, stretch_m: float) -> tuple[float, ...]:
        """Return where to stop on the way in, nearest first, both ends among them; () for the coach's usual steps."""
        if self.unit == "paces":
            half_m = self.pace_m / 2
            count = int((stretch_m - hooks_m) / half_m + 1e-9)
            inside: Iterable[float] = (stretch_m - number * half_m for number in range(count, 0, -1))
        elif self.unit == "tape":
            inside = self.tape_m
        else:
            return ()
        kept = [round(at, 4) for at in inside if hooks_m + APART_M < at < stretch_m - APART_M]
        return (hooks_m, *kept, stretch_m)


USUAL = Steps()


def tape_at_m(spacing_m: float, stretch_m: float) -> tuple[float, ...]:
    """Return tape marks every so many metres from the meter's hook, up to the first beyond full stretch."""
    count = int(stretch_m / spacing_m) + 1
    return tuple(round(number * spacing_m, 4) for number in range(1, count + 1))


def tape_words(steps: Steps, units: UnitSystem) -> str:
    """Return where to put tape on the floor."""
    marks = ", ".join(f"{number} at {show(at_m, 'length', units)}" for number, at_m in enumerate(steps.tape_m, 1))
    return f"Tape on the floor, measured from below the meter's hook: {marks}."


def _halves(number: float) -> str:
    whole, half = divmod(round(2.0 * number), 2)
    return f"{whole or ''}½" if half else f"{whole}"


def _paces(number: float) -> str:
    text = _halves(number)
    return f"{text} {'pace' if text in ('½', '1') else 'paces'}"


def _nearest_mark(distance_m: float, steps: Steps) -> tuple[int, float]:
    """The number of the nearest tape mark, and how far outside it the place is, in m."""
    number = min(range(len(steps.tape_m)), key=lambda at: abs(steps.tape_m[at] - distance_m))
    return number + 1, distance_m - steps.tape_m[number]


def _feet_and_inches(distance_m: float) -> tuple[int, int]:
    return divmod(round(distance_m / INCH_M), 12)


def length_words(distance_m: float, units: UnitSystem) -> str:
    """Return a distance in metres to the centimetre, or in whole inches."""
    return f"{length_figure(distance_m, units)} {length_unit(units)}"


def length_figure(distance_m: float, units: UnitSystem) -> str:
    """Return the same without its unit, for tables."""
    return f"{distance_m / INCH_M:.0f}" if units == "inch" else f"{distance_m:.2f}"


def length_unit(units: UnitSystem) -> str:
    """Return the unit of `length_figure`."""
    return "in" if units == "inch" else "m"


def place_words(distance_m: float, units: UnitSystem, steps: Steps = USUAL) -> str:
    """Return a place to stand, as in `1.22 m`, `mark 4` or `3 cm inside mark 1`; a pace is rounded to a half."""
    if steps.unit == "feet":
        feet, inches = _feet_and_inches(distance_m)
        return f"{feet} ft {inches} in"
    if steps.unit == "paces":
        return _paces(distance_m / steps.pace_m)
    if steps.unit == "tape" and steps.tape_m:
        number, outside_m = _nearest_mark(distance_m, steps)
        if abs(outside_m) <= AT_MARK_M:
            return f"mark {number}"
        return f"{show(abs(outside_m), 'length', units, 0)} {'outside' if outside_m > 0 else 'inside'} mark {number}"
    return length_words(distance_m, "metric" if steps.unit == "metres" else "inch" if steps.unit == "inches" else units)


def short_words(distance_m: float, units: UnitSystem, steps: Steps = USUAL) -> str:
    """Return a place in as little room as possible, padded so that it never moves its neighbours."""
    if steps.unit == "tape" and steps.tape_m:
        number, beside = place_figure(distance_m, units, steps)
        return f"mark {number}{beside.removeprefix('mark')}".ljust(13)
    return place_words(distance_m, units, steps).ljust({"feet": 10, "paces": 9}.get(steps.unit or "", 7))


def exact_words(distance_m: float, units: UnitSystem, steps: Steps = USUAL) -> str:
    """Return a place that must be met exactly, as full stretch: paces with the length beside them."""
    place = place_words(distance_m, units, steps)
    return f"{length_words(distance_m, units)}, about {place}" if steps.unit == "paces" else place


def place_figure(distance_m: float, units: UnitSystem, steps: Steps = USUAL) -> tuple[str, str]:
    """Return a place as figures for large digits, and what stands small beside them."""
    if steps.unit == "feet":
        feet, inches = _feet_and_inches(distance_m)
        return f"{feet}'{inches}", "ft in"
    if steps.unit == "paces":
        number = round(2.0 * distance_m / steps.pace_m) / 2
        return f"{number:g}", "pace" if number in (0.5, 1.0) else "paces"
    if steps.unit == "tape" and steps.tape_m:
        number_of, outside_m = _nearest_mark(distance_m, steps)
        if abs(outside_m) <= AT_MARK_M:
            return f"{number_of}", "mark"
        sign = "+" if outside_m > 0 else "-"
        return f"{number_of}", f"mark {sign}{show(abs(outside_m), 'length', units, 0)}"
    figure, unit = place_words(distance_m, units, steps).split()
    return figure, unit


def paces_in(from_m: float | None, to_m: float, steps: Steps) -> float | None:
    """Return the half paces to go in (below 0: out) in paces; 0 for less than a quarter, None if not told in paces."""
    if steps.unit != "paces" or from_m is None:
        return None
    return round(2.0 * (from_m - to_m) / steps.pace_m) / 2


def pace_words(paces: float) -> str:
    """Return a number of paces in words."""
    number = abs(paces)
    if number < 0.25:
        return "a short step"
    return {0.5: "half a pace", 1.0: "one pace"}.get(number, f"{_halves(number)} paces")
