"""A wind on a simulated meter says so at every size, while it lasts and when it is over."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.screen.views import done, final, walk_in
from winding_coach.screen.face import Scene, face
from winding_coach.screen.page import page_object

SIZES = [(60, 18), (80, 24), (120, 40), (200, 60)]


@pytest.mark.parametrize("glance", [False, True])
@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_the_bar_says_simulated(columns: int, rows: int, glance: bool) -> None:
    """At 80x24, and on the finished screen at 120x40, nothing did."""
    for still in (walk_in(), final(), done()):
        view = replace(still.view, link=replace(still.view.link, meter="simulated"))
        scene = Scene(view, trace_name="2026-03-01-140509-th-07.wind.jsonl", glance=glance, mode="REPLAY", heard="bell")
        bar = face(scene, columns, rows).lines()[0]
        assert "SIMULATED" in bar
        assert "simulated" in page_object(view, (), None, None)["link"]
        real = face(replace(scene, view=still.view), columns, rows).lines()[0]
        assert "SIMULATED" not in real
