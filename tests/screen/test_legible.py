"""How large letters are from where one stands: geometry, and the sizes that the screen promises."""

from __future__ import annotations

import math

import pytest

from tests.screen.views import wind
from winding_coach.screen.figures import torque_template
from winding_coach.screen.layout import Layout, layout_for
from winding_coach.screen.legible import Eyes, arc_minutes, height_for, hint, letter_share

TEMPLATE = torque_template(wind().view)


def test_twenty_arc_minutes_at_three_metres_are_17_5_mm() -> None:
    # tan(20') = 0.0058178 (any table of tangents): 3 m times that is 17.45 mm.
    assert height_for(20.0, 3.0) == pytest.approx(3.0 * 0.0058178, rel=1e-4)
    assert arc_minutes(0.01745, 3.0) == pytest.approx(20.0, abs=0.01)


@pytest.mark.parametrize("distance_m", [0.5, 3.0, 10.0])
def test_angle_and_height_are_each_other_s_inverse(distance_m: float) -> None:
    assert arc_minutes(height_for(22.0, distance_m), distance_m) == pytest.approx(22.0)
    assert math.isclose(height_for(20.0, 2 * distance_m), 2 * height_for(20.0, distance_m))


@pytest.mark.parametrize("size", [(80, 24), (100, 30), (120, 40), (160, 45), (200, 60)])
@pytest.mark.parametrize("glance", [False, True])
def test_torque_takes_a_fifth_of_the_height_and_the_word_a_tenth(size: tuple[int, int], glance: bool) -> None:
    layout = layout_for(*size, TEMPLATE, glance=glance)
    assert letter_share(layout.torque[1], size[1]) >= 0.20
    assert letter_share(layout.word[1], size[1]) >= 0.10
    assert arc_minutes(letter_share(layout.torque[1], size[1]) * 0.19, 3.0) >= 20.0
    assert arc_minutes(letter_share(layout.word[1], size[1]) * 0.19, 3.0) >= 20.0


def test_the_hint_says_what_to_do_only_when_it_is_too_small() -> None:
    layout = layout_for(120, 40, TEMPLATE, glance=False)
    assert not any("Too small" in line for line in hint(layout, 40, Eyes()))
    assert any("Too small" in line for line in hint(layout, 40, Eyes(distance_m=8.0)))
    assert "17.5 mm" in hint(layout, 40, Eyes())[2]
    assert "no room" in hint(Layout(plain=True, glance=False), 10, Eyes())[0]
