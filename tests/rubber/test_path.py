"""The plan in the live loop: it agrees with the plan, and it is what a fresh simulation gives."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rubber.motors import FIFTEEN_TO_ONE, KNOWN, KNOWN_MODEL, TEN_TO_ONE, TH_07, THISTLEDOWN
from winding_coach.rubber.figures import FiguresError, Plan
from winding_coach.rubber.law import Rubber
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.plan import make_plan
from winding_coach.rubber.table import Table, table

PLAN = make_plan(TH_07, TEN_TO_ONE, THISTLEDOWN)
PATH = PlanPath(PLAN, TH_07)


def agrees(path: PlanPath, plan: Plan, within: float = 1e-9) -> None:
    for row in plan.walk_in:
        assert path.torque_at(row.turns) == pytest.approx(row.torque_Nm, rel=within)
        assert path.distance_at(row.turns) == pytest.approx(row.distance_m, rel=1e-9)
    assert path.torque_at(plan.target_turns) == pytest.approx(plan.peak_torque_Nm, rel=1e-9)
    assert path.back_off_torque_at(plan.back_off_turns) == pytest.approx(plan.launch_torque_Nm, rel=1e-9)
    assert path.break_risk(plan.target_turns) == pytest.approx(plan.break_risk, rel=1e-6)


def test_it_goes_through_the_plan() -> None:
    agrees(PATH, PLAN)
    assert PATH.energy_left_J(PLAN.launch_turns) == pytest.approx(PLAN.energy_stored_J, rel=1e-9)
    assert PATH.walked_in_turns == pytest.approx(PLAN.walk_in[-1].turns)
    assert PATH.distance_at(0) == PLAN.stretch_distance_m
    assert PATH.distance_at(PLAN.target_turns) == pytest.approx(0.22)
    assert PATH.strand_stretch(PATH.walked_in_turns) == pytest.approx(PATH.walk_stretch)


def test_a_plan_made_with_another_rubber_keeps_its_torques() -> None:
    """A trace's plan may rest on a fitted batch: the path is bent through its figures, the strength is the plan's."""
    stiff = Rubber(shear_modulus_Pa=0.42e6, break_stretch=9.2)
    for motor, winder, model in ((TH_07, TEN_TO_ONE, THISTLEDOWN), (KNOWN, FIFTEEN_TO_ONE, KNOWN_MODEL)):
        plan = make_plan(motor, winder, model, rubber=stiff)
        agrees(PlanPath(plan, motor), plan, within=1e-6)
        # Between the anchors the shape of the default rubber is near enough.
        path, own = PlanPath(plan, motor), PlanPath(plan, motor, stiff)
        for share in (0.2, 0.5, 0.7, 0.95):
            turns = share * plan.target_turns
            assert path.torque_at(turns) == pytest.approx(own.torque_at(turns), rel=0.02)


def test_turns_at_a_torque_and_back() -> None:
    for share in (0.9, 0.95, 1.0):
        turns = share * PLAN.target_turns
        assert PATH.turns_at_torque(PATH.torque_at(turns)) == pytest.approx(turns)
    assert PATH.turns_at_torque(0.0) == PATH.walked_in_turns
    early = PATH.turns_at_torque(0.5 * PLAN.stretched_torque_Nm, from_turns=0.0)
    assert early is not None
    assert PATH.torque_at(early) == pytest.approx(0.5 * PLAN.stretched_torque_Nm)
    assert PATH.turns_at_torque(1.0) is None


def test_back_off_to_a_torque() -> None:
    assert PATH.back_off_turns_to(PLAN.launch_torque_Nm) == pytest.approx(PLAN.back_off_turns)
    assert PATH.back_off_turns_to(1.0) == 0
    assert PATH.back_off_turns_to(-1.0) == pytest.approx(PLAN.target_turns)
    assert PATH.back_off_torque_at(0) == pytest.approx(PLAN.peak_torque_Nm, rel=0.01)


def test_energy_left_ends_at_nothing() -> None:
    assert PATH.energy_left_J(0) == PATH.energy_left_J(-5) == 0
    assert PATH.energy_left_J(1e9) == PATH.energy_left_J(PLAN.target_turns) > PLAN.energy_stored_J


def test_risk_by_the_ellipse_of_equal_stretch() -> None:
    """At the breaking turns more than half have broken: half by the law, the rest by the disorder of the knots."""
    assert 0.5 < PATH.break_risk(PLAN.breaking_turns) < 0.8
    assert PATH.break_risk(0, 9.61 * 0.30) == pytest.approx(0.5, abs=1e-3)
    assert PATH.break_risk(800, 2.2) > PATH.break_risk(800)
    assert PATH.break_risk(1300, torque_scale=1.1) > PATH.break_risk(1300) > PATH.break_risk(1300, torque_scale=0.9)


@given(st.floats(0, 3000), st.floats(0.05, 3.0), st.floats(0.3, 3.0))
def test_it_always_answers(turns: float, distance: float, scale: float) -> None:
    assert 0 <= PATH.break_risk(turns, distance, scale) <= 1
    assert 0.22 <= PATH.distance_at(turns) <= PLAN.stretch_distance_m
    assert 0 <= PATH.torque_at(turns) < 1
    assert 0 <= PATH.back_off_torque_at(turns) <= PLAN.peak_torque_Nm


def test_without_back_off() -> None:
    plan = make_plan(TH_07, TEN_TO_ONE, replace(THISTLEDOWN, launch_torque_Nm=1.0))
    path = PlanPath(plan, TH_07)
    assert path.back_off_turns_to(plan.launch_torque_Nm) == 0
    assert path.torque_at(plan.target_turns) == pytest.approx(plan.peak_torque_Nm)


@pytest.mark.parametrize(
    "change",
    [
        {"walk_in": ()},
        {"stretch_distance_m": 0.1},
        {"stretched_turns": 0.0},
        {"target_turns": 1e6},
        {"breaking_turns": math.inf},
        {"target_crank_turns": 0.0},
        {"linear_density_kg_per_m": 0.0},
        {"launch_turns": -1.0},
    ],
)
def test_a_plan_that_contradicts_itself_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(FiguresError, match="contradict"):
        PlanPath(replace(PLAN, **change), TH_07)  # type: ignore[arg-type]


def test_a_table() -> None:
    squares = table([0, 1, 1, 2, 3], [0, 1, 99, 4, 9])
    assert squares == Table((0, 1, 2, 3), (0, 1, 4, 9))
    assert [squares.at(mark) for mark in (-1, 0, 0.5, 1, 2.5, 3, 9)] == [0, 0, 0.5, 1, 6.5, 9, 9]
    assert squares.integral(0, 3) == 9.5
    assert squares.integral(0.5, 1.5) == pytest.approx(0.375 + 0.875)
    assert squares.integral(2, 2) == squares.integral(3, 1) == 0
    assert squares.first_at_or_above(4, 0) == 2
    assert squares.first_at_or_above(6.5, 0.5) == 2.5
    assert squares.first_at_or_above(0.2, 2) == 2
    assert squares.first_at_or_above(10, 0) is None
