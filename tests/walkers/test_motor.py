"""The bench's motor: law A is the project's own, the others do what they are described to do."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench.walkers.judging import even_risk
from tests.bench.walkers.motor import LAWS, THRESHOLD, WalkedMotor
from tests.bench.walkers.winding import HOOKS_M, LABELLED, PLAN
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.simulator.motor import SimulatedMotor

DT_S = 0.025


def stretched(turns: float = PLAN.stretched_turns) -> WalkedMotor:
    motor = WalkedMotor(LABELLED, torque_scale=1.0, hooks_m=HOOKS_M)
    for number in range(1, 101):
        motor.move(0.0, 0.3 + (PLAN.stretch_distance_m - 0.3) * number / 100, DT_S)
    for number in range(1, 401):
        motor.move(turns * number / 400, PLAN.stretch_distance_m, DT_S)
    return motor


def walked(m_per_s: float, turns_per_s: float, until_m: float = HOOKS_M) -> WalkedMotor:
    motor = stretched()
    at_m, turns = PLAN.stretch_distance_m, PLAN.stretched_turns
    while at_m > until_m:
        at_m = max(until_m, at_m - m_per_s * DT_S)
        turns += turns_per_s * DT_S
        motor.move(turns, at_m, DT_S)
    return motor


def test_law_a_is_the_projects_own_motor_step_by_step() -> None:
    rng = np.random.default_rng(4)
    mine = WalkedMotor(LABELLED, torque_scale=1.05, hooks_m=HOOKS_M)
    own = SimulatedMotor(LABELLED, torque_scale=1.05, strength_u=1e-9, hooks_m=HOOKS_M)
    turns, at_m = 0.0, LABELLED.loop_m
    for number in range(3000):
        turns += max(0.0, float(rng.normal(0.4, 0.3)))
        change = 0.005 if number < 340 else float(rng.normal(-0.0007, 0.004))
        at_m = min(max(at_m + change, HOOKS_M), 2.0)
        mine.move(turns, at_m, DT_S)
        own.move(turns, at_m, DT_S)
        assert mine.torque_Nm == pytest.approx(own.torque_Nm, rel=1e-9, abs=1e-12)
        assert mine.looseness("A") == pytest.approx(own.looseness, rel=1e-9, abs=1e-12)
    assert mine.looseness("A") > 0.02


def test_the_chance_is_the_share_of_motors_that_would_have_broken() -> None:
    motor = walked(0.3, 12.0)
    strengths = (np.arange(2000) + 0.5) / 2000
    # Weibull: a share u of motors bears this stretch.
    bears = DEFAULT_RUBBER.break_stretch * (-np.log(strengths) / np.log(2.0)) ** (1.0 / DEFAULT_RUBBER.break_shape)
    assert motor.risk("A") == pytest.approx(float(np.mean(bears < motor.worst["A"])), abs=1e-3)


@pytest.mark.parametrize("law", LAWS)
def test_an_even_wind_to_90_per_cent_has_the_same_chance_under_each_law(law: str) -> None:
    # 5.4 % was found with a motor of the same physics by another hand; 0.9 of the breaking turns give 5.07 % by
    # strength alone (Weibull), the rest is disorder on the way.
    assert even_risk()[law] == pytest.approx(0.054, abs=0.004)


def test_law_b_counts_no_slack_below_its_threshold() -> None:
    motor = walked(0.01, 4.0, until_m=1.0)
    assert motor.slack["B"] == 0.0
    assert motor.slack["A"] > 0.0


def test_law_b_counts_a_long_drop_once() -> None:
    motor = walked(0.3, 12.0)
    before = motor.now.stretch
    assert motor.slack["B"] > 0.05
    motor.move(motor.now.turns, HOOKS_M, DT_S)
    assert motor.now.stretch == pytest.approx(before, abs=1e-3)
    # λ never fell further below the largest of late than from the full-stretch value.
    assert motor.slack["B"] <= 0.10 * (8.3 - 6.0 - THRESHOLD)


def test_law_c_counts_only_while_the_crank_stands() -> None:
    assert walked(0.2, 12.0).slack["C"] == 0.0
    assert walked(0.2, 0.0).slack["C"] > 0.05
    assert walked(0.2, 2.9).slack["C"] > 0.05


def test_the_other_way_round_is_the_same_but_for_the_sign() -> None:
    one, other = (WalkedMotor(LABELLED, torque_scale=1.0, hooks_m=HOOKS_M) for _ in range(2))
    for number in range(200):
        one.move(4.0 * number, 1.0, DT_S)
        other.move(-4.0 * number, 1.0, DT_S)
    assert other.risk("A") == one.risk("A")
    assert other.torque_Nm == pytest.approx(-one.torque_Nm, rel=0.2)


def test_a_motor_that_is_sure_to_break_is_broken() -> None:
    motor = stretched()
    motor.move(2.0 * PLAN.breaking_turns, HOOKS_M, DT_S)
    assert motor.broken
    assert motor.torque_Nm == 0.0
