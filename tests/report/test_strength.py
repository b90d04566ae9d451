"""The picture of a batch's strength: steps where motors broke, strokes where they held."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from winding_coach.report.strength import strength_svg
from winding_coach.rubber.strength import Wound, strength_of

SVG = "{http://www.w3.org/2000/svg}"
WOUND = (Wound(9.0, True), Wound(9.3, True), Wound(8.9, False), Wound(9.1, False), Wound(9.6, False))


def test_steps_dots_and_strokes() -> None:
    root = ET.fromstring(strength_svg("amber <1>", WOUND, strength_of(WOUND)))
    fit, low, high, steps = (
        [tuple(map(float, pair.split(","))) for pair in p.attrib["points"].split()] for p in root.iter(f"{SVG}polyline")
    )
    assert len(fit) == len(low) == len(high) == 61
    # On the page more share is further up; the fit lies between the ends of its interval.
    assert all(a[1] <= m[1] + 0.01 and m[1] <= b[1] + 0.01 for a, m, b in zip(low, fit, high, strict=True))
    assert len(steps) == 1 + 2 * 2 + 1
    dots = [(float(c.attrib["cx"]), float(c.attrib["cy"])) for c in root.iter(f"{SVG}circle")]
    assert dots == [steps[2], steps[4]]
    # By hand: 4 at risk at 9.0, 2 at 9.3: 3/4, then 3/8 hold.
    drop = [steps[2][1] - steps[1][1], steps[4][1] - steps[3][1]]
    assert drop[0] / drop[1] == pytest.approx((1 / 4) / (3 / 8), rel=1e-2)
    strokes = [
        line
        for line in root.iter(f"{SVG}line")
        if line.attrib["x1"] == line.attrib["x2"]
        and float(line.attrib["y2"]) - float(line.attrib["y1"]) == pytest.approx(3.2)
    ]
    assert len(strokes) == 3


def test_without_winds_the_belief_is_drawn() -> None:
    root = ET.fromstring(strength_svg("new", (), strength_of(())))
    assert len(list(root.iter(f"{SVG}polyline"))) == 4
    assert not list(root.iter(f"{SVG}circle"))
