"""How large everything is in a terminal of so many columns and rows. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from winding_coach.screen.digits import fitting, height, width

SMALLEST = (60, 18)
WIDEST_PHASE = "BACK OFF"
FACTS_WIDE = 46


@dataclass(frozen=True, slots=True)
class Layout:
    """Scales of the block letters (columns, half rows a font pixel) and rows of each part; plain: only lines."""

    plain: bool
    glance: bool
    phase: tuple[int, int]
    torque: tuple[int, int]
    phase_rows: int
    torque_rows: int
    torque_columns: int
    chart: bool


def layout_for(columns: int, rows: int, template: str, *, glance: bool) -> Layout:
    """Return the layout. Torque takes a fifth of the height at least and the phase a tenth where they fit at all."""
    if columns < SMALLEST[0] or rows < SMALLEST[1]:
        return Layout(True, glance, (0, 0), (0, 0), 0, 0, 0, False)
    if glance:
        torque = fitting(template, columns - 2, max((rows - 8) * 3 // 5, 4))
        phase = fitting(WIDEST_PHASE, columns - 2, max(rows - height(torque[1]) - 7, 4))
        return Layout(
            False, True, phase, torque, height(phase[1]), height(torque[1]) + 1, width(template, torque[0]) + 2, False
        )
    phase = fitting(WIDEST_PHASE, columns - 24, max(rows // 6, 4))
    torque = fitting(template, columns - FACTS_WIDE, max(rows * 3 // 10, 7))
    if torque == (0, 0):
        torque = (1, 2)
    torque_rows = max(height(torque[1]) + 1, 7)
    return Layout(False, False, phase, torque, height(phase[1]), torque_rows, width(template, torque[0]) + 3, True)
