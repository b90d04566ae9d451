"""The chart: points fall where their figures say, the band is as wide as it says, and odd data break nothing."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.screen.views import PLAN, curve_to, final, state, walk_in, wind
from winding_coach.coach.said import Level
from winding_coach.screen.canvas import Canvas
from winding_coach.screen.chart import BAND_SHARE, LABELS_WIDE, ChartData, Points, _tick, draw_chart, planned_path
from winding_coach.screen.sheet import Sheet

DOTS = [[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]]
"""Unicode, block "Braille Patterns" (U+2800): the bit of each dot, by row and column."""


def dots(canvas: Canvas) -> set[tuple[int, int]]:
    found = set()
    for row, (text, _) in enumerate(canvas.cells()):
        for column, char in enumerate(text):
            code = 0 if char == " " else ord(char) - 0x2800
            found |= {
                (2 * column + across, 4 * row + down)
                for down in range(4)
                for across in range(2)
                if code & DOTS[down][across]
            }
    return found


def test_a_line_joins_its_points_without_a_gap() -> None:
    canvas = Canvas(10, 5, 0.0, 19.0, 0.0, 19.0)
    canvas.line([0.0, 19.0], [0.0, 19.0], 1)
    assert dots(canvas) == {(at, 19 - at) for at in range(20)}


def test_steep_lines_and_levels_and_uprights() -> None:
    canvas = Canvas(4, 4, 0.0, 7.0, 0.0, 15.0)
    canvas.line([3.0, 3.0], [0.0, 15.0], 1)
    assert dots(canvas) == {(3, at) for at in range(16)}
    level = Canvas(6, 2, 0.0, 11.0, 0.0, 7.0)
    level.level(7.0, 1)
    assert {y for _, y in dots(level)} == {0}
    upright = Canvas(6, 2, 0.0, 11.0, 0.0, 7.0)
    upright.upright(11.0, 1)
    assert {x for x, _ in dots(upright)} == {11}
    assert upright.column_of(11.0) == 5
    assert upright.row_of(0.0) == 1


@given(
    st.lists(st.tuples(st.floats(-1e6, 1e6), st.floats(-1e3, 1e3)), max_size=20),
    st.floats(-1e3, 1e3),
    st.floats(1e-3, 1e3),
)
def test_lines_from_anywhere_stay_on_the_canvas(points: list[tuple[float, float]], left: float, span: float) -> None:
    canvas = Canvas(8, 3, left, left + span, 0.0, 1.0)
    canvas.line([x for x, _ in points], [y for _, y in points], 1, thick=True)
    assert all(len(text) == 8 for text, _ in canvas.cells())


def roles(data: ChartData, columns: int = 120, rows: int = 20) -> list[list[str]]:
    sheet = Sheet(columns, rows)
    draw_chart(sheet, 0, 0, columns, rows, data)
    return [[role for text, role in sheet.row(row) for _ in text] for row in range(rows)]


def test_the_band_is_as_wide_as_it_says() -> None:
    view = walk_in().view
    drawn = roles(ChartData(view, ()), 200, 60)
    column = LABELS_WIDE + 140
    turns = (140 + 0.5) / (200 - LABELS_WIDE) * 1.14 * PLAN.target_turns
    path = planned_path(view)
    (x0, y0), (x1, y1) = next(pair for pair in pairwise(path) if pair[0][0] <= turns <= pair[1][0])
    torque = y0 + (y1 - y0) * (turns - x0) / (x1 - x0)
    high = sum("band" in row[column] for row in drawn)
    row_Nm = 1.12 * PLAN.peak_torque_Nm / 59
    assert high == pytest.approx(2 * BAND_SHARE * torque / row_Nm, abs=1.5)


def test_the_newest_point_is_marked_where_it_is() -> None:
    still = final()
    sheet = Sheet(120, 20)
    draw_chart(sheet, 0, 0, 120, 20, ChartData(still.view, still.curve.points()))
    marked = [(row, line.index("●")) for row, line in enumerate(sheet.lines()) if "●" in line]
    ((row, column),) = marked
    wide = 120 - LABELS_WIDE
    assert column - LABELS_WIDE == pytest.approx(1284 / (1.14 * PLAN.target_turns) * wide, abs=1.5)
    torque = still.curve.points()[-1][2]
    assert row == pytest.approx(19 * (1 - torque / (1.12 * PLAN.peak_torque_Nm)), abs=1)


def test_alarms_and_phases_stand_at_their_turns_and_other_winds_are_thin() -> None:
    still = final()
    alarms = ((90.0, 800.0, Level.WARNING), (100.0, 1000.0, Level.DANGER), (101.0, None, Level.CAUTION))
    others: tuple[Points, ...] = (curve_to(1310.0).points(),)
    sheet = Sheet(120, 20)
    draw_chart(sheet, 0, 0, 120, 20, ChartData(still.view, (), alarms, others))
    top = sheet.lines()[0]
    assert top.index("!") < top.index("X")
    assert any(role.startswith("other") for row in range(20) for _, role in sheet.row(row))
    assert "walk in" in "".join(sheet.lines())
    assert "final" in "".join(sheet.lines())


def test_without_counted_turns_the_chart_goes_by_time_and_without_a_plan_s_path() -> None:
    drawn = Sheet(120, 20)
    still = state("uncounted")
    draw_chart(drawn, 0, 0, 120, 20, ChartData(still.view, still.curve.points()))
    assert "seconds" in drawn.lines()[-1]
    assert not any("plan" in role for row in range(20) for _, role in drawn.row(row))


@pytest.mark.parametrize("size", [(29, 20), (80, 3), (0, 0)])
def test_a_field_too_small_is_left_blank(size: tuple[int, int]) -> None:
    sheet = Sheet(80, 20)
    draw_chart(sheet, 0, 0, *size, ChartData(wind().view, wind().curve.points()))
    assert set("".join(sheet.lines())) == {" "}


@pytest.mark.parametrize("torque", [-1e-3, 0.0, 1.0])
def test_odd_torques_break_nothing(torque: float) -> None:
    view = replace(wind().view, phase_starts=())
    points = ((0.0, 0.0, torque), (1.0, 0.0, torque), (2.0, 5.0, -torque), (3.0, None, torque), (4.0, 5000.0, torque))
    assert len(roles(ChartData(view, points))) == 20


@given(st.floats(1e-6, 1e9), st.floats(0.5, 100.0))
def test_ticks_are_round_and_few_enough(span: float, most: float) -> None:
    step = _tick(span, most)
    assert span / step <= max(most, 1.0) * (1 + 1e-9)
    assert round(step / 10 ** math.floor(math.log10(step * 1.0000001))) in (1, 2, 5, 10)
