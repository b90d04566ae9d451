"""Three laws of what loosens knots: steps tell them apart, the even path does not; breaks speak for one of them."""

from __future__ import annotations

import math
import random

import pytest

from tests.bench.walkers.motor import WalkedMotor
from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.looseness import LAWS, spoken_for, strength_by_law, worst_by_law
from winding_coach.rubber.motor import before_the_wind, geometry_of
from winding_coach.rubber.plan import planned_course
from winding_coach.rubber.strength import Wound, strength_of

MOTOR = MotorFigures(0.30, 1.40e-3, 0.08e-3, use=3)
BODY = geometry_of(MOTOR)
HOOKS_M = 0.22
START = before_the_wind(BODY, 3, HOOKS_M)
COURSE = planned_course(BODY, HOOKS_M, 0.9 * 1636, 10.0)
Moments = list[tuple[float, float, float]]


def walk(step_m: float, stand_s: float = 0.0) -> Moments:
    """Out, full stretch, then in by steps of a length, the crank turning on or standing while one steps."""
    moments: Moments = [(0.2, 0.0, 0.3 + (COURSE.stretch_distance_m - 0.3) * i / 30) for i in range(1, 31)]
    turns, at_m = 0.0, COURSE.stretch_distance_m
    while turns < COURSE.target_turns:
        turns = min(turns + 0.6, COURSE.target_turns)
        wanted = COURSE.distance_at(turns)
        if wanted < at_m and (step_m == 0.0 or at_m - wanted > step_m or wanted <= HOOKS_M):
            goal = wanted if step_m == 0.0 else max(at_m - step_m, HOOKS_M)
            parts = 1 if step_m == 0.0 else 10
            for i in range(1, parts + 1):
                turns = turns if stand_s else min(turns + 0.3, COURSE.target_turns)
                moments.append((stand_s or 0.025, turns, at_m + (goal - at_m) * i / parts))
            at_m = goal
        moments.append((0.05, turns, at_m))
    return moments


def by_another_hand(moments: Moments) -> dict[str, float]:
    """The same by the bench's motor, which was written by somebody else from the same description."""
    motor = WalkedMotor(MOTOR, torque_scale=1.0, hooks_m=HOOKS_M)
    for dt_s, turns, at_m in moments:
        motor.move(turns, at_m, dt_s)
    return motor.worst


@pytest.mark.parametrize(("step_m", "stand_s"), [(0.0, 0.0), (0.08, 0.0), (0.30, 0.0), (0.08, 0.1)])
def test_the_same_as_by_another_hand(step_m: float, stand_s: float) -> None:
    moments = walk(step_m, stand_s)
    mine, theirs = worst_by_law(BODY, START, moments), by_another_hand(moments)
    assert [mine[law] for law in LAWS] == pytest.approx([theirs[law] for law in LAWS], rel=0.01)


def test_steps_cost_what_each_law_says() -> None:
    even, short, long, standing = (
        worst_by_law(BODY, START, walk(*one)) for one in ((0.0,), (0.08,), (0.30,), (0.08, 0.1))
    )
    assert [even[law] for law in LAWS] == pytest.approx([even["A"]] * 3, rel=2e-3)
    assert short["A"] > 1.01 * even["A"]  # A: any slack
    assert short["B"] < 1.01 * even["B"] < long["B"]  # B: only long steps
    assert standing["C"] > 1.01 * short["C"]  # C: only with the crank stopped


def batch_under(true: str, motors: int, seed: int) -> list[Wound]:
    """Motors walked in in all manners, broken or not by one law."""
    draw, kinds = random.Random(seed), [(0.0, 0.0), (0.08, 0.0), (0.30, 0.0), (0.08, 0.1)]
    worst = [worst_by_law(BODY, START, walk(*kind)) for kind in kinds]
    wound = []
    for number in range(motors):
        strength = 9.4 * (-math.log(draw.random()) / math.log(2)) ** (1 / 45)
        here = worst[number % len(kinds)]
        broke = here[true] > strength
        # Broken on the way up, when its stretch under the true law was its strength; under the others in proportion.
        share = strength / here[true] if broke else 1.0
        a, b, c = (here[law] * share for law in LAWS)
        wound.append(Wound(a, broke, (a, b, c)))
    return wound


@pytest.mark.parametrize("true", LAWS)
def test_many_breaks_speak_for_the_law_that_runs(true: str) -> None:
    """Six batches of forty motors, ten in each manner: on average the true law is made likelier, never ruled out."""
    shares = [spoken_for(batch_under(true, 40, seed)) for seed in range(6)]
    assert all(one is not None and one[true] > 0.02 for one in shares)
    assert sum(one[true] for one in shares if one is not None) / 6 > 0.45


def test_without_distances_nothing_is_said_and_strength_is_as_before() -> None:
    wound = [Wound(9.2, True), Wound(9.0, False)]
    assert spoken_for(wound) is None
    assert strength_by_law(wound) == strength_of(wound)


def test_strength_is_over_all_laws_as_likely_as_they_are() -> None:
    followed = [Wound(9.3, True, (9.3, 9.1, 9.0)), Wound(9.0, False, (9.0, 8.9, 8.8))]
    together = strength_by_law(followed)
    likely = spoken_for(followed)
    assert likely is not None
    assert sum(likely.values()) == pytest.approx(1.0)
    parts = [strength_of([one.under(i) for one in followed]).risk(9.0).value for i in range(3)]
    assert together.risk(9.0).value == pytest.approx(
        sum(p * q for p, q in zip(parts, likely.values(), strict=True)), rel=0.01
    )
    assert (together.breaks, together.survivors) == (1, 1)
