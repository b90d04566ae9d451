"""A report in, lines for a terminal out: paragraphs, the first charts drawn small, tables."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator

from winding_coach.report.chart import Chart, ranges_of
from winding_coach.report.page import Report, Table
from winding_coach.report.svg import round_marks
from winding_coach.screen.canvas import Canvas
from winding_coach.screen.sheet import Sheet, cell_safe, in_ascii

ROWS = 15
LABELS = 7
NARROW, WIDEST = 40, 100
CHART_WIDEST = 80
MARKS = {"dot": "●", "ring": "○", "triangle": "▲", "square": "■", "bar": "│"}
HANGING = "  "
DRAWN_SMALL = 1
"""Charts of each section that are drawn in a terminal."""


def text_of(report: Report, columns: int, *, plain: bool = False) -> str:
    """Return the report as text, `columns` wide at most. plain: in ASCII alone."""
    wide = min(max(columns, NARROW), WIDEST)
    lines = list(_lines(report, wide))
    return "\n".join(in_ascii(line) if plain else line for line in lines)


def _lines(report: Report, wide: int) -> Iterator[str]:
    yield from _wrapped(report.title, wide)
    yield from _wrapped(report.lead, wide)
    yield from _wrapped(report.warning, wide)
    for section in report.sections:
        yield ""
        if section.heading:
            yield section.heading
            yield "─" * min(len(section.heading), wide)
        for paragraph in section.paragraphs:
            yield from _wrapped(paragraph, wide, HANGING)
        for chart in [chart for chart in section.charts if section.in_terminal and not chart.empty][:DRAWN_SMALL]:
            yield ""
            yield from chart_lines(chart, min(wide, CHART_WIDEST))
        if section.table is not None:
            yield ""
            yield from _table(section.table, wide)
        for item in section.items:
            yield from _wrapped(item, wide, HANGING)
        yield from _wrapped(section.remark, wide)
    if report.foot:
        yield ""
    for text in report.foot:
        yield from _wrapped(text, wide)


def _wrapped(text: str, wide: int, indent: str = "") -> Iterator[str]:
    yield from textwrap.wrap(cell_safe(text), wide, subsequent_indent=indent)


def _table(table: Table, wide: int) -> Iterator[str]:
    """Yield a table's lines; columns that do not fit beside the first go into a block of their own."""
    cells = [[cell_safe(cell) for cell in row] for row in (table.head, *table.rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(len(table.head))]
    start = 1
    while start < len(widths) or start == 1:
        end, used = start, widths[0]
        while end < len(widths) and (end == start or used + 2 + widths[end] <= wide):
            used += 2 + widths[end]
            end += 1
        if start > 1:
            yield ""
        for row in cells:
            flush = str.rjust if table.figures else str.ljust
            parts = [flush(row[column], widths[column]) for column in range(start, end)]
            yield "  ".join([row[0].ljust(widths[0]), *parts]).rstrip()
        start = max(end, start + 1)


def chart_lines(chart: Chart, columns: int) -> list[str]:
    """Return a chart drawn in braille, with its scales, marks and the first letters of its curves."""
    (left, right), (bottom, top) = ranges_of(chart)
    wide = columns - LABELS
    canvas = Canvas(wide, ROWS, left, right, bottom, top)
    for number, curve in enumerate(chart.curves):
        for part in curve.parts:
            xs, ys = [min(max(x, left), right) for x, _ in part], [min(max(y, bottom), top) for _, y in part]
            canvas.line(xs, ys, number, dotted=bool(curve.dashes))
    for level in chart.levels:
        canvas.level(level.y, 99)
    sheet = Sheet(columns, ROWS + 2)
    for row, (text, _) in enumerate(canvas.cells()):
        sheet.put(LABELS, row, text)

    def at(x: float, y: float) -> tuple[int, int]:
        column, row = canvas.column_of(min(max(x, left), right)), canvas.row_of(min(max(y, bottom), top))
        return LABELS + min(max(column, 0), wide - 1), min(max(row, 0), ROWS - 1)

    for x, sign, _ in chart.top_signs:
        sheet.put(at(x, top)[0], 0, "!" if sign == "!" else "X")
    small = [mark for mark in chart.marks if mark.shape == "small"]
    for mark in small:
        sheet.put(*at(mark.x, mark.y), "·")
    for mark in chart.marks:
        if mark.shape in MARKS:
            column, row = at(mark.x, mark.y)
            sheet.put(column, row, MARKS[mark.shape])
            if mark.label and mark.shape in ("dot", "ring"):
                sheet.put_right(column - 1, row, mark.label)
    taken: set[tuple[int, int]] = set()
    for curve in chart.curves:
        if curve.label and curve.label_at is not None:
            column, row = at(*curve.label_at)
            while (column, row) in taken:
                column -= 1
            taken.add((column, row))
            sheet.put(column, row, curve.label[:1])
    _scales(sheet, canvas, chart, (left, right, bottom, top))
    return [line.rstrip() for line in sheet.lines()]


def _scales(sheet: Sheet, canvas: Canvas, chart: Chart, ends: tuple[float, float, float, float]) -> None:
    left, right, bottom, top = ends
    taken = -1
    for mark in round_marks(top, bottom):
        row = canvas.row_of(mark)
        if 0 <= row < ROWS and row != taken:
            sheet.put_right(LABELS - 1, row, f"{mark:g}"[: LABELS - 1])
            taken = row
    free = LABELS
    for mark in round_marks(right, left):
        label = f"{mark:g}"
        begin = LABELS + canvas.column_of(mark) - len(label) // 2
        if math.isfinite(mark) and free <= begin <= sheet.columns - len(label):
            free = sheet.put(begin, ROWS, label) + 1
    y_label = f"{chart.y_label or chart.title} over {chart.x_label}"
    sheet.put(LABELS, ROWS + 1, y_label, most=sheet.columns - LABELS)
