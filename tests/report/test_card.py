"""The card of a plan: a page that an XML reader takes, whose figures are the plan's and are large enough."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from winding_coach.base.units import UnitSystem
from winding_coach.report.card import card_html, card_svg
from winding_coach.report.svg import Axes, round_marks
from winding_coach.rubber.figures import ModelFigures, MotorFigures, WinderFigures
from winding_coach.rubber.plan import make_plan
from winding_coach.rubber.spread import spread_of

TH_07 = MotorFigures(loop_m=0.30, mass_kg=1.40e-3, orings_kg=0.08e-3, name="th-07")
THISTLEDOWN = ModelFigures(hooks_m=0.22, name="Thistledown")
SVG = "{http://www.w3.org/2000/svg}"


def card(motor: MotorFigures = TH_07, model: ModelFigures = THISTLEDOWN, units: UnitSystem = "metric") -> str:
    winder = WinderFigures(10.0)
    plan = make_plan(motor, winder, model, room_m=1.2, units=units)
    return card_svg(plan, motor, winder, model, spread_of(plan, motor), units)


def texts(svg: str) -> list[tuple[str, float]]:
    return [(text.text or "", float(text.attrib["font-size"])) for text in ET.fromstring(svg).iter(f"{SVG}text")]


def test_the_card_has_the_plan_in_large_figures() -> None:
    """20 minutes of arc at 1 m are 5.8 mm (NUREG-0700); a digit is 0.72 of the font's size, as in most sans-serifs."""
    plan = make_plan(TH_07, WinderFigures(10.0), THISTLEDOWN, room_m=1.2)
    said = texts(card())
    assert said[0][0] == "Motor th-07 for Thistledown"
    large = {text for text, size in said if 0.72 * size >= 5.8}
    assert {f"{row.distance_m:.2f}" for row in plan.walk_in} <= large
    assert {f"{row.crank_turns:.1f}" for row in plan.walk_in} <= large
    assert f"stop at {plan.peak_torque_Nm * 1e3:.2f} mN·m" in large
    assert "Stretch to 1.20 m" in large
    assert any("The room is too short" in text for text, _ in said)
    assert any("eye protection" in text for text, _ in said)


def test_everything_is_on_the_page() -> None:
    root = ET.fromstring(card(units="inch"))
    assert (root.attrib["width"], root.attrib["height"]) == ("210mm", "297mm")
    for text in root.iter(f"{SVG}text"):
        assert 0 < float(text.attrib["x"]) < 210
        assert 5 < float(text.attrib["y"]) < 292
    points = [pair.split(",") for p in root.iter(f"{SVG}polyline") for pair in p.attrib["points"].split()]
    assert len(points) == 101 + 21
    assert all(110 < float(x) < 200 and 100 < float(y) < 200 for x, y in points)
    assert any("ozf·in" in (text.text or "") for text in root.iter(f"{SVG}text"))


def test_the_chart_goes_up_to_the_stop_and_down_to_the_launch() -> None:
    root = ET.fromstring(card())
    up, off = (
        [(float(x), float(y)) for x, y in (pair.split(",") for pair in p.attrib["points"].split())]
        for p in root.iter(f"{SVG}polyline")
    )
    assert up[-1] == pytest.approx(off[0], abs=0.5)
    assert off[-1][0] < off[0][0]
    assert off[-1][1] > off[0][1] + 20  # downwards on the page


def test_names_cannot_break_the_page() -> None:
    nasty = replace(TH_07, name="<script>&\"' \x1b[31m" + "long " * 40)
    svg = card(nasty)
    ET.fromstring(svg)
    assert "<script" not in svg
    assert "\x1b" not in svg
    assert texts(svg)[0][1] < 2
    nameless = card(replace(TH_07, name=None), ModelFigures(hooks_m=0.22))
    assert texts(nameless)[0][0] == "Winding plan"


def test_the_page_for_a_browser_holds_the_card() -> None:
    svg = card()
    page = card_html(svg)
    assert svg in page
    assert "<title>Motor th-07 for Thistledown</title>" in page.partition("<body>")[0]


@pytest.mark.parametrize("most", [0.9, 1.0, 1.2, 7.6, 138.8, 2000.0, 3e-4])
def test_round_marks(most: float) -> None:
    marks = round_marks(most)
    assert 4 <= len(marks) <= 11
    assert marks[0] == 0
    assert marks[-1] <= most * (1 + 1e-9)
    step = marks[1] / 10 ** math.floor(math.log10(marks[1]))
    assert any(step == pytest.approx(s) for s in (1, 2, 5, 10))


def test_round_marks_that_do_not_begin_at_nothing() -> None:
    assert round_marks(10.4, 7.8) == [8.0, 8.5, 9.0, 9.5, 10.0]
    assert round_marks(2.0, 1.0) == [1.0, 1.2, 1.4, 1.6, 1.8, 2.0]
    assert Axes(0, 0, 100, 50, 10, 1, 8).at(9, 1) == (50, 0)


def test_axes_put_figures_on_the_page() -> None:
    axes = Axes(10, 20, 100, 50, 200, 5)
    assert axes.at(0, 0) == (10, 70)
    assert axes.at(200, 5) == (110, 20)
    assert axes.at(100, 2.5) == (60, 45)
