"""The time after ready and the list before the wind: when torque has left its band, and what is kept of both."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.coach.test_alarms import CALM
from tests.scenario import SETTINGS, coached, wind
from winding_coach.base.inputs import BytesArrived, Input, KeyPressed
from winding_coach.coach.checks import checks_for, ticked
from winding_coach.coach.limits import limits_from
from winding_coach.coach.said import Phase, Prompt, Summary
from winding_coach.coach.step import Coach
from winding_coach.coach.waiting import HELD_S, Waiting, turns_to_take_in
from winding_coach.coach.wording import prompt_words
from winding_coach.rubber.path import PlanPath
from winding_coach.simulator.letting_down import landed

LIMITS = limits_from(SETTINGS)
READY = replace(CALM, phase=Phase.READY, in_phase_s=10.0, gone_s=0.0, torque_Nm=LIMITS.launch_Nm)


def told(*shares: tuple[float, float]) -> Waiting:
    """Torque as shares of the launch torque, at times."""
    waiting = Waiting()
    for at_s, share in shares:
        waiting.tell(replace(READY, at_s=at_s, torque_Nm=share * LIMITS.launch_Nm), LIMITS)
    return waiting


def test_torque_that_stays_below_its_band_is_said_and_a_moments_dip_is_not() -> None:
    assert told((0.0, 1.0), (1.0, 0.95), (1.0 + HELD_S, 0.95)).low
    assert not told((0.0, 1.0), (1.0, 0.95), (0.9 + HELD_S, 0.95)).low
    assert not told((1.0, 0.95), (2.0, 0.99), (1.0 + HELD_S, 0.95)).low
    assert not told((0.0, 0.97), (60.0, 0.97)).low


def test_wound_in_again_it_is_over() -> None:
    assert not told((0.0, 0.95), (HELD_S, 0.95), (9.0, 0.985)).low


def test_a_motor_that_comes_off_the_hook_has_not_relaxed() -> None:
    waiting = told((0.0, 1.0), (1.0, 0.5), (1.1, 0.2), (9.0, 0.0))
    assert not waiting.low
    assert waiting.handed_s == 0.0
    # 35 turns were to be taken in on an empty hook.
    assert not told((0.0, 0.95), (HELD_S, 0.95), (HELD_S + 0.1, 0.3)).low, (
        "35 turns were to be taken in on an empty hook"
    )


def test_the_turns_to_take_in_bring_a_simulated_motor_back_to_its_launch_torque() -> None:
    """Against the motor with its whole history: wound by its plan, backed off, waiting for a minute, turns taken in."""
    motor = landed(SETTINGS.plan, SETTINGS.motor, 1.0).motor
    hooks_m = SETTINGS.plan.walk_in[-1].distance_m
    relaxed_Nm = motor.torque_Nm
    limits = replace(LIMITS, launch_Nm=1.06 * relaxed_Nm)
    more = turns_to_take_in(relaxed_Nm, limits)
    assert 1 <= more <= 6
    motor.move(motor.turns + more, hooks_m, 1.0)
    assert motor.torque_Nm == pytest.approx(limits.launch_Nm, rel=0.04)


def with_keys(inputs: tuple[Input, ...], *keys: str) -> list[Input]:
    """Keys pressed with the first bytes of the meter."""
    first = next(number for number, event in enumerate(inputs) if isinstance(event, BytesArrived))
    at_s = inputs[first].at_s
    return [*inputs[: first + 1], *(KeyPressed(at_s, key) for key in keys), *inputs[first + 1 :]]


@pytest.fixture(scope="module")
def good() -> tuple[Input, ...]:
    return wind("good", 3)


def test_what_was_ticked_and_the_wait_are_in_the_summary(good: tuple[Input, ...]) -> None:
    coach = Coach(SETTINGS)
    for event in with_keys(good, "check_knot", "check_eyes", "check_lubricant", "check_lubricant"):
        coach.step(event)
    found = coach.summary
    assert isinstance(found, Summary)
    assert found.checks == ("eyes", "knot"), "a second press takes it back"
    assert found.as_json()["checks"] == ["eyes", "knot"]
    assert found.wait_s is not None
    ready = next(at_s for at_s, _, phase in coach.view.phase_starts if phase is Phase.READY)
    assert 0.0 < found.wait_s < coach.view.at_s
    assert found.at_s - ready < found.wait_s + 10.0


def test_nothing_ticked_is_nothing_kept(good: tuple[Input, ...]) -> None:
    _, said = coached(good)
    (found,) = [one for one in said if isinstance(one, Summary)]
    assert found.checks == ()
    assert "checks" not in found.as_json()


def test_ticks_count_only_before_the_first_turn(good: tuple[Input, ...]) -> None:
    late = [*good[: len(good) // 2], KeyPressed(good[len(good) // 2 - 1].at_s, "checked"), *good[len(good) // 2 :]]
    coach = Coach(SETTINGS)
    for event in late:
        coach.step(event)
    assert coach.summary is not None
    assert coach.summary.checks == ()


def test_one_key_ticks_all_and_break_in_is_for_new_rubber_only() -> None:
    new, used = checks_for(SETTINGS.motor), checks_for(replace(SETTINGS.motor, use=4))
    assert "break_in" in new
    assert "break_in" not in used
    assert ticked(("knot",), "checked", used) == used
    assert ticked((), "check_break_in", used) == ()


def test_a_prompt_says_how_many_crank_turns() -> None:
    words = Prompt(0.0, "launch_or_wind", "", None, 0.2, 3.3e-3, 2.0, next_Nm=3.53e-3)
    assert prompt_words(words, "metric") == "Launch, or take in 0.2 crank turns again: 3.30 mN·m, 3.53 mN·m wanted."


def test_the_plans_back_off_is_what_is_taken_in_again() -> None:
    path = PlanPath(SETTINGS.plan, SETTINGS.motor)
    assert path.torque_at(SETTINGS.plan.target_turns) == pytest.approx(LIMITS.peak_Nm, rel=0.02)
    assert turns_to_take_in(LIMITS.peak_Nm, LIMITS) == 1.0
    assert turns_to_take_in(0.0, LIMITS) == pytest.approx(
        LIMITS.launch_Nm * LIMITS.back_off_turns / (LIMITS.peak_Nm - LIMITS.launch_Nm), abs=0.5
    )
