"""Practice from the side: the meter's hook, the motor with its turns and knots, the person, the marks on the floor.

What is so, not what the meter says: only a simulated bench knows it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

from winding_coach.base.standing import place_words
from winding_coach.base.units import FOOT_M, INCH_M
from winding_coach.coach.view import CoachView
from winding_coach.screen.figures import stand_at_m
from winding_coach.screen.sheet import Sheet

ROWS = 5
MARGIN = 9
FIGURES = {"still": (" o ", "/|\\", "/ \\"), "crank": (" o ", "/|>", "/ \\"), "back": (" o ", "<|\\", "/ \\")}
"""A person: head, arms, legs."""


class SideView(Protocol):
    """What there is to see from the side: `simulator.bench.Truth` is one. All SI."""

    @property
    def distance_m(self) -> float:
        """From the meter's hook to the winder's."""

    @property
    def turns(self) -> float:
        """On the motor."""

    @property
    def crank_rev_per_s(self) -> float:
        """Of the handle, below 0 in reverse."""

    @property
    def knotted(self) -> float:
        """Share (0-1) of the motor that is in knots."""

    @property
    def hooked(self) -> bool:
        """Whether the motor hangs on the meter."""

    @property
    def broken(self) -> bool:
        """Whether it broke."""

    @property
    def doing(self) -> str:
        """What the hands do, in a word or two."""


LookAside = Callable[[], SideView]


def draw_side(sheet: Sheet, column: int, row: int, columns: int, side: SideView, view: CoachView) -> None:
    """Draw the picture in `ROWS` rows of the sheet."""
    wide = columns - MARGIN - 6
    span_m = 1.2 * max(view.plan.stretch_distance_m, side.distance_m)
    begin = column + MARGIN

    def at(distance_m: float) -> int:
        return begin + round(min(max(distance_m / span_m, 0.0), 1.0) * wide)

    hand = at(side.distance_m)
    sheet.put(column, row + 1, "meter ┌─┐", "dim")
    sheet.put(column, row + 2, "      │ ╞", "ink")
    sheet.put(column, row + 3, "      └┬┘", "dim")
    if side.broken:
        _scraps(sheet, begin, hand, row + 2)
    elif side.hooked:
        sheet.put(
            begin, row + 2, strand(hand - begin, side.turns / max(view.plan.target_turns, 1.0), side.knotted), "wind"
        )
    else:
        sheet.put(hand - 3, row + 2, "~~", "wind")
    pose = "crank" if side.crank_rev_per_s > 0.05 else "back" if side.crank_rev_per_s < -0.05 else "still"
    for number, line in enumerate(FIGURES[pose]):
        sheet.put(hand, row + 1 + number, line, "figure")
    doing = side.doing if abs(side.crank_rev_per_s) <= 0.05 else f"{side.doing} {abs(side.crank_rev_per_s):.1f} turns/s"
    words = f"{place_words(side.distance_m, view.units, view.steps)}, {doing}"
    sheet.put(max(min(hand - len(words) // 2, column + columns - len(words)), begin), row, words, "bold")
    _floor(sheet, begin, row + 4, wide, span_m, view)


def strand(wide: int, wound: float, knotted: float) -> str:
    """Return the motor as text: straight, then rope-like the more it is wound, knots from the middle outwards."""
    wide = max(wide, 0)
    base = "─" if wound < 0.05 else "~" if wound < 0.55 else "≈"
    knots = min(round(knotted * wide), wide)
    left = (wide - knots) // 2
    return base * left + "8" * knots + base * (wide - knots - left)


def _scraps(sheet: Sheet, begin: int, hand: int, row: int) -> None:
    sheet.put(begin, row, "~.", "bad")
    sheet.put(max(hand - 2, begin + 2), row, ".~", "bad")
    sheet.put(begin + max((hand - begin) // 2 - 4, 3), row, "broken", "bad")


def floor_marks(view: CoachView, span_m: float) -> list[tuple[float, str]]:
    """Return where the floor is marked, and with what: tape, paces, feet, every half metre or every 20 inches."""
    steps = view.steps
    if steps.unit == "tape":
        return [(at_m, f"{number}") for number, at_m in enumerate(steps.tape_m, 1)]
    inches = steps.unit == "inches" or (steps.unit is None and view.units == "inch")
    step_m, one = {"paces": (steps.pace_m, 1.0), "feet": (FOOT_M, 1.0)}.get(
        steps.unit or "", (20 * INCH_M, 20.0) if inches else (0.5, 0.5)
    )
    return [(number * step_m, f"{number * one:g}") for number in range(1, math.floor(span_m / step_m) + 1)]


def _floor(sheet: Sheet, begin: int, row: int, wide: int, span_m: float, view: CoachView) -> None:
    """The floor with marks in the person's own unit, and where the coach wants one to stand."""
    sheet.put(begin, row, "─" * (wide + 1), "track")
    free = begin
    for at_m, label in floor_marks(view, span_m):
        place = begin + round(at_m / span_m * wide)
        if place >= free and at_m <= span_m:
            free = sheet.put(place, row, f"┴{label}", "dim") + 1
    wanted = stand_at_m(view)
    if wanted is not None:
        place = begin + round(min(wanted / span_m, 1.0) * wide)
        sheet.put(place, row, "◆", "word")
