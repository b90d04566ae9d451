"""Turns in a wound motor from its torque when stretched, against the simulated motor with its whole history."""

from __future__ import annotations

import math

import pytest

from tests.scenario import MOTOR, PLAN
from winding_coach.rubber.law import torque_Nm
from winding_coach.rubber.turns_left import AFTER_A_WIND, STRETCH_LENGTHS, StretchedMotor
from winding_coach.simulator.letting_down import Landed, landed

HOOKS_M = PLAN.walk_in[-1].distance_m


def stretched_to(of: Landed, lengths: float, over_s: float = 3.0, wait_s: float = 2.0) -> float:
    """Torque of a motor that was stretched out and held."""
    to_m = lengths * MOTOR.loop_m
    for i in range(1, 61):
        of.motor.move(of.turns, HOOKS_M + (to_m - HOOKS_M) * i / 60, over_s / 60)
    of.motor.move(of.turns, to_m, wait_s)
    return of.motor.torque_Nm


@pytest.mark.parametrize("lengths", [3.0, 4.0, 5.0])
@pytest.mark.parametrize("share", [0.05, 0.15, 0.3, 0.5])
def test_after_a_wind_torque_is_a_constant_share_of_the_law_when_stretched(lengths: float, share: float) -> None:
    of = landed(PLAN, MOTOR, share)
    law = torque_Nm(of.motor.geometry, lengths * MOTOR.loop_m, of.turns)
    assert stretched_to(of, lengths) / law == pytest.approx(AFTER_A_WIND, abs=0.02)


def test_at_the_hooks_it_would_not_do() -> None:
    """Over the middle of the turns torque at the hooks changes by a tenth of what it does stretched out."""
    few, many = landed(PLAN, MOTOR, 0.15), landed(PLAN, MOTOR, 0.35)
    at_hooks = many.motor.torque_Nm / few.motor.torque_Nm
    stretched = stretched_to(many, STRETCH_LENGTHS) / stretched_to(few, STRETCH_LENGTHS)
    assert stretched > 1.7
    assert at_hooks < 1.1


@pytest.mark.parametrize(
    ("share", "scale", "reached"), [(0.06, 1.06, 1.0), (0.15, 0.93, 0.97), (0.3, 1.0, 1.02), (0.5, 1.05, 0.95)]
)
@pytest.mark.parametrize("known", [True, False])
def test_turns_within_their_doubt(share: float, scale: float, reached: float, known: bool) -> None:
    of = landed(PLAN, MOTOR, share, torque_scale=scale, reached=reached)
    motor = StretchedMotor(MOTOR, HOOKS_M, scale if known else None)
    found = motor.turns_at(stretched_to(of, STRETCH_LENGTHS))
    assert abs(found.turns - of.turns) < 2.5 * found.sd
    if known:
        assert abs(found.turns - of.turns) < 0.03 * of.launch_turns


def test_torque_and_turns_are_each_other_s_inverse_and_small_twist_is_rivlin_s_torsion() -> None:
    motor = StretchedMotor(MOTOR, HOOKS_M, 1.0)
    for turns in (1.0, 40.0, 300.0, 700.0):
        assert motor.turns_at(motor.torque_Nm(turns)).turns == pytest.approx(turns, abs=0.01)
    # Small twist at fixed stretch: torque goes with the twist (Rivlin's torsion, from memory).
    assert motor.torque_Nm(2.0) / motor.torque_Nm(1.0) == pytest.approx(2.0, rel=1e-3)
    assert (motor.turns_at(0.0).turns, motor.turns_at(1.0).turns) == (0.0, motor._most)
    assert math.isfinite(motor.turns_at(1e-9, 1e-3).sd)


def test_slack_strands_hide_the_last_turns_at_the_hooks() -> None:
    of = landed(PLAN, MOTOR, 0.1)
    motor = StretchedMotor(MOTOR, HOOKS_M)
    of.motor.move(1.2 * motor.slack_turns, HOOKS_M, 5.0)
    assert of.motor.torque_Nm > 0.0
    of.motor.move(0.95 * motor.slack_turns, HOOKS_M, 5.0)
    assert of.motor.torque_Nm == 0.0
    assert StretchedMotor(MOTOR, 1.2 * MOTOR.loop_m).slack_turns == 0.0
