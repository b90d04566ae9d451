"""The chart of torque against turns (or time, where none are counted), over the plan's path and its band.

Drawn on a sheet: the wind's line thick, earlier winds thin, the plan dotted in a tinted band.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from winding_coach.base.units import SHOWN, UNITS, shown_number, unit_label
from winding_coach.coach.alarms import ABOVE_PLAN
from winding_coach.coach.said import Level
from winding_coach.coach.view import CoachView
from winding_coach.screen.canvas import Canvas
from winding_coach.screen.figures import peak_aim_Nm
from winding_coach.screen.sheet import Sheet
from winding_coach.screen.wording import PHASE_BLOCKS

BAND_SHARE = ABOVE_PLAN - 1.0
"""The band around the plan's torque is as wide as the coach lets the walk-in rise above it."""
LABELS_WIDE = 6
SMALLEST = (30, 4)
OTHER, PLAN, LEVEL, PHASE, WIND = 1, 2, 3, 4, 5
LAYER_ROLES = {0: "ink", OTHER: "other", PLAN: "plan", LEVEL: "goal", PHASE: "dim", WIND: "wind"}
BAND_ROLES = {layer: f"{role} band" for layer, role in LAYER_ROLES.items()}
EIGHTHS = " ▁▂▃▄▅▆▇"
TINTED_FROM = 3
"""Eighths of a cell that the band must take for a cell with dots in it to be tinted."""
ALARM_MARKS = {Level.CAUTION: "!", Level.WARNING: "!", Level.DANGER: "X"}

Points = Sequence[tuple[float, float | None, float]]
"""(at_s, turns or None, torque in N·m), oldest first."""
AlarmMark = tuple[float, float | None, Level]
"""(at_s, turns or None, level) of an alarm that went on."""


@dataclass(frozen=True, slots=True)
class ChartData:
    """What the chart is drawn from. others: earlier winds of the same motor, or the wind compared with."""

    view: CoachView
    points: Points
    alarms: tuple[AlarmMark, ...] = ()
    others: tuple[Points, ...] = ()


def planned_path(view: CoachView) -> list[tuple[float, float]]:
    """Return the plan's (turns, torque) on the way up; at full stretch torque is all but straight in turns."""
    plan = view.plan
    path = [(0.0, 0.0), *((row.turns, row.torque_Nm) for row in plan.walk_in)]
    return [*path, (plan.target_turns, plan.peak_torque_Nm)]


def draw_chart(sheet: Sheet, column: int, row: int, columns: int, rows: int, data: ChartData) -> None:
    """Draw the chart in a field of the sheet; nothing if the field is too small for one."""
    if columns < SMALLEST[0] or rows < SMALLEST[1]:
        return
    view, plan = data.view, data.view.plan
    by_turns = bool(data.points) and data.points[-1][1] is not None
    xs, ys = _line(data.points, by_turns)
    if by_turns or not xs:
        left, right = 0.0, max([1.14 * plan.target_turns, *xs[-1:]])
        by_turns = True
    else:
        left, right = xs[0], max(60.0, xs[-1]) + xs[0]
    top = max([1.12 * plan.peak_torque_Nm, *(1.05 * y for y in ys)])
    wide, high = columns - LABELS_WIDE, rows - 1
    canvas = Canvas(wide, high, left, right, 0.0, top)
    tint: npt.NDArray[np.float64] = np.zeros((2, wide))
    if by_turns:
        path = planned_path(view)
        tint = _band(path, canvas, wide, right, top)
        for other in data.others:
            canvas.line(*_line(other, by_turns), OTHER)
        back = [(plan.target_turns, plan.peak_torque_Nm), (plan.launch_turns, plan.launch_torque_Nm)]
        for part in (path, back):
            canvas.line([x for x, _ in part], [y for _, y in part], PLAN, dotted=True)
    canvas.level(peak_aim_Nm(view), LEVEL)
    canvas.level(plan.launch_torque_Nm, LEVEL)
    begins = [(turns if by_turns else at_s, phase) for at_s, turns, phase in view.phase_starts[3:]]
    bounds = [(canvas.column_of(where), PHASE_BLOCKS[phase].lower()) for where, phase in begins if where is not None]
    for where, _ in begins:
        if where is not None:
            canvas.upright(where, PHASE)
    canvas.line(xs, ys, WIND, thick=True)
    _paint(sheet, column + LABELS_WIDE, row, canvas, tint)
    _labels(sheet, column, row, columns, rows, data, (left, right, top), by_turns)
    taken = -99
    for at, word in sorted(bounds):
        if taken < at and at + len(word) < wide:
            taken = sheet.put(column + LABELS_WIDE + at + 1, row + high - 1, word, "dim") - column - LABELS_WIDE
    for at_s, turns, level in data.alarms:
        where = turns if by_turns else at_s
        if where is not None and 0 <= canvas.column_of(where) < wide:
            role = "bad" if level is not Level.CAUTION else "goal"
            sheet.put(column + LABELS_WIDE + canvas.column_of(where), row, ALARM_MARKS[level], role)
    if (
        xs
        and not view.stale
        and view.summary is None
        and 0 <= canvas.row_of(ys[-1]) < high
        and canvas.column_of(xs[-1]) < wide
    ):
        sheet.put(column + LABELS_WIDE + canvas.column_of(xs[-1]), row + canvas.row_of(ys[-1]), "●", "figure")


def _line(points: Points, by_turns: bool) -> tuple[list[float], list[float]]:
    if not by_turns:
        return [at_s for at_s, _, _ in points], [torque for _, _, torque in points]
    known = [(turns, torque) for _, turns, torque in points if turns is not None]
    return [turns for turns, _ in known], [torque for _, torque in known]


def _band(
    path: list[tuple[float, float]], canvas: Canvas, wide: int, right: float, top: float
) -> npt.NDArray[np.float64]:
    """Return the band's lower and upper edge in each column, in eighths of a row from the bottom; 0, 0: none."""
    turns = (np.arange(wide) + 0.5) / wide * right
    torque = np.interp(turns, [x for x, _ in path], [y for _, y in path], right=np.nan)
    edges = np.outer((1.0 - BAND_SHARE, 1.0 + BAND_SHARE), np.nan_to_num(torque)) / top * canvas.rows * 8
    return np.clip(np.rint(edges), 0, canvas.rows * 8)


def _paint(sheet: Sheet, column: int, row: int, canvas: Canvas, tint: npt.NDArray[np.float64]) -> None:
    floors = 8 * np.arange(canvas.rows - 1, -1, -1)
    low, high = np.clip(tint[:, None, :] - floors[:, None], 0, 8).astype(int).tolist()
    for number, (text, layers) in enumerate(canvas.cells()):
        made = [*map(_cell, text, layers.tolist(), low[number], high[number])]
        sheet.paint(column, row + number, "".join([char for char, _ in made]), [role for _, role in made])


@lru_cache(maxsize=8192)
def _cell(char: str, layer: int, lower: int, upper: int) -> tuple[str, str]:
    """A cell's character and role; the band takes it from `lower` to `upper` eighths."""
    tinted = upper - lower >= TINTED_FROM
    if char != " ":
        return char, BAND_ROLES[layer] if tinted else LAYER_ROLES[layer]
    if upper > lower and lower == 0 and upper < 8:
        return EIGHTHS[upper], "band edge"
    if upper == 8 and 0 < lower < 8:
        return EIGHTHS[lower], "band under"
    return (" ", "band") if tinted else (" ", "")


def _labels(
    sheet: Sheet,
    column: int,
    row: int,
    columns: int,
    rows: int,
    data: ChartData,
    bounds: tuple[float, float, float],
    by_turns: bool,
) -> None:
    """Figures along the axes, names of the levels at the right."""
    view, plan = data.view, data.view.plan
    left, right, top = bounds
    wide, high = columns - LABELS_WIDE, rows - 1
    canvas = Canvas(wide, high, left, right, 0.0, top)
    one = UNITS["torque"][SHOWN[view.units]["torque"][0]]
    step = _tick(top / one, high / 2.5)
    decimals = max(0, -math.floor(math.log10(step)))
    for number in range(1, int(top / one / step) + 1):
        at = canvas.row_of(number * step * one)
        if 0 <= at < high:
            sheet.put_right(column + LABELS_WIDE - 1, row + at, f"{number * step:.{decimals}f}", "dim")
    sheet.put(column, row + high, unit_label("torque", view.units)[:LABELS_WIDE], "dim")
    axis = "turns" if by_turns else "seconds"
    step = _tick(right - left, wide / 12)
    for number in range(max(math.ceil(left / step), 1), int(right / step) + 1):
        label = f"{number * step:.0f}"
        at = canvas.column_of(number * step) - len(label) // 2
        if at + len(label) < wide - len(axis) - 1:
            sheet.put(column + LABELS_WIDE + at, row + high, label, "dim")
    sheet.put_right(column + columns, row + high, axis, "dim")
    decimals = SHOWN[view.units]["torque"][1]
    for name, torque_Nm in (("target", peak_aim_Nm(view)), ("launch", plan.launch_torque_Nm)):
        at = canvas.row_of(torque_Nm)
        if 0 <= at < high:
            label = f" {name} {shown_number(torque_Nm, 'torque', view.units, decimals)}"
            begin = columns - len(label) if name == "target" else LABELS_WIDE
            sheet.put(column + begin, row + at, label.strip() + " " if name == "launch" else label, "goal")


def _tick(span: float, most: float) -> float:
    """Return a round step (1, 2 or 5 times a power of ten) that divides `span` into `most` parts at most."""
    rough = span / max(most, 1.0)
    power = 10.0 ** math.floor(math.log10(rough))
    return next((times * power for times in (1, 2, 5) if times * power >= rough), 10 * power)
