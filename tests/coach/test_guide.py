"""The path that is asked for: marks told in time, who is late or far off, turns that nobody counted, the back-off."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from tests.coach.test_alarms import CALM, LIMITS
from tests.scenario import MOTOR, PLAN
from winding_coach.coach.guide import SIDE_OVER_S, Guide
from winding_coach.coach.said import Phase
from winding_coach.coach.view import Marks
from winding_coach.coach.walk import LEAD_TURNS_OF_CRANK, STRETCH_SLACK, Walk
from winding_coach.rubber.path import PlanPath
from winding_coach.signals.reading import Reading

PATH = PlanPath(PLAN, MOTOR)
LEAD = LEAD_TURNS_OF_CRANK * LIMITS.ratio
START = PLAN.stretched_turns - LEAD
"""So that the path begins where the plan's does."""


def walked(walk: Walk, turns: float, told_m: float | None = None, at_m: float | None = None) -> Walk:
    walk.tell(turns, LIMITS, told_m, at_m)
    return walk


def test_who_starts_as_planned_walks_the_plans_own_path() -> None:
    walk = Walk(PATH, LIMITS, START, PLAN.stretch_distance_m)
    for row in PLAN.walk_in:
        assert walk.distance_at(row.turns) == pytest.approx(row.distance_m, abs=0.01)


def test_a_mark_stands_until_it_is_due_and_the_next_is_told_before() -> None:
    walk = Walk(PATH, LIMITS, START, PLAN.stretch_distance_m)
    first = walked(walk, START).mark_m
    due = walk.turns_at(first)
    assert walked(walk, due - LEAD - 1.0, first).mark_m == first
    assert walked(walk, due - LEAD + 1.0, first).mark_m < first


def test_a_mark_that_was_never_told_follows_the_turns() -> None:
    walk = Walk(PATH, LIMITS, START, PLAN.stretch_distance_m)
    first = walked(walk, START).mark_m
    later = walked(walk, START + 80.0, None)
    assert later.mark_m < first
    assert later.mark_in >= 4.0, "nobody is rushed after a stall"


def test_who_is_at_the_mark_is_told_the_next_and_more_turns_for_it() -> None:
    walk = Walk(PATH, LIMITS, START, PLAN.stretch_distance_m)
    first = walked(walk, START).mark_m
    early = walked(walk, START + 10.0, first, first)
    assert early.mark_m < first
    assert early.turns_at(early.mark_m) - START == pytest.approx((early.mark_in + 1.0) * 10.0 + LEAD, abs=10.0)


def test_marks_go_in_to_the_hooks_and_never_out() -> None:
    walk = Walk(PATH, LIMITS, START, PLAN.stretch_distance_m)
    marks = []
    told = None
    for turns in range(int(START), 1160, 5):
        told = walked(walk, float(turns), told).mark_m
        marks.append(told)
    assert marks == sorted(marks, reverse=True)
    assert marks[-1] == pytest.approx(LIMITS.hooks_m, abs=1e-3)


def test_marks_lie_closer_where_the_path_bends() -> None:
    """One walks evenly from mark to mark: nowhere is the path, as planned, far outside of that."""
    walk = Walk(PATH, LIMITS, START, PLAN.stretch_distance_m)
    marks = [(START + LEAD, PLAN.stretch_distance_m)]
    for turns in range(int(START), 1160, 5):
        told = walked(walk, float(turns), marks[-1][1])
        if told.mark_m < marks[-1][1]:
            marks.append((walk.turns_at(told.mark_m), told.mark_m))
    for (before, out_m), (later, in_m) in pairwise(marks):
        for share in (0.25, 0.5, 0.75):
            even_m = out_m + share * (in_m - out_m)
            assert walk.distance_at(before + share * (later - before)) - even_m < 0.035


def test_a_late_start_gets_a_path_of_its_own_within_the_slack() -> None:
    late = Walk(PATH, LIMITS, START + 60.0, PLAN.stretch_distance_m)
    planned = Walk(PATH, LIMITS, START, PLAN.stretch_distance_m)
    assert late.distance_at(900.0) > planned.distance_at(900.0) + 0.02
    very_late = Walk(PATH, LIMITS, START + 400.0, PLAN.stretch_distance_m)
    most = PATH.distance_at_stretch(PATH.walk_stretch * (1.0 + STRETCH_SLACK), 1000.0)
    assert very_late.distance_at(1000.0) == pytest.approx(most)


def test_a_shorter_room_starts_the_path_where_the_person_stands() -> None:
    short = Walk(PATH, LIMITS, START, 0.97 * PLAN.stretch_distance_m)
    assert short.distance_at(900.0) < Walk(PATH, LIMITS, START, PLAN.stretch_distance_m).distance_at(900.0) - 0.01


def guided(guide: Guide, torque_of_plan: float, seconds: float, at_m: float | None = None) -> str | None:
    """The side after torque has been a share of the expected for so long."""
    side = None
    for number in range(round(10 * seconds)):
        turns = 800.0 + 0.5 * number
        now = replace(
            CALM,
            at_s=0.1 * number,
            turns=turns,
            pace_turns=turns,
            distance_m=at_m,
            torque_Nm=torque_of_plan * PATH.torque_at(turns),
            expected_Nm=PATH.torque_at(turns),
        )
        now = replace(now, off_path_m=guide.off_path_m(turns, at_m))
        side = guide.tell(now, LIMITS, Marks(), 1.0).side
    return side


def test_without_a_distance_sensor_torque_tells_who_is_ahead_and_who_behind() -> None:
    assert guided(Guide(PATH, LIMITS), 0.88, 12.0) is None, "small steps let torque fall: that is on the path"
    assert guided(Guide(PATH, LIMITS), 0.55, 4.0 * SIDE_OVER_S) == "ahead"
    assert guided(Guide(PATH, LIMITS), 1.20, 4.0 * SIDE_OVER_S) == "behind"


def test_with_one_the_distance_tells() -> None:
    assert guided(Guide(PATH, LIMITS), 0.55, 3.0, at_m=PATH.distance_at(815.0)) != "behind"
    guide = Guide(PATH, LIMITS)
    guided(guide, 0.9, 0.5, at_m=PLAN.stretch_distance_m)
    assert guided(guide, 0.9, 3.0, at_m=1.2) == "ahead"


def test_estimated_turns_set_the_pace_and_are_put_right_by_torque() -> None:
    guide = Guide(PATH, LIMITS, led_by_torque=False)
    reading = Reading(0.0, 4e-3, crank_turns=75.0, turns_source="estimated")
    assert guide.pace_of(None, None) is None
    assert guide.pace_of(812.0, reading) == 812.0, "counted turns are not estimated"
    assert guide.pace_of(None, reading) == pytest.approx(750.0)
    for number in range(200):
        pace = guide.pace_of(None, reading)
        now = replace(CALM, at_s=0.1 * number, turns=None, counted=False, pace_turns=pace, expected_Nm=None)
        guide.tell(replace(now, torque_Nm=1.2 * PATH.torque_at(750.0)), LIMITS, Marks(), 1.0)
    assert (guide.pace_of(None, reading) or 0.0) > 790.0


def test_the_back_off_tells_the_turns_left_and_the_torque_after_the_next() -> None:
    guide = Guide(PATH, LIMITS)
    marks = Marks(PLAN.peak_torque_Nm, PLAN.target_turns)
    back = replace(CALM, phase=Phase.BACK_OFF, torque_Nm=PLAN.peak_torque_Nm)
    at_peak = guide.tell(back, LIMITS, marks, 1.0)
    assert at_peak.off_left == pytest.approx(PLAN.back_off_turns / LIMITS.ratio, abs=0.3)
    after = PATH.back_off_torque_at(PATH.back_off_turns_to(PLAN.peak_torque_Nm) + LIMITS.ratio)
    assert at_peak.off_next_Nm == pytest.approx(after, rel=0.02)
    near = guide.tell(replace(back, torque_Nm=1.05 * PLAN.launch_torque_Nm), LIMITS, marks, 1.0)
    assert near.off_next_Nm is not None
    assert near.off_next_Nm == pytest.approx(PLAN.launch_torque_Nm, rel=0.02)
    assert guide.tell(replace(back, torque_Nm=None), LIMITS, marks, 1.0).off_left is None


def test_the_back_off_of_a_stronger_motor_is_scaled_by_the_peak_it_showed() -> None:
    guide = Guide(PATH, LIMITS)
    strong = Marks(1.08 * PLAN.peak_torque_Nm, PLAN.target_turns)
    back = replace(CALM, phase=Phase.BACK_OFF, torque_Nm=1.08 * PLAN.peak_torque_Nm)
    left = guide.tell(back, LIMITS, strong, 1.0).off_left or 0.0
    plain = guide.tell(replace(back, torque_Nm=PLAN.peak_torque_Nm), LIMITS, Marks(), 1.0).off_left or 0.0
    assert left > plain
