"""Practice from the side: the meter's hook, the motor with its turns and knots, the person, the marks on the floor.

What is so, not what the meter says: only a simulated bench knows it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

from winding_coach.coach.view import CoachView
from winding_coach.coach.wording import distance_words
from winding_coach.screen.sheet import Sheet
from winding_coach.units import INCH_M

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
    words = f"{distance_words(side.distance_m, view.units)}, {doing}"
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


def _floor(sheet: Sheet, begin: int, row: int, wide: int, span_m: float, view: CoachView) -> None:
    """The floor with marks: every half metre or every 20 inches, the hooks, and where the coach wants one to stand."""
    sheet.put(begin, row, "─" * (wide + 1), "track")
    step_m = 20 * INCH_M if view.units == "inch" else 0.5
    for number in range(1, math.floor(span_m / step_m) + 1):
        label = f"{number * 20}" if view.units == "inch" else f"{number * step_m:g}"
        sheet.put(begin + round(number * step_m / span_m * wide), row, f"┴{label}", "dim")
    wanted = view.targets.stand_at_m
    if wanted is not None:
        place = begin + round(min(wanted / span_m, 1.0) * wide)
        sheet.put(place, row, "◆", "word")
