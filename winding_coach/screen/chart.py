"""The chart of torque against turns (or time, where none are counted), with the plan beneath the wind."""

from __future__ import annotations

from dataclasses import dataclass

from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip
from textual.widget import Widget

from winding_coach.coach.view import CoachView
from winding_coach.screen.canvas import Canvas
from winding_coach.units import shown_number, unit_label

LABEL_WIDE = 11
PLAN, LEVEL, PHASE, WIND = 1, 2, 3, 4
LAYER_STYLES = {
    PLAN: Style(dim=True),
    LEVEL: Style(color="cyan"),
    PHASE: Style(dim=True),
    WIND: Style(color="bright_yellow", bold=True),
}

Points = tuple[tuple[float, float | None, float], ...]


@dataclass(frozen=True, slots=True)
class ChartData:
    """What the chart is drawn from."""

    view: CoachView
    points: Points


class Chart(Widget):
    """Redrawn when `show_data` is given something new, one strip a row."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._strips: list[Strip] = []
        self._data: ChartData | None = None
        self._drawn: tuple[int, int, int, object] | None = None

    def show_data(self, data: ChartData) -> None:
        """Take new data; draw if anything changed."""
        columns, rows = self.size
        key = (columns, rows, len(data.points), (data.points[-1:], data.view.phase_starts))
        if key == self._drawn or columns < 2 * LABEL_WIDE or rows < 3:
            return
        self._drawn = key
        self._data = data
        self._strips = draw(data, columns, rows, self.rich_style)
        self.refresh()

    def render_line(self, y: int) -> Strip:
        """Return one row."""
        return self._strips[y] if y < len(self._strips) else Strip.blank(self.size.width, self.rich_style)


def draw(data: ChartData, columns: int, rows: int, base: Style) -> list[Strip]:
    """Return the chart as `rows` strips of `columns` cells."""
    view, points = data.view, data.points
    plan, units = view.plan, view.units
    by_turns = bool(points) and points[-1][1] is not None
    wound = [(turns if by_turns else at_s, torque) for at_s, turns, torque in points]
    xs = [x for x, _ in wound if x is not None]
    ys = [y for x, y in wound if x is not None]
    right = max([1.08 * plan.target_turns, *xs[-1:]]) if by_turns else max(60.0, *(xs[-1:] or [0.0]))
    left = 0.0 if by_turns or not xs else xs[0]
    top = 1.12 * max([plan.peak_torque_Nm, *ys])
    canvas = Canvas(columns - LABEL_WIDE, rows - 1, left, max(right, left + 1.0), -0.03 * top, top)
    if by_turns:
        path = [(0.0, 0.0), *((row.turns, row.torque_Nm) for row in plan.walk_in)]
        path += [(plan.target_turns, plan.peak_torque_Nm), (plan.launch_turns, plan.launch_torque_Nm)]
        canvas.line([x for x, _ in path], [y for _, y in path], PLAN, dotted=True)
    canvas.level(plan.peak_torque_Nm, LEVEL)
    canvas.level(plan.launch_torque_Nm, LEVEL)
    for at_s, turns, _ in view.phase_starts[2:]:
        where = turns if by_turns else at_s
        if where is not None:
            canvas.upright(where, PHASE)
    canvas.line(xs, ys, WIND, thick=True)
    labels = {
        canvas.row_of(plan.launch_torque_Nm): f"launch {_short(plan.launch_torque_Nm, view)}",
        canvas.row_of(plan.peak_torque_Nm): f"peak {_short(plan.peak_torque_Nm, view)}",
    }
    strips = []
    for row, (text, layers) in enumerate(canvas.cells()):
        label = labels.get(row, "")[: LABEL_WIDE - 1].rjust(LABEL_WIDE - 1) + " "
        segments = [Segment(label, base + LAYER_STYLES[LEVEL])]
        begin = 0
        for end in range(1, len(text) + 1):
            if end == len(text) or layers[end] != layers[begin]:
                segments.append(Segment(text[begin:end], base + LAYER_STYLES.get(int(layers[begin]), Style())))
                begin = end
        strips.append(Strip(segments, columns))
    axis = f"{'turns' if by_turns else 'seconds'} to {right:.0f}, {unit_label('torque', units)} to {_short(top, view)}"
    strips.append(Strip([Segment((" " * LABEL_WIDE + axis).ljust(columns)[:columns], base + Style(dim=True))], columns))
    return strips


def _short(torque_Nm: float, view: CoachView) -> str:
    return shown_number(torque_Nm, "torque", view.units, 1 if view.units == "metric" else 2)
