"""What is hard to believe of a plan: each slip of the hand by its sentence, none for a usual motor. Motors invented."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.scenario import MODEL, MOTOR, PLAN, WINDER
from winding_coach.rubber.doubts import doubts_of
from winding_coach.rubber.figures import ModelFigures, MotorFigures
from winding_coach.rubber.plan import make_plan


def doubted(motor: MotorFigures, model: ModelFigures = MODEL) -> tuple[str, ...]:
    return doubts_of(make_plan(motor, WINDER, model), motor, model, "metric")


def test_a_usual_motor_is_not_doubted() -> None:
    assert doubted(MOTOR) == ()


@pytest.mark.parametrize(
    ("mass_kg", "word"),
    # One gramme in a loop of 30 cm is 0.6 m of strand: 1.4 g/m and more are strips, 0.1 and 20 g/m are none.
    [(0.06e-3, "too thin"), (12e-3, "too thick")],
)
def test_a_mass_that_no_strip_gives_is_doubted_first(mass_kg: float, word: str) -> None:
    said = doubted(replace(MOTOR, mass_kg=mass_kg, orings_kg=0.0))
    assert word in said[0]
    assert "check both" in said[0]


def test_a_loop_of_three_metres_is_a_slip_of_the_unit() -> None:
    (said,) = doubted(replace(MOTOR, loop_m=3.0, mass_kg=14e-3), replace(MODEL, hooks_m=2.0))
    assert said.startswith("A loop of 300.0 cm would be stretched to")
    assert said.endswith("check its unit.")


@pytest.mark.parametrize(
    ("hooks_m", "why"), [(0.05, "longer than that by its knots alone"), (0.45, "that stretches it")]
)
def test_hooks_that_do_not_go_with_the_loop_are_doubted(hooks_m: float, why: str) -> None:
    (said,) = doubted(MOTOR, replace(MODEL, hooks_m=hooks_m))
    assert why in said


def test_little_room_a_high_share_and_a_strong_pull_are_said() -> None:
    plan = replace(PLAN, stretch_distance_m=0.8, break_risk=0.31, stretched_pull_N=98.0665)
    said = doubts_of(plan, MOTOR, MODEL, "metric")
    assert "2.7 loop lengths only" in said[0]
    assert said[1].startswith("31% of such motors break")
    # 98.0665 N is the weight of 10 kg by the standard acceleration of free fall (exact by definition).
    assert "98 N (10 kg hung on the hook)" in said[2]
