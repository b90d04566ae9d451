"""A motor's figures: what cannot be is refused in one sentence."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from winding_coach.rubber.figures import FiguresError, MotorFigures
from winding_coach.rubber.history import advance
from winding_coach.rubber.motor import before_the_wind, breaking_turns, geometry_of, share_of, usual_share

TH_07 = MotorFigures(loop_m=0.30, mass_kg=1.40e-3, orings_kg=0.08e-3, name="th-07")


def test_linear_density_leaves_the_o_rings_out() -> None:
    assert geometry_of(TH_07).linear_density_kg_per_m == pytest.approx(2.2e-3)


@pytest.mark.parametrize(
    "change",
    [
        {"loop_m": 0.0},
        {"loop_m": -0.3},
        {"loop_m": math.nan},
        {"loop_m": math.inf},
        {"mass_kg": 0.0},
        {"mass_kg": math.nan},
        {"orings_kg": 1.5e-3},
        {"orings_kg": -1e-5},
        {"strands": 0},
        {"strands": 1000},
        {"mass_kg": 0.9},
        {"loop_m": 9.0},
    ],
)
def test_impossible_figures_are_refused_in_a_sentence(change: dict[str, float]) -> None:
    with pytest.raises(FiguresError, match=r"^[A-Z][^\n]*: [^\n]*\.$"):
        geometry_of(replace(TH_07, **change))  # type: ignore[arg-type]


@pytest.mark.parametrize("change", [{"use": 0}, {"share": 0.1}, {"share": 1.0}, {"share": math.nan}])
def test_impossible_shares_are_refused_in_a_sentence(change: dict[str, float]) -> None:
    with pytest.raises(FiguresError, match=r"^[A-Z][^\n]*: [^\n]*\.$"):
        share_of(replace(TH_07, **change))  # type: ignore[arg-type]


def test_usual_shares_by_use() -> None:
    """80, 85, 90 % at first, second and later use: common practice, no source."""
    assert [usual_share(use) for use in (1, 2, 3, 4, 40)] == [0.80, 0.85, 0.90, 0.90, 0.90]
    assert share_of(replace(TH_07, use=2)) == 0.85
    assert share_of(replace(TH_07, use=2, share=0.7)) == 0.7


def test_breaking_turns_of_common_practice() -> None:
    """17.5 in of 0.080 g/in: about 2025 turns, 135 of a 15:1 winder (common practice, no source)."""
    motor = geometry_of(MotorFigures(loop_m=17.5 * 0.0254, mass_kg=2.8e-3))
    turns = breaking_turns(motor, 15 * 0.0254)
    assert turns == pytest.approx(2025, rel=0.002)
    assert turns / 15 == pytest.approx(135, rel=0.002)


def test_a_motor_softens_in_its_first_winds() -> None:
    motor = geometry_of(TH_07)
    torque = [advance(motor, before_the_wind(motor, use, 0.22), 1.8, 500, 60).torque_Nm for use in (1, 2, 3, 4)]
    assert torque[0] > torque[1] > torque[2] == torque[3]
