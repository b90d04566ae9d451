"""Strands let go, told from torque: held against the law that makes the torque, and against the three laws."""

from __future__ import annotations

import math

import pytest

from tests.scenario import MOTOR, PLAN
from winding_coach.review.wind.loosening import (
    FAR,
    FAR_LET_GO,
    LEAST_FALL,
    LET_GO,
    LOOKS_EVERY_S,
    STANDING_LET_GO,
    Loosening,
    Strands,
)
from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.history import History, advance
from winding_coach.rubber.law import DEFAULT_RUBBER, geometry
from winding_coach.rubber.motor import before_the_wind
from winding_coach.rubber.path import PlanPath

PATH = PlanPath(PLAN, MOTOR)
RUBBER = geometry(MOTOR.loop_m, PLAN.linear_density_kg_per_m, MotorFigures(0.3, 1e-3).strands, DEFAULT_RUBBER)
TURNS = 0.8 * PATH.walked_in_turns


def on_the_path(turns: float) -> History:
    """The motor on the plan's path, evenly wound."""
    now, at = before_the_wind(RUBBER, MOTOR.use, PATH.hooks_m), 0.0
    while at < turns:
        at += 2.0
        now = advance(RUBBER, now, PATH.distance_at(at), at, 0.2)
    return now


@pytest.mark.parametrize(("share", "within"), [(0.998, 0.35), (0.99, 0.35), (0.98, 0.35), (0.97, 0.5)])
@pytest.mark.parametrize("along", [0.55, 0.8, 0.95])
def test_the_law_run_backwards_finds_what_was_let_go(share: float, within: float, along: float) -> None:
    """The simulated motor's torque (hysteresis after Iwan 1967, relaxation) at a shorter distance; the strands know
    only the ratio. Near the hooks a motor cannot be let go further than to them."""
    start = on_the_path(along * PATH.walked_in_turns)
    to_m = max(PATH.distance_at_stretch(share * start.stretch, start.turns), PATH.hooks_m)
    let_go = advance(RUBBER, start, to_m, start.turns, 0.3)
    found = Strands(PATH).tell(let_go.torque_Nm / start.torque_Nm)
    true = let_go.stretch / start.stretch
    assert 1.0 - found == pytest.approx(1.0 - true, rel=within, abs=0.001)


def test_what_is_let_go_is_taken_up_again() -> None:
    strands = Strands(PATH)
    assert strands.tell(0.7) < 0.99
    assert strands.tell(1.0) == pytest.approx(1.0, abs=0.01)
    assert strands.tell(1.0) == strands.ratio


def told(ratios: list[float], turns_per_s: float | None = 12.0, every_s: float = LOOKS_EVERY_S) -> Loosening:
    found = Loosening(PATH)
    for number, ratio in enumerate(ratios):
        found.tell(number * every_s, ratio, TURNS, turns_per_s)
    return found


def held(ratio: float, seconds: float) -> list[float]:
    return [ratio] * round(seconds / LOOKS_EVERY_S)


EVEN = PATH.break_risk(PLAN.target_turns, PATH.hooks_m)


def test_torque_on_the_path_lets_nothing_go_and_adds_nothing() -> None:
    found = told(held(1.0, 30.0)).by(PLAN.target_turns)
    assert found.let_go == 0.0
    assert found.disorder == (0.0, 0.0, 0.0)
    assert found.break_risk == pytest.approx(EVEN)


def test_ripple_is_nothing_let_go() -> None:
    rippled = [1.0 + 0.05 * math.sin(2.0 * math.pi * 1.2 * number * 0.025) for number in range(1200)]
    assert told(rippled, every_s=0.025).by(PLAN.target_turns).let_go == 0.0


def test_one_long_fall_counts_under_each_law_as_it_says() -> None:
    """First law: all of it; second: what is beyond its threshold; third: nothing, for the crank turns."""
    falls = held(1.0, 5.0) + held(0.45, 6.0)
    turning, standing = told(falls), told(falls, 0.0)
    let_go = turning.by(PLAN.target_turns).let_go
    assert let_go > 0.03 * PATH.walk_stretch
    first, second, third = turning.by(PLAN.target_turns).disorder
    assert first == pytest.approx(LET_GO * let_go)
    # The largest stretch of late is forgotten while torque falls.
    assert 0.2 * FAR_LET_GO * (let_go - FAR) < second < FAR_LET_GO * (let_go - FAR)
    assert third == 0.0
    assert standing.by(PLAN.target_turns).disorder[2] == pytest.approx(STANDING_LET_GO * let_go)


def test_short_falls_are_harmless_under_the_second_law_alone() -> None:
    ratios = held(1.0, 5.0)
    for _ in range(4):
        ratios += held(0.75, 4.0) + held(1.0, 6.0)
    first, second, third = told(ratios).by(PLAN.target_turns).disorder
    assert first > 4.0 * LET_GO * LEAST_FALL * PATH.walk_stretch
    assert (second, third) == (0.0, 0.0)


def test_more_let_go_is_more_risk_and_the_mean_of_the_three_counts() -> None:
    risks = [told(held(1.0, 5.0) + held(ratio, 6.0)).by(PLAN.target_turns).break_risk for ratio in (0.9, 0.8, 0.6, 0.5)]
    assert risks == sorted(risks)
    assert risks[-1] > 1.5 * EVEN
    found = told(held(1.0, 5.0) + held(0.6, 6.0)).by(PLAN.target_turns)
    each = [PATH.risk_at(PATH.stretch_at_worst(PLAN.target_turns, PATH.hooks_m, one)) for one in found.disorder]
    assert found.break_risk == pytest.approx(sum(each) / 3.0)


def test_a_stand_that_is_told_late_is_told_all_the_same() -> None:
    """The meter shows a second late that the crank stands; torque fell meanwhile."""
    found = Loosening(PATH)
    for number, ratio in enumerate(held(1.0, 5.0) + held(0.6, 6.0)):
        at_s = number * LOOKS_EVERY_S
        found.tell(at_s, ratio, TURNS, 12.0 if at_s < 6.5 else 0.0)
    _, _, third = found.by(PLAN.target_turns).disorder
    assert third > 0.0


def test_turns_piled_up_far_out_are_a_risk_of_their_own() -> None:
    """Torque far above the path's: the strands are stretched further than the path wants, and may break there."""
    assert told(held(1.5, 20.0)).by(PLAN.target_turns).break_risk > 2.0 * EVEN
    assert told(held(1.05, 20.0)).by(PLAN.target_turns).break_risk == pytest.approx(EVEN)


def test_without_counted_turns_falls_count_and_height_does_not() -> None:
    found = Loosening(PATH)
    for number, ratio in enumerate(held(1.0, 5.0) + held(1.5, 10.0) + held(0.7, 5.0)):
        found.tell(number * LOOKS_EVERY_S, ratio, None, None)
    assert found.by(PLAN.target_turns).let_go > 0.0
    assert found.by(0.8 * PLAN.target_turns).break_risk < EVEN
