"""Turns left, counted while a motor is let down: against the simulated motor's own, through real wire bytes."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.scenario import MOTOR, PLAN, SETTINGS, WINDER
from winding_coach.base.inputs import BytesArrived, Ended, Input, KeyPressed, LinkUp, TimePassed
from winding_coach.coach.said import Phase, PhaseSaid, Prompt, Unwound
from winding_coach.coach.unwinding import UnwindCoach
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.turns_left import StretchedMotor
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.faults import FaultyBench, parse_fault
from winding_coach.simulator.letting_down import Landed, LettingDown, landed

HOOKS_M = PLAN.walk_in[-1].distance_m


def let_down(
    of: Landed,
    seed: int = 1,
    *,
    channels: str = "c",
    pulses: int = 1,
    faults: tuple[str, ...] = (),
    lengths: float = 4.0,
    gain: float = 0.0,
) -> list[Input]:
    """What comes from a meter while the motor is let down, a tick at a time."""
    rng = np.random.default_rng(seed)
    hands = LettingDown(of.turns, WINDER.ratio, HOOKS_M, lengths * MOTOR.loop_m, rng)
    model = MeterModel(channels=channels, pulses_per_turn=pulses, gain_error=gain)
    bench = FaultyBench(Bench(of.motor, hands, WINDER.ratio, model, rng), tuple(map(parse_fault, faults)), rng)
    events: list[Input] = [LinkUp(0.0, "test")]
    at_s = 0.0
    while not bench.done:
        at_s = round(at_s + 0.0125, 6)
        data = bench.advance(0.0125)
        events.append(BytesArrived(at_s, data) if data else TimePassed(at_s))
    events.append(Ended(at_s))
    return events


def motor_of(of: Landed, *, known: bool = True) -> StretchedMotor:
    expected_Nm = PlanPath(PLAN, MOTOR).torque_at(of.peak_turns)
    return StretchedMotor(MOTOR, HOOKS_M, of.peak_Nm / expected_Nm if known else None)


def found(of: Landed, events: list[Input], *, known: bool = True) -> tuple[Unwound, UnwindCoach, list[object]]:
    coach = UnwindCoach(SETTINGS, motor_of(of, known=known))
    said: list[object] = []
    for event in events:
        coach.step(event)
        said += coach.said
    assert coach.unwound is not None
    return coach.unwound, coach, said


@pytest.mark.parametrize(("share", "scale", "seed"), [(0.08, 1.07, 1), (0.2, 0.94, 2), (0.4, 1.0, 3), (0.65, 1.04, 4)])
def test_pulses_count_the_turns_left_within_a_crank_turn(share: float, scale: float, seed: int) -> None:
    of = landed(PLAN, MOTOR, share, torque_scale=scale)
    unwound, _, _ = found(of, let_down(of, seed))
    assert unwound.how == "counted"
    assert unwound.turns_left == pytest.approx(of.turns, abs=WINDER.ratio)


def test_four_pulses_count_within_half_a_crank_turn() -> None:
    of = landed(PLAN, MOTOR, 0.3)
    unwound, _, _ = found(of, let_down(of, 5, pulses=4))
    assert unwound.turns_left == pytest.approx(of.turns, abs=0.5 * WINDER.ratio)


@pytest.mark.parametrize(
    ("share", "scale", "reached"), [(0.06, 1.06, 1.0), (0.15, 0.93, 0.97), (0.3, 1.0, 1.02), (0.5, 1.05, 0.95)]
)
def test_torque_alone_says_them_within_three_per_cent_of_the_launch(share: float, scale: float, reached: float) -> None:
    of = landed(PLAN, MOTOR, share, torque_scale=scale, reached=reached)
    unwound, _, _ = found(of, let_down(of, 6, channels="t"))
    assert unwound.how == "by torque"
    assert unwound.turns_left is not None
    assert unwound.turns_left_sd is not None
    assert abs(unwound.turns_left - of.turns) < 0.03 * of.launch_turns
    assert abs(unwound.turns_left - of.turns) < 3.0 * unwound.turns_left_sd


def test_a_motor_of_unknown_state_is_told_with_more_doubt() -> None:
    of = landed(PLAN, MOTOR, 0.3, torque_scale=1.05)
    events = let_down(of, 7, channels="t")
    known, _, _ = found(of, events)
    unknown, _, _ = found(of, events, known=False)
    assert (known.turns_left_sd or 0.0) * 3.0 < (unknown.turns_left_sd or 0.0)
    assert abs((unknown.turns_left or 0.0) - of.turns) < 2.5 * (unknown.turns_left_sd or 0.0)


def test_it_goes_by_itself_from_the_empty_hook_to_the_empty_motor() -> None:
    of = landed(PLAN, MOTOR, 0.25)
    unwound, coach, said = found(of, let_down(of, 8))
    assert [one.phase for one in said if isinstance(one, PhaseSaid)] == [Phase.SET_ZERO, Phase.LET_DOWN, Phase.EMPTY]
    prompts = [one for one in said if isinstance(one, Prompt)]
    assert [prompts[0].code, prompts[1].code, prompts[-1].code] == ["tare", "hook_wound", "empty"]
    left = [one.crank_turns for one in prompts if one.code == "let_down" and one.crank_turns is not None]
    assert left == sorted(left, reverse=True)
    assert len(left) > 3
    assert prompts[-1].text == f"Empty. {unwound.turns_left:.0f} turns were left."
    assert coach.view.phase is Phase.EMPTY


def test_the_work_given_back_is_torque_times_angle() -> None:
    of = landed(PLAN, MOTOR, 0.4)
    unwound, _, _ = found(of, let_down(of, 9))
    again = landed(PLAN, MOTOR, 0.4).motor
    turns, work_J = of.turns, 0.0
    again.move(turns, 4.0 * MOTOR.loop_m, 3.0)
    while turns > 0.0:
        before_Nm, step = again.torque_Nm, min(2.0, turns)
        turns -= step
        again.move(turns, 4.0 * MOTOR.loop_m, step / 11.0)
        work_J += 2.0 * math.pi * step * (before_Nm + again.torque_Nm) / 2.0
    assert unwound.returned_J == pytest.approx(work_J, rel=0.05)


def test_a_motor_wound_the_other_way_is_counted_the_same() -> None:
    of = landed(PLAN, MOTOR, 0.3)
    unwound, _, _ = found(of, let_down(of, 10, gain=-2.0))  # Gain of minus one: every torque negative.
    assert unwound.turns_left == pytest.approx(of.turns, abs=WINDER.ratio)


def test_a_motor_that_is_too_full_is_not_stretched_out() -> None:
    of = landed(PLAN, MOTOR, 0.97)
    unwound, _, said = found(of, let_down(of, 14, lengths=0.0))
    codes = [one.code for one in said if isinstance(one, Prompt)]
    assert "stay_wound" in codes
    assert "step_out_wound" not in codes[: codes.index("stay_wound")]
    # Where the strands are slack the last turns show no torque: they are counted as the law has them.
    assert unwound.turns_left == pytest.approx(of.turns, abs=2 * WINDER.ratio)


def test_closed_before_it_is_empty_only_torque_has_told() -> None:
    of = landed(PLAN, MOTOR, 0.5)
    events = [event for event in let_down(of, 11) if event.at_s < 20.0]
    unwound, _, _ = found(of, [*events, KeyPressed(20.0, "quit")])
    assert unwound.how == "by torque"
    assert unwound.crank_turns is None


def test_nothing_on_the_hook_is_nothing_known() -> None:
    of = landed(PLAN, MOTOR, 0.5)
    events = [event for event in let_down(of, 12) if event.at_s < 4.0]
    unwound, _, _ = found(of, [*events, Ended(4.0)])
    assert (unwound.turns_left, unwound.how) == (None, "unknown")


def test_a_silent_meter_is_said() -> None:
    of = landed(PLAN, MOTOR, 0.3)
    events = let_down(of, 13, faults=("silent@15:4",))
    _, _, said = found(of, events)
    states = [one.state for one in said if hasattr(one, "state")]
    assert states == ["up", "silent", "up"]


def test_taps_of_a_helper_count_where_the_meter_does_not() -> None:
    of = landed(PLAN, MOTOR, 0.3)
    events, taps, so_far = let_down(of, 7, channels=""), 0, 0.0
    counting = iter(let_down(of, 7, channels="c"))
    coach, watch = UnwindCoach(SETTINGS, motor_of(of)), UnwindCoach(SETTINGS, motor_of(of))
    for event in events:
        # The same hands beside it, with a crank sensor: the helper presses the key at each whole crank turn of theirs.
        seen = next(counting, None)
        if seen is not None:
            watch.step(seen)
        coach.step(event)
        now = watch._count.so_far
        if now >= so_far + 1.0 and coach.view.phase is Phase.LET_DOWN:
            so_far, taps = so_far + 1.0, taps + 1
            coach.step(KeyPressed(event.at_s, "count"))
    assert coach.unwound is not None
    assert coach.unwound.how == "counted"
    assert taps > 20
    assert coach.unwound.turns_left == pytest.approx(of.turns, abs=1.6 * WINDER.ratio)


def test_a_key_says_that_it_is_empty_and_the_next_closes() -> None:
    of = landed(PLAN, MOTOR, 0.3)
    events = let_down(of, 8)
    coach = UnwindCoach(SETTINGS, motor_of(of))
    for event in events[: len(events) * 2 // 3]:
        coach.step(event)
    phases = [coach.view.phase]
    at_s = events[len(events) * 2 // 3].at_s
    coach.step(KeyPressed(at_s, "next"))
    phases.append(coach.view.phase)
    closed = [coach.finished]
    coach.step(KeyPressed(at_s, "next"))
    assert phases == [Phase.LET_DOWN, Phase.EMPTY]
    assert [*closed, coach.finished] == [False, True]
