"""The coach's parts one by one: pacing of prompts, marks of the walk-in, turns, stillness, the band, words."""

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
from winding_coach.coach.band import RateBand
from winding_coach.coach.curve import MOST_POINTS, Curve
from winding_coach.coach.lead import Word
from winding_coach.coach.live import LiveScale
from winding_coach.coach.look import risk_at_peak
from winding_coach.coach.moment import Moment
from winding_coach.coach.pacer import QUIET_S, RESUMES_EVERY_S, Pacer
from winding_coach.coach.phases import (
    BY_SIGNAL,
    LOADED,
    OVER,
    SignalSteps,
    all_but_there,
    arrives,
    leaves_again,
    next_by_key,
)
from winding_coach.coach.prompts import MARK_GRID_M, Scene, mark_of, wanted
from winding_coach.coach.said import PROMPTS, LinkSaid, Phase, Prompt, ReadingSaid
from winding_coach.coach.view import Marks
from winding_coach.coach.wanted import FEET, Wanted
from winding_coach.coach.watching import MotorTurns, Stillness, ZeroTaker
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


def test_a_fall_of_torque_is_a_step_until_it_stays_down() -> None:
    steps = SignalSteps()
    fell = replace(CALM, phase=Phase.FINAL_TURNS, phase_top_Nm=LIMITS.peak_Nm, torque_Nm=0.7 * LIMITS.peak_Nm)
    assert steps.next(replace(fell, lies_s=1.9), LIMITS) is None, "it may still come back"
    assert steps.next(replace(fell, lies_s=2.1), LIMITS) is Phase.BACK_OFF
    assert steps.next(replace(fell, lies_s=2.1, torque_Nm=None), LIMITS) is None
    walk = replace(fell, phase=Phase.WALK_IN, led=True, cranking=False)
    assert steps.next(replace(walk, lies_s=7.5, waits_s=6.0), LIMITS) is None, "they may not have heard to wait yet"
    assert steps.next(replace(walk, lies_s=7.5, waits_s=7.5, cranking=True), LIMITS) is None
    assert steps.next(replace(walk, lies_s=7.5, waits_s=7.5, distance_m=1.0), LIMITS) is None, "seen far out"
    blind = replace(walk, lies_s=7.5, waits_s=7.5, counted=False, turns=None)
    assert steps.next(blind, LIMITS) is None, "a deaf walker goes on; nothing counts the crank"
    assert steps.next(replace(blind, still_s=8.5), LIMITS) is Phase.BACK_OFF
    assert steps.next(replace(walk, lies_s=7.5, waits_s=7.5), LIMITS) is Phase.BACK_OFF


def test_a_crank_that_stands_while_torque_is_far_down_has_ended() -> None:
    """Somebody who stopped far out and went to the hooks was told to keep cranking through the whole back-off."""
    low = replace(CALM, phase=Phase.WALK_IN, led=True, cranking=False, phase_top_Nm=0.8 * LIMITS.peak_Nm)
    low = replace(low, torque_Nm=0.5 * LIMITS.peak_Nm)
    steps = SignalSteps()
    assert steps.next(replace(low, at_s=1.0), LIMITS) is None
    assert steps.next(replace(low, at_s=4.0, cranking=True), LIMITS) is None, "a rest"
    assert steps.next(replace(low, at_s=5.0), LIMITS) is None
    assert steps.next(replace(low, at_s=11.5), LIMITS) is Phase.BACK_OFF
    for other in (
        replace(low, phase_top_Nm=0.96 * LIMITS.peak_Nm),  # told to stop and step in
        replace(low, torque_Nm=0.75 * LIMITS.peak_Nm),
        replace(low, distance_m=1.0),
        replace(low, counted=False),
        replace(low, arriving=True),
    ):
        steps = SignalSteps()
        assert [steps.next(replace(other, at_s=at_s), LIMITS) for at_s in (1.0, 9.0)] == [None, None]


def test_two_sensors_show_a_back_off_at_once_and_cranking_on_takes_it_back() -> None:
    steps = SignalSteps()
    walk = replace(CALM, phase=Phase.WALK_IN, taken_off=8.0)
    assert steps.next(walk, LIMITS) is None
    assert steps.next(replace(walk, taken_off=9.5), LIMITS) is Phase.BACK_OFF
    back = replace(CALM, phase=Phase.BACK_OFF, torque_Nm=0.8 * LIMITS.peak_Nm, phase_low_Nm=0.65 * LIMITS.peak_Nm)
    assert steps.next(replace(back, rises_s=1.0), LIMITS) is None
    assert steps.next(replace(back, rises_s=2.0), LIMITS) is None
    assert steps.next(replace(back, rises_s=2.6, at_s=0.6), LIMITS) is Phase.FINAL_TURNS


def test_the_table_leads_from_every_loaded_phase_to_broken_but_ready() -> None:
    assert {step.at for step in BY_SIGNAL if step.to is Phase.BROKEN} == LOADED - {Phase.READY}


@pytest.mark.parametrize("phase", list(Phase))
def test_keys_move_on_or_do_nothing(phase: Phase) -> None:
    assert next_by_key(phase, "count") is None
    over = phase in (Phase.DONE, Phase.STOPPED, Phase.BROKEN, Phase.EMPTY, Phase.LET_DOWN)
    assert (next_by_key(phase, "next") is None) == over
    assert (next_by_key(phase, "stop") is None) == (phase in OVER | {Phase.BROKEN})
    there = next_by_key(phase, "next")
    if there not in (None, Phase.DONE):
        assert next_by_key(there, "back") is phase, "what a key moved on, a key takes back"


def test_a_step_that_was_taken_back_is_not_taken_again_at_once() -> None:
    """Back from the walk-in with the torque of full stretch on: the signal moved on in the same moment."""
    steps = SignalSteps()
    wound = replace(CALM, phase=Phase.WIND_STRETCHED, torque_Nm=1.01 * LIMITS.stretched_Nm)
    assert steps.next(wound, LIMITS) is Phase.WALK_IN
    steps.hold(Phase.WALK_IN, 8.0)
    assert steps.next(replace(wound, at_s=7.9), LIMITS) is None
    assert steps.next(replace(wound, at_s=8.1), LIMITS) is Phase.WALK_IN


def test_walking_in_early_is_seen_by_falling_torque_and_by_distance() -> None:
    steps = SignalSteps()
    early = replace(CALM, phase=Phase.WIND_STRETCHED, turns=0.8 * LIMITS.stretched_turns, torque_Nm=2.5e-3)
    assert steps.next(replace(early, phase_top_Nm=3.5e-3), LIMITS) is Phase.WALK_IN
    assert steps.next(replace(early, phase_top_Nm=3.5e-3, cranking=None), LIMITS) is None
    assert steps.next(replace(early, phase_top_Nm=2.6e-3), LIMITS) is None
    stepped = replace(early, phase_top_Nm=2.6e-3, distance_m=0.9 * LIMITS.stretch_m)
    assert steps.next(stepped, LIMITS) is None, "one absurd distance is no step"
    assert steps.next(replace(stepped, at_s=0.8), LIMITS) is Phase.WALK_IN
    assert steps.next(replace(early, phase_top_Nm=2.6e-3, turns=1.2 * LIMITS.stretched_turns), LIMITS) is Phase.WALK_IN


BLIND = replace(CALM, turns=None, counted=False, in_phase_s=20.0, slow_rate_Nm_per_s=1e-5)


def test_what_nobody_measures_is_asked_for_and_not_guessed_into_a_phase() -> None:
    """Torque climbs alike at the hooks and for somebody who is slow on the way: no last turns yet, but the word is the
    hooks."""
    climbed = replace(BLIND, torque_Nm=1.06 * LIMITS.walked_in_Nm)
    assert not arrives(replace(climbed, climbs_s=14.0), LIMITS)
    assert arrives(replace(climbed, climbs_s=15.2), LIMITS)
    near = replace(BLIND, torque_Nm=0.95 * LIMITS.peak_Nm)
    assert arrives(near, LIMITS)
    assert not arrives(replace(near, distance_m=0.6), LIMITS), "a sensor shows the way that is left"
    assert not arrives(replace(near, counted=True, turns=0.8 * LIMITS.walked_in_turns), LIMITS), "turns say far out"
    steps = SignalSteps()
    there = replace(near, climbs_s=30.0, arriving=True)
    assert [steps.next(replace(there, at_s=at_s), LIMITS) for at_s in (0.0, 5.0)] == [None, None]
    choice = wanted(scene(now=replace(there, torque_Nm=0.8 * LIMITS.peak_Nm)))
    assert choice == Wanted("walk_in_to", distance_m=LIMITS.hooks_m, torque_Nm=LIMITS.peak_Nm)
    assert not leaves_again(there, LIMITS)
    assert leaves_again(replace(there, torque_Nm=0.7 * LIMITS.walked_in_Nm), LIMITS)


def test_told_to_stop_and_step_in_the_last_turns_are_where_torque_stays() -> None:
    stop = wanted(scene(now=replace(BLIND, arriving=True, torque_Nm=0.97 * LIMITS.peak_Nm, peak_in_s=0.5)))
    assert stop == Wanted("stop_at_peak", distance_m=LIMITS.hooks_m, torque_Nm=LIMITS.peak_Nm)
    assert Wanted("stop_at_peak").same_as(stop), "one stop, when the phase moves on after it"
    torque_Nm = 0.97 * LIMITS.peak_Nm
    held = replace(BLIND, arriving=True, torque_Nm=torque_Nm, phase_top_Nm=torque_Nm, still_s=2.5)
    steps = SignalSteps()
    assert [steps.next(replace(held, at_s=at_s), LIMITS) for at_s in (0.0, 1.3)] == [None, Phase.FINAL_TURNS]
    steps = SignalSteps()
    fell = replace(held, torque_Nm=0.8 * LIMITS.peak_Nm)
    assert [steps.next(replace(fell, at_s=at_s), LIMITS) for at_s in (0.0, 1.3)] == [None, None], "they stepped in"
    counted = replace(held, counted=True, turns=LIMITS.target_turns, cranking=False)
    steps = SignalSteps()
    stepping = replace(counted, torque_Nm=0.8 * LIMITS.peak_Nm, still_s=0.3)
    assert [steps.next(replace(stepping, at_s=at_s), LIMITS) for at_s in (0.0, 1.3)] == [None, None], "on their way in"
    there = replace(counted, torque_Nm=0.7 * LIMITS.peak_Nm)
    assert [steps.next(replace(there, at_s=at_s), LIMITS) for at_s in (2.0, 3.3)] == [None, Phase.FINAL_TURNS]
    turning = replace(held, counted=True, turns=LIMITS.target_turns, cranking=True)
    assert [steps.next(replace(turning, at_s=at_s), LIMITS) for at_s in (0.0, 1.3)] == [None, None]


def test_the_count_ends_the_climb_of_a_motor_whose_torque_stays_behind() -> None:
    there = replace(CALM, phase=Phase.FINAL_TURNS, torque_Nm=0.9 * LIMITS.peak_Nm, cranking=False, counted=True)
    steps = SignalSteps()
    short = replace(there, turns=0.97 * LIMITS.target_turns)
    assert [steps.next(replace(short, at_s=at_s), LIMITS) for at_s in (0.0, 1.0)] == [None, None]
    full = replace(there, turns=0.985 * LIMITS.target_turns)
    assert [steps.next(replace(full, at_s=at_s), LIMITS) for at_s in (2.0, 3.0)] == [None, Phase.BACK_OFF]


def test_a_stop_stands_until_the_hand_has_had_time_to_stop() -> None:
    """Once told to stop a hair below the target nobody is told to go on, nor to stop again."""
    pacer = Pacer("metric")
    now = replace(CALM, phase=Phase.FINAL_TURNS)
    pacer.tell(now, Wanted("stop_at_peak", torque_Nm=LIMITS.peak_Nm))
    assert [pacer.stopping(at_s, there=True) for at_s in (2.0, 5.0, 9.0)] == [True, True, False]
    assert [pacer.stopping(at_s) for at_s in (2.0, 5.0)] == [True, False]
    top = replace(BLIND, torque_Nm=0.95 * LIMITS.peak_Nm, phase_top_Nm=0.975 * LIMITS.peak_Nm)
    assert all_but_there(top, LIMITS), "torque relaxes once the hand stands"
    assert not all_but_there(replace(top, phase_top_Nm=0.95 * LIMITS.peak_Nm), LIMITS)
    counted = replace(top, torque_Nm=0.8 * LIMITS.peak_Nm, counted=True, turns=0.985 * LIMITS.target_turns)
    assert all_but_there(counted, LIMITS)


def test_one_sensor_counts_down_once_torque_falls_in_the_back_off() -> None:
    turns = MotorTurns(10.0)
    turns.count(None, signed=False, phase=Phase.WALK_IN, torque_share_of_top=1.0)
    before = turns.turns
    assert before is None
    for count in (5, 6, 7):
        turns.count(count, signed=False, phase=Phase.WALK_IN, torque_share_of_top=1.0)
    assert turns.turns == 20.0
    turns.count(8, signed=False, phase=Phase.BACK_OFF, torque_share_of_top=0.999)
    assert turns.turns == 30.0, "the last turn forwards"
    turns.count(9, signed=False, phase=Phase.BACK_OFF, torque_share_of_top=0.8)
    turns.count(10, signed=False, phase=Phase.READY, torque_share_of_top=0.999)
    assert turns.turns == 10.0, "reversed until the phase is left"
    turns.count(12, signed=False, phase=Phase.FINAL_TURNS, torque_share_of_top=0.9)
    assert turns.turns == 30.0
    turns.tap(Phase.WALK_IN)
    assert turns.source == "counted", "taps are ignored where the meter counts"
    turns.restart()
    assert turns.turns == 0.0


def test_turns_counted_while_the_hand_was_going_back_come_off_twice() -> None:
    """Backing off before the peak: the phase is seen a turn or two late, and one sensor cannot tell."""
    turns = MotorTurns(10.0)
    for count in range(21):
        turns.count(count, signed=False, phase=Phase.FINAL_TURNS, torque_share_of_top=1.0)
    assert turns.turns == 200.0
    turns.back_off(180.0, 0.999)
    assert turns.turns == 200.0, "torque is still at its top: these were forward turns"
    turns.back_off(180.0, 0.8)
    assert turns.turns == 160.0
    turns.count(21, signed=False, phase=Phase.BACK_OFF, torque_share_of_top=0.7)
    assert turns.turns == 150.0
    two = MotorTurns(10.0)
    for count in (0, 20, 18):
        two.count(count, signed=True, phase=Phase.FINAL_TURNS, torque_share_of_top=0.8)
    two.back_off(200.0, 0.8)
    assert two.turns == 180.0, "two sensors know"


def test_taps_come_off_in_the_back_off() -> None:
    turns = MotorTurns(10.0)
    for _ in range(3):
        turns.tap(Phase.WIND_STRETCHED)
    turns.tap(Phase.BACK_OFF)
    assert turns.turns == 20.0
    assert turns.source == "tapped"


def test_stillness_and_what_is_gone() -> None:
    still = Stillness(peak_Nm=10e-3, launch_Nm=5e-3)
    for tenth in range(20):
        still.add(tenth / 10, 4e-3, 4e-3)
    assert still.still_s == pytest.approx(1.9)
    assert still.gone_s == 0.0
    assert still.back_s == pytest.approx(1.9)
    still.add(2.0, 1e-4, 4e-3)
    still.add(2.5, 1e-4, 4e-3)
    assert still.still_s == pytest.approx(0.5)
    assert still.gone_s == pytest.approx(0.6)
    assert still.back_s == 0.0
    still.reset()
    assert (still.still_s, still.gone_s, still.back_s) == (0.0, 0.0, 0.0)


def test_a_zero_is_the_mean_of_the_last_second() -> None:
    taker = ZeroTaker()
    assert taker.zero() is None
    for tenth in range(30):
        taker.add(tenth / 10, 1000 if tenth < 15 else 100 + tenth % 2)
    assert taker.zero() == pytest.approx(100.5, abs=0.2)
    taker.reset()
    assert taker.zero() is None


def test_the_band_is_the_plan_s_slope_at_moderate_cranking() -> None:
    band = RateBand(LIMITS, PATH)
    assert band.at(Phase.SET_ZERO, None) == (None, None)
    low, high = band.at(Phase.WIND_STRETCHED, 300.0)
    slope = (PATH.torque_at(310.0) - PATH.torque_at(300.0)) / 10.0
    assert low is not None
    assert high is not None
    assert low < slope * 10.0 * 1.0 < high
    for phase in (Phase.WIND_STRETCHED, Phase.WALK_IN, Phase.FINAL_TURNS):
        blind_low, blind_high = band.at(phase, None)
        assert blind_low is not None
        assert blind_high is not None
        assert blind_low < blind_high
    assert band.at(Phase.FINAL_TURNS, 2 * LIMITS.target_turns) == band.at(Phase.FINAL_TURNS, None)


def test_the_rise_of_a_crank_turn_is_the_plan_s_next_turn() -> None:
    """Turn after turn it adds up to the plan's own torque, and the band a second lies about it."""
    band = RateBand(LIMITS, PATH)
    assert band.per_crank_turn(Phase.BACK_OFF, 1300.0) is None
    for phase, begin, end in (
        (Phase.WIND_STRETCHED, 100, 690),
        (Phase.WALK_IN, 700, 1140),
        (Phase.FINAL_TURNS, 1150, 1300),
    ):
        rises = [band.per_crank_turn(phase, float(turns)) or 0.0 for turns in range(begin, end, 10)]
        assert sum(rises) == pytest.approx(PATH.torque_at(end) - PATH.torque_at(begin), rel=1e-9)
        for turns, rise in zip(range(begin, end, 10), rises, strict=True):
            low, high = band.at(phase, float(turns))
            assert low is not None
            assert high is not None
            assert low < rise * 1.0 < high, "at one turn a second"


def test_the_risk_at_the_peak_is_the_plan_s_until_the_wind_shows_another() -> None:
    live = LiveScale(LIMITS, PATH)
    winding = replace(CALM, phase=Phase.WIND_STRETCHED, turns=400.0)
    as_planned = risk_at_peak(winding, LIMITS, PATH, live)
    assert as_planned == pytest.approx(PLAN.break_risk, rel=1e-3)
    assert risk_at_peak(replace(winding, turns=None), LIMITS, PATH, live) is None
    assert risk_at_peak(replace(winding, phase=Phase.BACK_OFF), LIMITS, PATH, live) is None
    capped = risk_at_peak(winding, replace(LIMITS, peak_Nm=0.9 * LIMITS.peak_Nm), PATH, live)
    assert capped is not None
    assert as_planned is not None
    assert capped < 0.5 * as_planned, "a rating that stops the wind earlier makes it safer"
    strained = replace(CALM, phase=Phase.WALK_IN, turns=1000.0, torque_Nm=0.9 * LIMITS.peak_Nm)
    assert risk_at_peak(strained, LIMITS, PATH, live) == as_planned, "out there torque does not tell the turns left"
    # Torque lags behind the plan: more turns until the peak, and more risk.
    late = replace(CALM, phase=Phase.FINAL_TURNS, turns=1280.0, torque_Nm=0.9 * LIMITS.peak_Nm)
    lagging = risk_at_peak(late, LIMITS, PATH, live)
    assert lagging is not None
    assert lagging > 1.5 * as_planned
    further = replace(late, torque_Nm=0.5 * LIMITS.peak_Nm, turns=1500.0)
    assert risk_at_peak(further, LIMITS, PATH, live) == pytest.approx(PATH.break_risk(1500.0, LIMITS.hooks_m))


def test_the_curve_is_bounded_and_keeps_its_ends_in_order() -> None:
    curve = Curve()
    for number in range(20_000):
        curve.add(number / 10, None, number * 1e-6)
    points = curve.points()
    assert MOST_POINTS / 2 <= len(points) <= MOST_POINTS
    times = [at_s for at_s, _, _ in points]
    assert times == sorted(times)
    assert times[0] < 5.0
    assert times[-1] > 1990.0


def test_json_rounds_and_writes_null_for_not_known() -> None:
    assert LinkSaid(1.0, "up").as_json() == {
        "event": "link",
        "at_s": 1.0,
        "state": "up",
        "port": None,
        "reason": None,
    }
    prompt = Prompt(1.0, "walk_in_to", "x", distance_m=1.23456, crank_turns=3.14159, torque_Nm=5.4321987e-3)
    said = prompt.as_json()
    assert (said["distance_m"], said["crank_turns"], said["torque_mNm"]) == (1.235, 3.14, 5.4322)
    assert set(Prompt(1.0, "tare", "x").as_json()) == {"event", "at_s", "code", "text"}
    reading = ReadingSaid(2.0).as_json()
    assert [key for key, value in reading.items() if value is not None] == ["event", "at_s", "turns_source"]


def test_without_a_crank_sensor_a_still_torque_is_a_still_hand() -> None:
    steps = SignalSteps()
    top = 0.98 * LIMITS.peak_Nm
    blind = replace(CALM, phase=Phase.FINAL_TURNS, cranking=None, torque_Nm=top, phase_top_Nm=top, rate_Nm_per_s=1e-7)
    assert steps.next(blind, LIMITS) is None
    assert steps.next(replace(blind, at_s=1.0), LIMITS) is Phase.BACK_OFF
    rising = replace(blind, at_s=5.0, rate_Nm_per_s=1e-4)
    assert steps.next(rising, LIMITS) is None
    assert steps.next(replace(rising, at_s=6.0), LIMITS) is None


def test_a_hand_seen_going_back_is_a_back_off_at_once() -> None:
    steps = SignalSteps()
    back = replace(CALM, phase=Phase.FINAL_TURNS, reversing=True, torque_Nm=0.8e-3, phase_top_Nm=1e-3)
    assert steps.next(back, LIMITS) is None
    assert steps.next(replace(back, at_s=0.3), LIMITS) is Phase.BACK_OFF


@pytest.mark.parametrize("distance_m", [None, LIMITS.stretch_m], ids=["nobody measures", "measured"])
def test_the_lower_target_stays_once_somebody_goes_on_in_doubt(distance_m: float | None) -> None:
    """Where nobody measures it went up again with the next reading, to 0.72 of the label's for a gain of 0.3."""
    live = LiveScale(LIMITS, PATH)

    def wound(first: float, last: float) -> None:
        for turns in range(round(first), round(last)):
            at_s = 0.1 * turns
            live.tell(at_s, Phase.WIND_STRETCHED, 0.3 * PATH.torque_at(turns), float(turns), distance_m)

    wound(0.2 * LIMITS.stretched_turns, 0.6 * LIMITS.stretched_turns)
    live.hold_low(0.3)
    held = live.scale
    wound(0.6 * LIMITS.stretched_turns, 0.9 * LIMITS.stretched_turns)
    assert held == pytest.approx(0.3, rel=0.02)
    assert live.scale == pytest.approx(0.3, rel=0.02)


def test_going_on_takes_the_lower_of_what_full_stretch_and_the_last_doubt_showed() -> None:
    live = LiveScale(LIMITS, PATH)
    for turns in range(100, 600):
        live.tell(0.1 * turns, Phase.WIND_STRETCHED, PATH.torque_at(turns), float(turns), LIMITS.stretch_m)
    live.hold_low(0.4)
    assert live.scale == pytest.approx(0.4)
