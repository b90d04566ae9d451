"""Labels of charts find places of their own, and every chart stays on its page."""

from __future__ import annotations

import math
from itertools import combinations, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.review.recorded import NAMES, recorded
from winding_coach.report.chart import Chart, Curve, Level, Mark, ranges_of
from winding_coach.report.inks import DARK, IN_PAGE, LIGHT, SERIES, TEXTS
from winding_coach.report.layout import WIDTH, Words, box_of, laid_out, spread
from winding_coach.report.wind_charts import overlaid, time_chart, turns_chart


@given(
    st.lists(st.floats(-50.0, 350.0), min_size=1, max_size=12),
    st.floats(1.0, 40.0),
)
def test_spread_places_keep_their_order_and_their_distance(wanted: list[float], gap: float) -> None:
    places = spread(wanted, gap, 0.0, 300.0)
    order = sorted(range(len(wanted)), key=lambda number: wanted[number])
    least = min(gap, 300.0 / max(len(wanted) - 1, 1))
    for before, after in pairwise(places[number] for number in order):
        assert after - before >= least - 1e-6
    assert all(-1e-6 <= place <= 300.0 + 1e-6 for place in places)


def test_places_that_have_room_are_left_where_they_are() -> None:
    assert spread([200.0, 20.0, 100.0], 15.0, 0.0, 300.0) == [200.0, 20.0, 100.0]


def charts(name: str) -> list[Chart]:
    record = recorded(name)
    return [turns_chart(record, [], "metric"), time_chart(record, "metric"), turns_chart(record, [record], "inch")]


@pytest.mark.parametrize("name", NAMES)
def test_no_two_texts_of_a_wind_s_charts_touch(name: str) -> None:
    for chart in charts(name):
        _, words = laid_out(chart)
        touching = [(a.text, b.text) for a, b in combinations(words, 2) if box_of(a).touches(box_of(b))]
        assert touching == []
        for word in words:
            box = box_of(word)
            assert box.left >= 0.0
            assert box.right <= WIDTH + 1e-9
            assert 0.0 <= box.top < box.bottom <= chart.height


@pytest.mark.parametrize("by_turns", [True, False])
def test_winds_on_the_same_axes_are_named_and_dashed_each_in_its_own_way(by_turns: bool) -> None:
    records = [recorded(name) for name in NAMES] * 2
    names = [f"{chr(65 + number)} wind" for number in range(len(records))]
    chart = overlaid(records, names, "metric", by_turns=by_turns)
    assert len(chart.curves) == len(SERIES)
    assert "2 more are in the table only" in chart.about
    assert len({curve.dashes for curve in chart.curves}) == len(SERIES)
    strokes, words = laid_out(chart)
    labels = [word for word in words if word.text in names]
    assert [word.text for word in labels] == names[: len(SERIES)]
    assert not any(box_of(a).touches(box_of(b)) for a, b in combinations(labels, 2))
    assert all(0.0 <= x <= WIDTH and 0.0 <= y <= chart.height for stroke in strokes for x, y in stroke.points)


def test_a_curve_with_a_gap_is_in_two_pieces_and_keeps_its_peak() -> None:
    record = recorded("meter-reset-and-unplugged")
    curve = turns_chart(record, [], "metric").curves[-1]
    assert len(curve.parts) == 3
    top = max(y for part in curve.parts for _, y in part)
    assert top == pytest.approx(1e3 * max(sample.torque_Nm for sample in record.wound))


def test_a_chart_with_one_point_or_none_has_a_page_too() -> None:
    blank = Chart("Nothing", "", "x", "y")
    assert blank.empty
    one = Chart("One", "", "x", "y", marks=(Mark(2.0, 3.0, "here", "square"),), levels=(Level(3.0, "a level"),))
    assert not one.empty
    flat = Chart("Flat", "", "x", "y", curves=(Curve((((0.0, 0.0), (0.0, 0.0)),)),))
    for chart in (blank, one, flat):
        strokes, words = laid_out(chart)
        assert strokes
        assert words
        assert all(math.isfinite(value) for stroke in strokes for point in stroke.points for value in point)
    assert ranges_of(flat) == ((-1.0, 1.0), (-1.0, 1.0))
    assert ranges_of(Chart("None", "", "x", "y", x_range=(0.0, 0.0), y_range=(0.0, 1.0))) == ((-1.0, 1.0), (0.0, 1.0))


def test_a_label_without_any_place_is_left_out() -> None:
    wide = Chart("Wide", "", "x", "y", marks=(Mark(1.0, 1.0, "x" * 300),), levels=(Level(1.0, "y" * 300),))
    assert not [word for word in laid_out(wide)[1] if len(word.text) > 100]


def test_boxes_follow_the_anchor() -> None:
    start, middle, end = (box_of(Words(100.0, 50.0, "abcd", anchor=how)) for how in ("start", "middle", "end"))
    assert start.left == 100.0
    assert end.right == pytest.approx(100.0)
    assert 0.5 * (middle.left + middle.right) == pytest.approx(100.0)


def luminance(colour: str) -> float:
    """Relative luminance by the formula of WCAG 2."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast by the formula of WCAG 2; black on white is 21, #767676 on white 4.54222."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("inks", [LIGHT, DARK])
def test_inks_are_legible(inks: dict[str, str]) -> None:
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54222, abs=1e-5)
    for role in (*TEXTS, *(role for role, _ in SERIES)):
        assert contrast(inks[role], inks["ground"]) >= 4.5
    for role in TEXTS:
        assert contrast(inks[role], inks["panel"]) >= 4.5
    assert contrast(inks["plan"], inks["band"]) >= 4.5
    assert set(inks) == set(IN_PAGE)
