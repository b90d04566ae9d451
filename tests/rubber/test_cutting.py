"""The cut: width from linear density, length with its knot; checked against geometry and a published density."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from winding_coach.rubber.cutting import KNOT_M, Weighed, cut_for, kit, loop_of_mass, sheet_of
from winding_coach.rubber.figures import FiguresError, MotorFigures
from winding_coach.rubber.motor import geometry_of


def test_width_times_thickness_times_density_is_the_linear_density() -> None:
    # Natural rubber: 0.92-0.93 g/cm³ (Brandrup, Immergut & Grulke, Polymer Handbook, 4th ed., 1999; from memory).
    sheet = sheet_of([], thickness_m=1.0e-3)
    cut = cut_for(2.325e-3, 0.31, sheet)
    assert cut.width_m == pytest.approx(2.5e-3, rel=0.012)
    assert cut.width_sd_m / cut.width_m == pytest.approx(math.hypot(0.02, 0.03))


def test_the_length_holds_all_strands_and_the_knot() -> None:
    cut = cut_for(2.2e-3, 0.31, sheet_of([], thickness_m=1e-3), strands=4, orings_kg=0.07e-3, knot_m=0.03)
    assert cut.strip_m == pytest.approx(4 * 0.31 + 0.03)
    assert cut.mass_kg == pytest.approx(2.2e-3 * 1.27 + 0.07e-3)


def test_what_is_cut_is_planned_at_the_density_that_was_wanted() -> None:
    """The plan takes all mass for strands, so the knot makes it a little denser than the strip: by the knot's share."""
    cut = cut_for(2.2e-3, 0.31, sheet_of([], thickness_m=1e-3), orings_kg=0.07e-3)
    planned = geometry_of(MotorFigures(cut.loop_m, cut.mass_kg, 0.07e-3))
    assert planned.linear_density_kg_per_m == pytest.approx(2.2e-3 * (1 + KNOT_M / 0.62))


def test_weighed_strips_decide_and_their_spread_is_said() -> None:
    strips = [Weighed(2.4e-3, 1.0, m * 1e-3) for m in (2.21, 2.26, 2.18, 2.24)]
    sheet = sheet_of(strips, thickness_m=5e-3)
    assert sheet.strips == 4
    assert sheet.areal_kg_per_m2 == pytest.approx(2.2225e-3 / 2.4e-3)
    # Sample standard deviation by hand: masses 2.21, 2.26, 2.18, 2.24 about 2.2225, with the assumed 1.5 % as two more.
    squares = sum((m / 2.2225 - 1) ** 2 for m in (2.21, 2.26, 2.18, 2.24))
    assert sheet.strip_cv == pytest.approx(math.sqrt((squares + 2 * 0.015**2) / 5))
    assert sheet.cv == pytest.approx(sheet.strip_cv / 2)


@given(
    density=st.floats(0.8e-3, 8e-3),
    loop=st.floats(0.1, 1.0),
    orings=st.floats(0.0, 0.2e-3),
    strands=st.sampled_from([2, 4, 6]),
    knot=st.floats(0.0, 0.05),
)
def test_a_motor_of_the_cut_mass_has_the_cut_loop(
    density: float, loop: float, orings: float, strands: int, knot: float
) -> None:
    cut = cut_for(density, loop, sheet_of([], 1e-3), strands=strands, orings_kg=orings, knot_m=knot)
    back = loop_of_mass(density, cut.mass_kg, strands=strands, orings_kg=orings, knot_m=knot)
    assert back == pytest.approx(loop)


def test_a_kit_has_one_mass_and_the_optimum_in_its_middle() -> None:
    cuts = kit(2.2e-3, 1.45e-3, sheet_of([], 1e-3), count=5, step=0.03, orings_kg=0.07e-3)
    assert {round(one.mass_kg, 9) for one in cuts} == {1.45e-3}
    assert cuts[2].density_kg_per_m == pytest.approx(2.2e-3)
    ratios = [b.density_kg_per_m / a.density_kg_per_m for a, b in pairwise(cuts)]
    assert ratios == pytest.approx([1.03] * 4)
    assert [one.loop_m for one in cuts] == sorted((one.loop_m for one in cuts), reverse=True)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: sheet_of([]), "weigh one"),
        (lambda: sheet_of([Weighed(2.4e-3, 1.0, 2.2)]), "does not weigh"),
        (lambda: cut_for(2.2e-3, 0.3, sheet_of([], 1e-3), strands=3), "even number"),
        (lambda: cut_for(2.2, 0.3, sheet_of([], 1e-3)), "impossible"),
        (lambda: loop_of_mass(2.2e-3, 0.05e-3, orings_kg=0.08e-3), "leaves no rubber"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(call: object, says: str) -> None:
    with pytest.raises(FiguresError, match=says):
        call()  # type: ignore[operator]
