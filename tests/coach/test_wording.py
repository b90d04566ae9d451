"""Sentences in each unit, made from codes and figures: a screen in other units says what the coach would have said."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from tests.scenario import PLAN, SETTINGS, coached, wind
from winding_coach.base.inputs import Input
from winding_coach.base.standing import STEP_UNITS, USUAL, Steps, tape_at_m
from winding_coach.coach.pacer import Pacer
from winding_coach.coach.prompts import mark_of
from winding_coach.coach.said import PROMPTS, Alarm, Prompt
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.coach.wanted import Wanted
from winding_coach.coach.wording import prompt_words, reworded

TAPE = Steps("tape", tape_m=tape_at_m(0.25, PLAN.stretch_distance_m))
PACES = Steps("paces", pace_m=0.6)


def views(inputs: tuple[Input, ...], settings: CoachSettings) -> list[CoachView]:
    """The view after each thing said."""
    coach, seen = Coach(settings), []
    for event in inputs:
        coach.step(event)
        if coach.said:
            seen.append(coach.view)
    return seen


@pytest.mark.no_cover
@pytest.mark.parametrize("style", ["good", "overwind", "hasty"])
def test_a_screen_in_other_units_says_what_the_coach_would_have_said_in_them(style: str) -> None:
    metric = views(wind(style), SETTINGS)
    inch = views(wind(style), replace(SETTINGS, units="inch"))
    assert [reworded(view, "inch") for view in metric] == inch
    assert [reworded(view, "metric") for view in inch] == metric
    assert len({view.prompt.text for view in metric if view.prompt is not None}) > 8


def walked(steps: Steps) -> list[Prompt]:
    _, said = coached(wind("good"), replace(SETTINGS, steps=steps, led_by_torque=False))
    return [each for each in said if isinstance(each, Prompt) and each.code == "walk_in_to"]


def test_who_has_tape_on_the_floor_is_sent_from_mark_to_mark() -> None:
    prompts = walked(TAPE)
    assert len(prompts) > 3
    for prompt in prompts[:-1]:
        assert re.fullmatch(r"Step in to mark \d over \d+ crank turns?; keep cranking\.", prompt.text)
        assert prompt.as_json()["distance_m"] == prompt.distance_m
    assert [prompt.distance_m for prompt in prompts] == sorted([p.distance_m or 0.0 for p in prompts], reverse=True)
    assert prompts[-1].text.startswith("Step in to 3 cm inside mark 1")


def test_who_paces_is_told_how_far_to_go_from_where_they_stand() -> None:
    prompts = walked(PACES)
    assert [prompt.text.split(" over")[0] for prompt in prompts][:3] == ["Half a pace in"] * 3
    stood_m = PLAN.stretch_distance_m
    for prompt in prompts:
        assert prompt.from_m == pytest.approx(stood_m), "each step begins where the last one ended"
        stood_m = prompt.distance_m or 0.0
    assert stood_m - PLAN.walk_in[-1].distance_m < PACES.pace_m / 2


def test_a_step_told_again_after_an_alarm_is_no_second_step() -> None:
    pacer = Pacer("metric", PACES)
    view = views(wind("good"), SETTINGS)[0]
    coach = Coach(SETTINGS)
    coach.step(wind("good")[0])
    now = coach._now
    assert now is not None
    assert view is not None
    texts = []
    for at_s, choice in (
        (0.0, Wanted("start_cranking", distance_m=1.81, side="there")),
        (10.0, Wanted("walk_in_to", distance_m=1.51, crank_turns=3.0)),
        (20.0, Wanted("keep_cranking")),
        (30.0, Wanted("walk_in_to", distance_m=1.51, crank_turns=2.0)),
        (40.0, Wanted("walk_in_to", distance_m=1.21, crank_turns=2.0)),
        (50.0, Wanted("walk_in_to", distance_m=1.51, crank_turns=2.0)),
        (60.0, Wanted("hold_distance", distance_m=1.51)),
    ):
        prompt = pacer.tell(replace(now, at_s=at_s), choice)
        assert prompt is not None
        texts.append(prompt.text)
    assert texts == [
        "Start cranking; stay at 1.81 m, about 3 paces.",
        "Half a pace in over 3 crank turns; keep cranking.",
        "Keep cranking.",
        "Finish that step over 2 crank turns; keep cranking.",
        "Half a pace in over 2 crank turns; keep cranking.",
        "Half a pace out over 2 crank turns; keep cranking.",
        "Stay where you are; keep cranking.",
    ]


@pytest.mark.parametrize("unit", STEP_UNITS)
def test_every_sentence_fits_in_every_unit(unit: str) -> None:
    steps = Steps(unit, 0.7, tape_at_m(0.25, 2.0))  # type: ignore[arg-type]
    for code in PROMPTS:
        for units in ("metric", "inch"):
            text = prompt_words(Prompt(0.0, code, "", 1.234, 12.0, 5.6e-3, 1280.0, 7e-3, 1.81), units, steps)
            assert text.endswith(".")
            assert len(text) <= 76
            assert "None" not in text
            assert text[0].isupper()


def test_where_steps_end_is_the_first_stop_outside_the_path() -> None:
    limits = Coach(replace(SETTINGS, steps=TAPE))._limits
    assert mark_of(1.1, limits) == 1.25
    assert mark_of(1.25, limits) == 1.25
    assert mark_of(0.1, limits) == limits.hooks_m
    assert mark_of(9.0, limits) == limits.stretch_m


def test_alarms_keep_the_figures_that_their_words_hold() -> None:
    _, said = coached(wind("overwind"), SETTINGS)
    alarms = [each for each in said if isinstance(each, Alarm)]
    assert alarms
    assert all("figures" not in alarm.as_json() for alarm in alarms)
    assert all(alarm.figures.peak_Nm is not None for alarm in alarms)
    assert USUAL.unit is None
