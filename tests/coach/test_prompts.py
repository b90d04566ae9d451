"""What is wanted at each moment, and when it is said: prompts, their pace, marks and the back-off's countdown."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.coach.test_alarms import CALM, LIMITS
from tests.scenario import MOTOR, PLAN
from winding_coach.base.units import UnitSystem
from winding_coach.coach.lead import Word
from winding_coach.coach.moment import Moment
from winding_coach.coach.pacer import QUIET_S, RESUMES_EVERY_S, Pacer
from winding_coach.coach.prompts import MARK_GRID_M, Scene, mark_of, wanted
from winding_coach.coach.said import PROMPTS, Phase, Prompt
from winding_coach.coach.view import Marks
from winding_coach.coach.wanted import FEET, Wanted
from winding_coach.coach.wording import distance_words, prompt_words
from winding_coach.rubber.path import PlanPath

PATH = PlanPath(PLAN, MOTOR)


@dataclass(frozen=True)
class At:
    """A walk whose mark is known."""

    mark_m: Any
    mark_in: float


def scene(**changes: object) -> Scene:
    walk = At(changes.pop("mark_m", 1.02), 3.0)
    base = Scene(CALM, LIMITS, walk, frozenset(), Marks(), None)
    return replace(base, **changes)  # type: ignore[arg-type]


def code(at: Scene) -> str | None:
    choice = wanted(at)
    return None if choice is None else choice.code


def test_what_is_wanted_in_each_phase() -> None:
    plain = {phase: code(scene(now=replace(CALM, phase=phase))) for phase in Phase}
    assert plain == {
        Phase.SET_ZERO: "tare",
        Phase.STRETCH_OUT: "stretch_to",
        Phase.WIND_STRETCHED: "keep_cranking",
        Phase.WALK_IN: "walk_in_to",
        Phase.FINAL_TURNS: "keep_cranking",
        Phase.BACK_OFF: "back_off",
        Phase.READY: "note_down",
        Phase.DONE: None,
        Phase.BROKEN: None,
        Phase.STOPPED: None,
        Phase.EMPTY: None,
        Phase.LET_DOWN: None,
    }


def test_every_prompt_of_the_contract_can_be_said() -> None:
    found = set()
    walk, final = replace(CALM, phase=Phase.WALK_IN), replace(CALM, phase=Phase.FINAL_TURNS)
    stretched = replace(CALM, phase=Phase.WIND_STRETCHED)
    out = replace(CALM, phase=Phase.STRETCH_OUT)
    for at in (
        scene(now=replace(CALM, phase=Phase.SET_ZERO)),
        scene(now=replace(out, in_phase_s=0.0)),
        scene(now=replace(out, in_phase_s=9.0)),
        scene(now=stretched),
        scene(now=replace(stretched, cranking=None, in_phase_s=0.1)),
        scene(now=stretched, alarms=frozenset({"rising_too_fast"})),
        scene(now=walk),
        scene(now=walk, alarms=frozenset({"torque_falling"})),
        *(scene(now=walk, word=Word(code)) for code in sorted(FEET)),
        scene(now=walk, alarms=frozenset({"overwind"})),
        scene(now=final),
        scene(now=replace(final, crank_rev_per_s=0.3, cranking=True, in_phase_s=9.0)),
        scene(now=replace(CALM, phase=Phase.BACK_OFF)),
        scene(now=replace(CALM, phase=Phase.READY, in_phase_s=0.0)),
        scene(now=replace(CALM, phase=Phase.READY, in_phase_s=9.0)),
        replace(scene(now=replace(CALM, phase=Phase.READY, in_phase_s=9.0)), relaxed=True),
        scene(now=replace(walk, by_taps=True)),
    ):
        found.add(code(at))
    assert found == set(PROMPTS) - UNWINDING


UNWINDING = frozenset({"hook_wound", "step_out_wound", "stay_wound", "let_down", "let_down_slower", "empty"})


"""Said by the coach for letting a motor down."""


def test_urgent_things_come_before_advice() -> None:
    walk = replace(CALM, phase=Phase.WALK_IN)
    assert code(scene(now=walk, alarms=frozenset({"crank_stalled", "torque_falling"}))) == "keep_cranking"
    assert code(scene(now=replace(walk, torque_Nm=LIMITS.peak_Nm))) == "stop_at_peak"
    turns = 0.97 * LIMITS.target_turns
    final = replace(CALM, phase=Phase.FINAL_TURNS, peak_in_s=0.5, torque_Nm=0.95 * LIMITS.peak_Nm, turns=turns)
    assert code(scene(now=final, alarms=frozenset({"rising_too_fast"}))) == "stop_at_peak"
    assert code(scene(now=replace(final, peak_in_s=9.0), alarms=frozenset({"rising_too_fast"}))) == "crank_slower"
    over = replace(CALM, phase=Phase.BACK_OFF, torque_Nm=1.1 * LIMITS.peak_Nm)
    assert code(scene(now=over, alarms=frozenset({"overwind"}))) == "stop_at_peak"


@pytest.mark.parametrize("alarm", ["winder_limit", "meter_limit", "meter_saturated"])
def test_nobody_is_told_to_begin_beside_a_limit_that_was_met_a_moment_ago(alarm: str) -> None:
    out = replace(CALM, phase=Phase.STRETCH_OUT, in_phase_s=20.0)
    assert code(scene(now=out)) == "start_cranking"
    assert code(scene(now=out, alarms=frozenset({alarm}))) == "stop_at_peak"


def test_at_a_limit_in_the_walk_in_one_is_sent_on_to_the_hooks() -> None:
    """With the crank still no further mark is ever due: "stop; step in to" stood for ever where one was already."""
    over = replace(CALM, torque_Nm=LIMITS.peak_Nm, cranking=False)
    ways = {
        "not there yet": (replace(over, distance_m=0.9), 0.5),
        "there": (replace(over, distance_m=0.52), LIMITS.hooks_m),
        "nobody measures, still cranking": (replace(over, cranking=True), 0.5),
        "nobody measures, stopped": (over, LIMITS.hooks_m),
    }
    said = {name: wanted(scene(now=now, mark_m=0.5)) for name, (now, _) in ways.items()}
    assert {name: one and one.distance_m for name, one in said.items()} == {name: at for name, (_, at) in ways.items()}
    assert {one and one.code for one in said.values()} == {"stop_at_peak"}
    pacer = Pacer("metric")
    pacer.tell(over, said["not there yet"])
    told = pacer.tell(replace(over, at_s=QUIET_S), said["there"])
    assert told is not None
    assert told.text == "Stop cranking: 6.78 mN·m; step in to 0.22 m."


def test_towards_the_peak_the_crank_goes_slower_until_the_stop() -> None:
    turns = 0.97 * LIMITS.target_turns
    near = replace(CALM, phase=Phase.FINAL_TURNS, torque_Nm=0.9 * LIMITS.peak_Nm, crank_rev_per_s=1.2, turns=turns)
    choice = wanted(scene(now=near))
    assert choice == Wanted("crank_slower", torque_Nm=LIMITS.peak_Nm)
    assert code(scene(now=replace(near, torque_Nm=0.8 * LIMITS.peak_Nm))) == "keep_cranking", "not yet"
    calm = replace(near, crank_rev_per_s=0.6)
    assert code(scene(now=calm)) == "keep_cranking", "slow enough"
    assert code(scene(now=calm, slowed=True)) == "crank_slower", "once said it stands until the stop"
    stands = replace(near, cranking=False, crank_rev_per_s=0.0)
    assert code(scene(now=stands, slowed=True)) == "keep_cranking", "but not to a hand that stands"
    crawls = replace(near, crank_rev_per_s=0.1)
    assert code(scene(now=crawls, slowed=True)) == "crank_faster"
    outside = replace(near, distance_m=LIMITS.hooks_m + 0.1)
    assert code(scene(now=outside)) == "keep_cranking", "first in to the hooks"
    assert code(scene(now=replace(near, peak_in_s=1.0, torque_Nm=0.96 * LIMITS.peak_Nm))) == "stop_at_peak"
    pacer = Pacer("metric")
    said = pacer.tell(near, choice)
    assert said is not None
    assert said.text == "Crank slower; the target is 6.78 mN·m."
    pacer = Pacer("metric")
    pacer.tell(near, Wanted("crank_slower"))
    after = pacer.tell(replace(near, at_s=9.0), choice)
    assert after is not None, "the alarm's word and the peak's are two"
    assert pacer.slowed_in(Phase.FINAL_TURNS)
    assert not pacer.slowed_in(Phase.WIND_STRETCHED)


def test_stop_and_crank_never_come_in_turns() -> None:
    """A meter at the end of its range near the peak: the word changed with each turn of the crank."""
    pacer, said = Pacer("metric"), []
    near = replace(CALM, phase=Phase.FINAL_TURNS)
    for tenth in range(600):
        choice = Wanted("stop_at_peak") if tenth // 15 % 2 else Wanted("keep_cranking")
        told = pacer.tell(replace(near, at_s=0.1 * tenth), choice)
        said += [] if told is None else [(told.at_s, told.code)]
    sent_on = [at_s for at_s, code in said if code == "keep_cranking"]
    assert len(sent_on) >= 3, "a little more may be asked for"
    assert all(after - before >= RESUMES_EVERY_S for before, after in pairwise(sent_on[1:]))
    stopped = [at_s for at_s, code in said if code == "stop_at_peak"]
    assert stopped[0] == pytest.approx(1.5), "the first stop is said at once"


def test_a_distance_sensor_shows_who_is_too_far_in() -> None:
    near = replace(CALM, phase=Phase.WALK_IN, distance_m=0.7)
    choice = wanted(scene(now=near))
    assert choice is not None
    assert (choice.code, choice.distance_m) == ("hold_distance", 0.7)
    there = replace(CALM, phase=Phase.STRETCH_OUT, in_phase_s=0.0, distance_m=LIMITS.stretch_m)
    assert code(scene(now=there)) == "start_cranking"


def test_at_full_stretch_nobody_is_sent_to_where_they_stand() -> None:
    choice = wanted(scene(mark_m=LIMITS.stretch_m))
    assert choice is not None
    assert choice.code == "hold_distance"


@given(st.floats(LIMITS.hooks_m, LIMITS.stretch_m))
def test_marks_are_steps_apart_and_never_nearer_than_the_path(path_m: float) -> None:
    mark = mark_of(path_m, LIMITS)
    assert path_m - 1e-3 <= mark <= path_m + MARK_GRID_M + 1e-3
    assert LIMITS.hooks_m <= mark <= LIMITS.stretch_m + 1e-3


def test_the_back_off_counts_down_by_half_turns_to_a_stop() -> None:
    back = replace(CALM, phase=Phase.BACK_OFF, torque_Nm=0.9 * LIMITS.peak_Nm)
    left = [wanted(scene(now=back, back_off_left=turns)) for turns in (None, 3.2, 1.6, 0.9, 0.1, -1.0)]
    turns = [choice.crank_turns for choice in left if choice is not None]
    assert turns == [round(LIMITS.back_off_turns / LIMITS.ratio), 3.0, 1.5, 1.0, 0.5, 0.5]
    falling = replace(back, torque_Nm=1.1 * LIMITS.launch_Nm, rate_Nm_per_s=-0.2 * LIMITS.launch_Nm)
    choice = wanted(scene(now=falling, back_off_left=0.5))
    assert choice is not None
    assert choice.crank_turns == 0.0, "said before: the hand needs time to stop"
    assert (
        prompt_words(Prompt(0.0, "back_off", "", None, 0.0, 3.5e-3), "metric")
        == "Stop here: launch torque 3.50 mN·m reached."
    )
    assert "1½ crank turns" in prompt_words(Prompt(0.0, "back_off", "", None, 1.5, 3.5e-3), "metric")
    assert "half a crank turn" in prompt_words(Prompt(0.0, "back_off", "", None, 0.5, 3.5e-3), "metric")


def test_the_stop_of_the_back_off_comes_as_this_person_stops_and_not_where_torque_is_steep() -> None:
    launch_Nm = LIMITS.launch_Nm
    back = replace(CALM, phase=Phase.BACK_OFF, in_phase_s=6.0, rate_Nm_per_s=-0.05 * launch_Nm)
    near = scene(now=replace(back, torque_Nm=1.05 * launch_Nm), back_off_left=1.0)
    late = wanted(replace(near, stop_lead_s=2.0))
    usual = wanted(near)
    assert late is not None
    assert usual is not None
    assert (late.crank_turns, usual.crank_turns) == (0.0, 1.0)
    steep = replace(back, torque_Nm=1.4 * launch_Nm, rate_Nm_per_s=-launch_Nm)
    early = wanted(scene(now=steep, back_off_left=2.2))
    assert early is not None
    assert early.crank_turns == 2.0


def test_advice_waits_and_urgency_does_not() -> None:
    pacer = Pacer("metric")

    def at(seconds: float) -> Moment:
        return replace(CALM, at_s=seconds)

    assert pacer.tell(at(0.0), Wanted("walk_in_to", distance_m=1.2)) is not None
    assert pacer.tell(at(0.5), Wanted("walk_in_to", distance_m=1.2)) is None, "not repeated"
    assert pacer.tell(at(1.0), Wanted("walk_in_to", distance_m=1.1)) is None, "not yet"
    assert pacer.tell(at(1.1), Wanted("keep_cranking")) is not None, "urgent"
    assert pacer.tell(at(1.2), Wanted("walk_in_to", distance_m=1.1)) is None
    assert pacer.tell(at(1.1 + QUIET_S), Wanted("walk_in_to", distance_m=1.1)) is not None
    later = replace(at(1.2 + QUIET_S), phase=Phase.FINAL_TURNS)
    assert pacer.tell(later, Wanted("keep_cranking", torque_Nm=5e-3)) is not None, "a new phase speaks at once"
    assert pacer.tell(replace(later, phase=Phase.DONE), None) is None
    assert pacer.prompt is None


def test_prompts_fit_a_glance_in_both_unit_systems() -> None:
    systems: tuple[UnitSystem, ...] = ("metric", "inch")
    for units in systems:
        for name in PROMPTS:
            bare = prompt_words(Prompt(0.0, name, ""), units)
            full = prompt_words(Prompt(0.0, name, "", 1.234, 1.0, 5.6e-3, 1280.0, 7e-3), units)
            for text in (bare, full):
                assert text.endswith(".")
                assert len(text) <= 72
                assert "None" not in text
    assert distance_words(1.234, "metric") == "1.23 m"
    assert distance_words(1.234, "inch") == "49 in"
    assert "1 crank turn to" in prompt_words(Prompt(0.0, "back_off", "", None, 1.0, 1e-3), "metric")
