"""What trials of a meter's build say."""

from __future__ import annotations

from dataclasses import replace

import pytest

from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.commissioning.trials import crank_trial, pull_trial, release_trial, stretch_trial

PULL_N = 9.80665


def at(torque_Nm: float) -> float:
    return SIMULATED.zero_counts + torque_Nm / SIMULATED.Nm_per_count


def test_a_pull_that_stays_on_the_axis() -> None:
    found = pull_trial(at(0), at(0.05e-3), at(2e-6), SIMULATED, PULL_N)
    assert found.passed
    assert found.figures["moved_Nm"] == pytest.approx(0.049e-3)
    assert "stays under the pull" in found.words


def test_a_pull_is_judged_by_the_motors_torque() -> None:
    """0.44 mN·m: 10 N, half a millimetre off the axis and tilted by 5°; much of 2 mN·m, little of 40."""
    small = pull_trial(at(0), at(-0.44e-3), at(0), SIMULATED, 10.0, 2e-3)
    assert small.passed is False
    assert small.figures["launch_share"] == pytest.approx(-0.22, abs=1e-3)
    assert small.figures["Nm_per_N"] == pytest.approx(-44e-6, rel=1e-3)
    assert "22.0% of a launch torque of 2.00 mN·m" in small.words
    assert pull_trial(at(0), at(-0.44e-3), at(0), SIMULATED, 10.0, 40e-3).passed


def test_without_rating_and_launch_torque_a_pull_is_shown_and_not_judged() -> None:
    bare = replace(SIMULATED, rating_Nm=None)
    found = pull_trial(at(0), at(1e-3), at(0), bare, PULL_N)
    assert found.passed is None
    assert "+1.000 mN·m" in found.words
    assert pull_trial(at(0), at(1e-3), at(0), bare, PULL_N, 4e-3).passed is False


def test_a_reading_at_full_stretch_without_a_turn_is_the_pull() -> None:
    found = stretch_trial(at(0), at(0.157e-3), SIMULATED, 3.5e-3)
    assert found.passed is False
    assert found.figures["launch_share"] == pytest.approx(0.157 / 3.5, rel=1e-3)
    assert "no torque of the motor" in found.words
    assert stretch_trial(at(0), at(0.02e-3), SIMULATED, 3.5e-3).passed
    assert stretch_trial(at(0), at(0.02e-3), replace(SIMULATED, rating_Nm=None)).passed is None


@pytest.mark.parametrize(
    ("load", "back", "passed", "says"),
    [
        (15e-3, 0.01e-3, True, "comes back to zero"),
        (15e-3, 0.1e-3, False, "oil the bearing"),
        (-15e-3, -0.1e-3, False, "oil the bearing"),
        (15e-3, -0.1e-3, False, "creeps"),
        (1e-3, 0.0, None, "too little"),
        (0.0, 0.0, None, "too little"),
    ],
)
def test_what_stays_behind(load: float, back: float, passed: bool | None, says: str) -> None:
    found = release_trial(at(0), at(load), at(back), SIMULATED)
    assert found.passed is passed
    assert says in found.words


@pytest.mark.parametrize(
    ("pulses", "quadrature", "passed", "says"),
    [
        (20, False, True, "20 pulses"),
        (None, False, None, "no crank sensor"),
        (0, False, False, "gives nothing"),
        (40, False, False, "2 pulses per turn"),
        (23, False, False, "bounces"),
        (17, False, False, "too far"),
        (-20, True, False, "swap"),
    ],
)
def test_pulses_of_twenty_turns(pulses: int | None, quadrature: bool, passed: bool | None, says: str) -> None:
    found = crank_trial(20, pulses, quadrature=quadrature)
    assert found.passed is passed
    assert says in found.words


@pytest.mark.parametrize(
    ("pulses", "per_turn", "quadrature", "passed", "says"),
    [
        (-20, 1, True, True, "left-hand"),
        (20, 1, True, False, "wrong way: swap the two crank switches."),
        (20, 1, False, True, "20 pulses."),
        (-79, 4, True, True, "79 pulses, counted down"),
        (-40, 1, True, False, "2 pulses per turn"),
        (-17, 1, True, False, "17 pulses in 20 turns"),
    ],
)
def test_pulses_of_twenty_turns_left_hand(
    pulses: int, per_turn: int, quadrature: bool, passed: bool, says: str
) -> None:
    found = crank_trial(20, pulses, quadrature=quadrature, pulses_per_turn=per_turn, left_hand=True)
    assert found.passed is passed
    assert says in found.words
    assert found.figures["pulses"] == pulses


@pytest.mark.parametrize(
    ("pulses", "quadrature", "passed", "says"),
    [
        (80, False, True, "80 pulses"),
        (79, False, True, "79 pulses"),
        (20, False, False, "the meter says 4"),
        (70, False, False, "too far"),
        (95, False, False, "bounces"),
        (-81, True, False, "swap"),
    ],
)
def test_four_pulses_a_turn_of_twenty_turns(pulses: int, quadrature: bool, passed: bool, says: str) -> None:
    found = crank_trial(20, pulses, quadrature=quadrature, pulses_per_turn=4)
    assert found.passed is passed
    assert says in found.words
