"""Hands: each style does what it promises, keys do what they say, and all chance comes from the seed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
import pytest

from tests.scenario import MOTOR, PLAN, WINDER
from winding_coach.rubber.path import PlanPath
from winding_coach.simulator.hands import (
    COMMANDS,
    CRANK_STEP,
    FASTEST_REV_PER_S,
    KEY_BIG_STEP_M,
    KEY_STEP_M,
    STYLES,
    WALK_M_PER_S,
    HandsState,
    KeyboardHands,
    ScriptedHands,
    Style,
)
from winding_coach.simulator.motor import SimulatedMotor

TICK_S = 0.0125
HOOKS_M = 0.22
STEPS = (
    *("waiting", "hooking up", "stretching out", "winding stretched"),
    *("walking in", "final turns", "backing off", "holding", "unhooked"),
)


@dataclass(frozen=True, slots=True)
class Moment:
    """What hands and motor were at a tick."""

    at_s: float
    hands: HandsState
    torque_Nm: float
    turns: float
    broken: bool


@lru_cache(maxsize=8)
def wound(style: Style, seed: int = 3, strength_u: float = 0.5) -> tuple[Moment, ...]:
    """A wind by these hands, felt without noise, to its end; it must end within ten minutes."""
    motor = SimulatedMotor(MOTOR, strength_u=strength_u)
    hands = ScriptedHands(PLAN, MOTOR, WINDER, style, np.random.default_rng(seed))
    moments = [Moment(0.0, hands.state, 0.0, 0.0, False)]
    while not moments[-1].hands.done:
        at_s = len(moments) * TICK_S
        assert at_s < 600.0
        state = hands.advance(TICK_S, motor.torque_Nm if hands.state.hooked else 0.0)
        if state.hooked:
            motor.move(max(0.0, state.crank_rev * WINDER.ratio), state.distance_m, TICK_S)
        moments.append(Moment(at_s, state, motor.torque_Nm, motor.turns, motor.broken))
    return tuple(moments)


def during(moments: tuple[Moment, ...], doing: str) -> list[Moment]:
    """The moments at which the hands did this."""
    return [moment for moment in moments if moment.hands.doing == doing]


def doings(moments: tuple[Moment, ...]) -> tuple[str, ...]:
    """What the hands did, in order."""
    names = [moment.hands.doing for moment in moments]
    return (names[0], *(after for before, after in pairwise(names) if after != before))


def steps_in(moments: tuple[Moment, ...]) -> list[float]:
    """The lengths of the steps of the walk-in, in metres, as long as there is a rest between them."""
    distances = [m.hands.distance_m for m in during(moments, "walking in")]
    resting = [b for a, b, c in zip(distances, distances[1:], distances[2:], strict=False) if a != b and b == c]
    return [a - b for a, b in pairwise([PLAN.stretch_distance_m, *resting])]


def longest_stand(moments: tuple[Moment, ...]) -> float:
    """The longest time, in seconds, that the handle all but stood during the walk-in."""
    longest = now = 0.0
    for moment in during(moments, "walking in"):
        now = now + TICK_S if abs(moment.hands.crank_rev_per_s) < 0.1 else 0.0
        longest = max(longest, now)
    return longest


class TestScript:
    """What every style has in common."""

    @pytest.mark.parametrize("name", ["good", "stall", "hasty", "late", "early"])
    def test_goes_through_the_steps_of_a_wind(self, name: str) -> None:
        moments = wound(STYLES[name])
        assert doings(moments) == STEPS
        assert not moments[-1].broken
        assert not moments[-1].hands.hooked

    @pytest.mark.parametrize("name", sorted(STYLES))
    def test_the_same_seed_gives_the_same_wind(self, name: str) -> None:
        wound.cache_clear()
        first = wound(STYLES[name], 11)
        wound.cache_clear()
        assert wound(STYLES[name], 11) == first
        assert wound(STYLES[name], 12) != first

    @pytest.mark.parametrize("name", sorted(STYLES))
    def test_moves_as_a_body_can(self, name: str) -> None:
        moments = wound(STYLES[name])
        for before, after in pairwise(moments):
            # A step of 0.3 m in 0.5 s, smoothed by a cosine, is at most π/2 times its mean speed.
            assert abs(after.hands.distance_m - before.hands.distance_m) <= 0.3 / 0.5 * 1.6 * TICK_S + 1e-12
            assert abs(after.hands.crank_rev_per_s - before.hands.crank_rev_per_s) < 0.15
            assert 0.0 <= after.hands.distance_m <= PLAN.stretch_distance_m + 1e-12
            assert (after.hands.crank_rev - before.hands.crank_rev) == pytest.approx(
                after.hands.crank_rev_per_s * TICK_S, abs=1e-12
            )

    def test_begins_with_an_empty_hook(self) -> None:
        first = wound(STYLES["good"])[0].hands
        assert first == HandsState(0.0, 0.0, MOTOR.loop_m, False, "waiting", False)


class TestStyles:
    """What each style promises beside its name."""

    def test_good_keeps_to_the_plan(self) -> None:
        moments = wound(STYLES["good"])
        stretched = during(moments, "winding stretched")
        assert stretched[-1].turns == pytest.approx(PLAN.stretched_turns, abs=1.5)
        assert all(m.hands.distance_m == pytest.approx(PLAN.stretch_distance_m) for m in stretched)
        path = PlanPath(PLAN, MOTOR)
        off = [m.hands.distance_m - path.distance_at(m.turns) for m in during(moments, "walking in")]
        assert max(map(abs, off[: len(off) * 3 // 4])) < 0.06
        # The path's end is steeper than small steps can follow: they are late there, never early.
        assert min(off) > -0.06
        assert during(moments, "final turns")[0].hands.distance_m == pytest.approx(HOOKS_M)
        assert max(m.torque_Nm for m in moments) == pytest.approx(PLAN.peak_torque_Nm, rel=0.04)
        assert max(m.turns for m in moments) == pytest.approx(PLAN.target_turns, rel=0.02)
        assert during(moments, "holding")[-1].torque_Nm <= PLAN.launch_torque_Nm
        assert during(moments, "holding")[-1].torque_Nm > 0.8 * PLAN.launch_torque_Nm

    @pytest.mark.parametrize("speed", [0.8, 1.25, 2.0])
    def test_cranks_at_its_speed_with_its_unevenness(self, speed: float) -> None:
        even = during(wound(Style(speed=speed, unevenness=0.0)), "winding stretched")
        uneven = during(wound(Style(speed=speed, unevenness=0.1)), "winding stretched")
        begun = round(3.0 / TICK_S)
        assert {round(m.hands.crank_rev_per_s, 3) for m in even[begun:]} == {speed}
        spread = np.array([m.hands.crank_rev_per_s for m in uneven[begun:]])
        assert float(np.mean(spread)) == pytest.approx(speed, rel=0.06)
        assert 0.02 * speed < float(np.std(spread)) < 0.15 * speed

    def test_good_steps_are_small_and_never_stand(self) -> None:
        steps = steps_in(wound(STYLES["good"]))
        assert len(steps) > 20
        assert all(0.02 - 1e-9 <= step <= 0.045 + 1e-9 for step in steps[:20])
        assert longest_stand(wound(STYLES["good"])) < 0.1

    def test_stall_stands_still_after_some_steps(self) -> None:
        stood = longest_stand(wound(STYLES["stall"]))
        # The handle takes a while to stop, 0.1 of the speed being the limit: 0.35·ln(1.25/0.1) = 0.9 s.
        assert 2.4 - 1.0 <= stood < 2.4 + 1.0

    def test_hasty_runs_in_ahead_of_the_path_by_big_steps(self) -> None:
        moments = wound(STYLES["hasty"])
        steps = steps_in(moments)
        assert len(steps) > 4
        assert all(0.15 - 1e-9 <= step <= 0.30 + 1e-9 for step in steps[:-1])
        path = PlanPath(PLAN, MOTOR)
        assert min(m.hands.distance_m - path.distance_at(m.turns) for m in during(moments, "walking in")) < -0.3

    @pytest.mark.parametrize(("name", "share"), [("late", 1.12), ("early", 0.8)])
    def test_late_and_early_leave_full_stretch_late_and_early(self, name: str, share: float) -> None:
        left = during(wound(STYLES[name]), "winding stretched")[-1].turns
        assert left == pytest.approx(share * PLAN.stretched_turns, abs=1.5)

    @pytest.mark.parametrize(("peak", "launch"), [(0.9, 1.0), (1.0, 0.8)])
    def test_stops_at_its_own_peak_and_launch(self, peak: float, launch: float) -> None:
        moments = wound(Style(peak=peak, launch=launch))
        assert max(m.torque_Nm for m in moments) == pytest.approx(peak * PLAN.peak_torque_Nm, rel=0.04)
        held = during(moments, "holding")[-1].torque_Nm
        assert 0.8 * launch * PLAN.launch_torque_Nm < held <= launch * PLAN.launch_torque_Nm

    def test_a_launch_at_no_torque_is_never_reached(self) -> None:
        """Backing off goes on until the motor gives nothing; hands then take it for broken, and let go."""
        moments = wound(Style(peak=0.3, launch=-1.0))
        assert moments[-1].turns < 0.05 * max(m.turns for m in moments)
        assert doings(moments)[-3:] == ("backing off", "broken", "unhooked")

    def test_overwind_winds_until_it_breaks(self) -> None:
        moments = wound(STYLES["overwind"])
        assert moments[-1].broken
        assert max(m.turns for m in moments) == pytest.approx(PLAN.breaking_turns, rel=0.10)

    @pytest.mark.parametrize("strength_u", [0.5, 1.0])
    def test_a_broken_motor_was_cranked_for_ever(self, strength_u: float) -> None:
        """At strength 1 it breaks in the walk-in."""
        moments = wound(STYLES["overwind"], strength_u=strength_u)
        assert doings(moments)[-2:] == ("broken", "unhooked")
        broke_s = next(m.at_s for m in moments if m.broken)
        stopped = [m for m in moments if m.at_s > broke_s + 5.0]
        assert all(m.hands.crank_rev_per_s == 0.0 for m in stopped)


class TestKeys:
    """Hands that do what keys say."""

    def hands(self) -> KeyboardHands:
        """Hooked up, at the loop's length."""
        hands = KeyboardHands(MOTOR, 0.05, 2.0)
        hands.command("hook")
        return hands

    def after(self, hands: KeyboardHands, *commands: str, seconds: float = 4.0) -> HandsState:
        """Where they are when these keys have had their time."""
        for command in commands:
            hands.command(command)
        for _ in range(round(seconds / TICK_S)):
            hands.advance(TICK_S, 0.0)
        return hands.state

    def test_each_command_does_something(self) -> None:
        for command in COMMANDS:
            hands = self.hands()
            before = self.after(hands, "crank_faster", "step_out", "step_out", "step_out", "step_out")
            assert replace(self.after(hands, command), crank_rev=0.0) != replace(before, crank_rev=0.0), command

    def test_others_are_ignored(self) -> None:
        hands = self.hands()
        before = self.after(hands)
        assert self.after(hands, "dance", "") == before

    def test_crank(self) -> None:
        hands = self.hands()
        assert self.after(hands).doing == "standing"
        assert self.after(hands, "crank_faster").crank_rev_per_s == pytest.approx(1.2, abs=0.01)
        assert self.after(hands, "crank_faster").crank_rev_per_s == pytest.approx(1.2 + CRANK_STEP, abs=0.01)
        assert self.after(hands, "crank_slower").crank_rev_per_s == pytest.approx(1.2, abs=0.01)
        assert self.after(hands).doing == "cranking"
        backwards = self.after(hands, "reverse")
        assert backwards.crank_rev_per_s == pytest.approx(-1.2, abs=0.01)
        assert backwards.doing == "backing off"
        assert self.after(hands, "crank_faster").crank_rev_per_s == pytest.approx(-1.2 - CRANK_STEP, abs=0.01)
        stopped = self.after(hands, "crank_stop")
        assert (stopped.crank_rev_per_s, stopped.doing) == (0.0, "standing")
        assert self.after(hands, "reverse").crank_rev_per_s == pytest.approx(-1.2, abs=0.01)

    def test_crank_has_its_limits(self) -> None:
        hands = self.hands()
        assert self.after(hands, *["crank_faster"] * 50).crank_rev_per_s == pytest.approx(FASTEST_REV_PER_S, abs=0.01)
        assert self.after(hands, *["crank_slower"] * 50).crank_rev_per_s == 0.0

    def test_steps_are_walked_and_end_at_the_limits(self) -> None:
        hands = self.hands()
        assert self.after(hands, "step_out").distance_m == pytest.approx(MOTOR.loop_m + KEY_STEP_M)
        assert self.after(hands, "big_step_out").distance_m == pytest.approx(MOTOR.loop_m + KEY_STEP_M + KEY_BIG_STEP_M)
        assert self.after(hands, "step_in", "big_step_in").distance_m == pytest.approx(MOTOR.loop_m)
        assert self.after(hands, *["big_step_out"] * 20).distance_m == pytest.approx(2.0)
        assert self.after(hands, *["big_step_in"] * 20).distance_m == pytest.approx(0.05)
        one_second = self.after(hands, *["big_step_out"] * 20, seconds=1.0).distance_m
        assert one_second == pytest.approx(0.05 + WALK_M_PER_S, abs=1e-6)

    def test_without_a_motor_on_the_hook_nothing_is_wound(self) -> None:
        hands = KeyboardHands(MOTOR, 0.05, 2.0)
        assert self.after(hands, *["crank_faster"] * 15).crank_rev == 0.0
        assert self.after(hands, "hook").crank_rev == 0.0, "presses piled up, and the crank raced as soon as it hung"
        assert self.after(hands, "crank_faster").crank_rev > 3.0
        assert not self.after(hands, "hook").hooked

    @pytest.mark.parametrize(("cranking", "speed"), [(True, 1.25), (False, 0.0)])
    def test_take_over_where_other_hands_are(self, cranking: bool, speed: float) -> None:
        others = HandsState(70.5, 1.25, 1.8, True, "winding stretched", False)
        hands = KeyboardHands(MOTOR, 0.05, 2.0)
        hands.take_over(others, cranking=cranking)
        assert hands.state == replace(others, doing="cranking")
        after = self.after(hands)
        assert (after.distance_m, after.hooked) == (1.8, True)
        assert after.crank_rev_per_s == pytest.approx(speed, abs=0.01)

    @pytest.mark.parametrize(("walk_m", "where_m"), [(-0.5, 1.3), (0.1, 1.9), (5.0, 2.0), (-5.0, 0.05)])
    def test_take_over_in_the_middle_of_a_step(self, walk_m: float, where_m: float) -> None:
        hands = KeyboardHands(MOTOR, 0.05, 2.0)
        hands.take_over(HandsState(70.5, 0.0, 1.8, True, "walking in", False), cranking=True, walk_m=walk_m)
        assert self.after(hands).distance_m == pytest.approx(where_m)

    def test_finish(self) -> None:
        hands = self.hands()
        assert not self.after(hands).done
        assert self.after(hands, "finish").done
