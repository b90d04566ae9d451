"""How large everything is in a terminal of so many columns and rows, and where it stands. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass

from winding_coach.screen.digits import fitting, height, width
from winding_coach.screen.wording import WIDEST_BLOCKS

SMALLEST = (60, 18)
ROOMY = 30
"""Rows from which parts get air between them."""
INSTRUMENTS_WIDE = 40
INSTRUMENTS_ROWS = 8
UNIT_WIDE = 5
"""Columns that the unit after the large word takes."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Scales of the block letters (half columns, half rows a font pixel); first row and rows of each part.

    plain: only lines. chart_rows: 0 where there is no room for one.
    """

    plain: bool
    glance: bool
    word: tuple[int, int] = (0, 0)
    torque: tuple[int, int] = (0, 0)
    rail: int = 1
    word_at: int = 2
    prompt_at: int = 0
    prompt_rows: int = 1
    alarm_at: int = 0
    torque_at: int = 0
    torque_rows: int = 0
    torque_columns: int = 0
    chart_at: int = 0
    chart_rows: int = 0


def layout_for(columns: int, rows: int, template: str, *, glance: bool) -> Layout:
    """Return the layout. Torque takes a fifth of the height at least and the word a tenth, wherever they fit at all."""
    if columns < SMALLEST[0] or rows < SMALLEST[1]:
        return Layout(True, glance)
    air = 1 if rows >= ROOMY else 0
    if glance:
        room = rows - 5 - 3 * air
        torque = fitting(template, columns - 2, room * 3 // 5)
        word = fitting(WIDEST_BLOCKS, columns - UNIT_WIDE, room - height(torque[1]) - 1)
        word_at = 1 + air
        prompt_at = word_at + height(word[1]) + air
        torque_at = prompt_at + 2 + air
        spare = max(rows - 1 - torque_at - height(torque[1]) - 1, 0)
        return Layout(
            plain=False,
            glance=True,
            word=word,
            torque=torque,
            rail=-1,
            word_at=word_at,
            prompt_at=prompt_at,
            alarm_at=prompt_at + 1,
            torque_at=torque_at + spare // 2,
            torque_rows=height(torque[1]) + 1,
            torque_columns=width(template, torque[0]),
        )
    word = fitting(WIDEST_BLOCKS, columns - UNIT_WIDE, max(math.ceil(rows * 0.18), 4))
    word_at = 2 + air
    prompt_at = word_at + height(word[1]) + air
    alarm_at = prompt_at + 1
    torque_at = alarm_at + 1 + air
    torque = fitting(template, columns - INSTRUMENTS_WIDE, max(rows * 3 // 10, 7))
    torque_rows = max(height(torque[1]) + 1, INSTRUMENTS_ROWS)
    chart_at = torque_at + torque_rows + air
    return Layout(
        plain=False,
        glance=False,
        word=word,
        torque=torque,
        word_at=word_at,
        prompt_at=prompt_at,
        alarm_at=alarm_at,
        torque_at=torque_at,
        torque_rows=torque_rows,
        torque_columns=width(template, torque[0]),
        chart_at=chart_at,
        chart_rows=max(rows - 1 - chart_at, 0),
    )
