"""Robot people: late, imperfect, alike by seed, and knowing nothing but what is shown to them."""

from __future__ import annotations

import statistics
from dataclasses import fields, replace

import numpy as np
import pytest

from tests.bench.people import Cell, own_risk, wind
from tests.scenario import MOTOR, PLAN, WINDER
from tests.support.alone import LonePerson
from winding_coach.simulator.bench import MeterModel
from winding_coach.simulator.coached import CoachedPerson
from winding_coach.simulator.people import Senses, Shown
from winding_coach.simulator.skill import BEGINNER, EXPERT, PRACTISED, SKILLS, Skill

DT_S = 0.02


def person(skill: Skill = PRACTISED, seed: int = 1, *, hears: bool = True) -> CoachedPerson:
    return CoachedPerson(skill, MOTOR.loop_m, np.random.default_rng(seed), hears=hears, full_Nm=7e-3)


def shown_for(who: CoachedPerson, shown: Shown, seconds: float) -> None:
    for number in range(round(seconds / DT_S)):
        if number % 5 == 0:
            who.see(shown)
        who.advance(DT_S, 4e-3)


def winding(who: CoachedPerson) -> CoachedPerson:
    """Brought to full stretch and cranking."""
    shown_for(who, Shown(prompt="stretch_to", said_s=1.0, distance_m=1.8, at_m=1.0), 10.0)
    shown_for(who, Shown(prompt="start_cranking", said_s=2.0, distance_m=1.8), 6.0)
    return who


def test_each_skill_is_better_than_the_one_before() -> None:
    for name in ("reaction_s", "looks_s", "tone_s", "step_m", "least_m", "judges", "unevenness", "stalls", "late_s"):
        beginner, practised, expert = (getattr(skill, name) for skill in (BEGINNER, PRACTISED, EXPERT))
        assert beginner > practised > expert, name
    assert BEGINNER.attention < PRACTISED.attention < EXPERT.attention
    assert set(SKILLS) == {"beginner", "practised", "expert"}
    assert PRACTISED.reaction_s == pytest.approx(0.7), "median of the issue's people"


def test_reactions_have_the_median_that_the_skill_says() -> None:
    times = []
    for seed in range(200):
        senses = Senses(replace(PRACTISED, attention=1.0), np.random.default_rng(seed), hears=True)
        senses.show(0.0, Shown(prompt="stop_at_peak", cue_s=0.0), standing=True)
        at_s = 0.0
        while senses.mind.prompt is None:
            at_s += 0.01
            senses.notice(at_s)
        times.append(at_s)
    assert statistics.median(times) == pytest.approx(0.7, abs=0.1)
    assert max(times) > 1.2 * statistics.median(times)


def test_a_cue_is_heard_sooner_than_the_next_look_and_missed_now_and_then() -> None:
    def noticed_s(seed: int, *, hears: bool) -> float:
        senses = Senses(BEGINNER, np.random.default_rng(seed), hears=hears)
        for tick in range(100):
            at_s = 0.1 * tick
            shown = Shown() if at_s < 2.0 else Shown(prompt="walk_in_to", cue_s=2.0)
            senses.show(at_s, shown, standing=False)
            senses.notice(at_s)
            if senses.mind.prompt is not None:
                return at_s - 2.0
        raise AssertionError("never noticed")

    heard = [noticed_s(seed, hears=True) for seed in range(120)]
    seen = [noticed_s(seed, hears=False) for seed in range(120)]
    assert statistics.mean(heard) < statistics.mean(seen) - 0.1
    assert max(heard) > 1.3, "some cues are missed"


def test_an_older_look_never_drives_out_a_newer_one() -> None:
    senses = Senses(BEGINNER, np.random.default_rng(3), hears=False)
    order = []
    for tick in range(600):
        senses.show(0.1 * tick, Shown(said_s=0.1 * tick), standing=True)
        senses.notice(0.1 * tick)
        order.append(senses.mind.said_s)
    assert order == sorted(order)


def test_the_crank_slows_under_load_and_stops_when_told_but_late() -> None:
    who = winding(person(replace(BEGINNER, unevenness=0.0)))
    light = who.state.crank_rev_per_s
    for _ in range(100):
        who.advance(DT_S, 7e-3)
    assert who.state.crank_rev_per_s < 0.95 * light
    before = who.state.crank_rev
    shown_for(who, Shown(prompt="stop_at_peak", said_s=9.0, cue_s=9.0), 5.0)
    assert who.state.crank_rev_per_s == 0.0
    assert who.state.crank_rev > before + 0.4, "a reaction's worth of turns"


def test_a_walk_in_is_made_in_steps_to_the_mark_and_not_past_it() -> None:
    who = winding(person())
    shown_for(who, Shown(prompt="walk_in_to", said_s=5.0, distance_m=1.6, crank_turns=6.0, at_m=1.8), 14.0)
    assert who.state.distance_m == pytest.approx(1.6, abs=0.03)
    assert who.state.doing == "walking in"


def test_the_first_step_is_no_longer_than_the_pace_asks() -> None:
    """It used to be a whole stride: the pace was taken as owed since the first turn of the crank."""
    who = winding(person(replace(BEGINNER, step_spread=0.0)))
    out_m = who.state.distance_m
    shown_for(who, Shown(prompt="walk_in_to", said_s=5.0, distance_m=out_m - 0.1, crank_turns=6.0, at_m=out_m), 3.0)
    assert 0.0 < out_m - who.state.distance_m < 0.06, "three seconds are some three turns of six for 10 cm"


def test_without_a_mark_a_step_is_ones_own() -> None:
    who = winding(person())
    from_m = who.state.distance_m
    shown_for(who, Shown(prompt="walk_in_to", said_s=5.0), 8.0)
    assert 0.1 < from_m - who.state.distance_m < 0.8


def test_big_steps_stop_a_beginners_crank_and_a_word_ends_it() -> None:
    def stood_s(skill: Skill) -> float:
        stood = 0.0
        for seed in range(12):
            who = winding(person(skill, seed))
            for number in range(round(12.0 / DT_S)):
                if number % 5 == 0:
                    who.see(Shown(prompt="walk_in_to", said_s=5.0, distance_m=0.5, crank_turns=6.0, at_m=1.8))
                who.advance(DT_S, 4e-3)
                stood += DT_S if who.state.crank_rev_per_s < 0.15 else 0.0
        return stood

    assert stood_s(BEGINNER) > 4.0
    assert stood_s(replace(BEGINNER, stalls=0.0)) == 0.0
    assert stood_s(replace(BEGINNER, steps_matter=False, stalls=0.9)) > stood_s(BEGINNER)


def test_a_person_reads_only_what_is_shown() -> None:
    told = {field.name for field in fields(Shown)}
    assert not told & {"turns", "strength", "scale", "true_torque"}
    who = winding(person())
    standing = who.state.distance_m
    shown_for(who, Shown(prompt="keep_cranking", said_s=3.0), 5.0)
    assert who.state.distance_m == standing, "nobody said to step in"


def test_one_alone_looks_at_the_meter_and_stops_at_the_cards_torque() -> None:
    who = LonePerson(EXPERT, MOTOR.loop_m, np.random.default_rng(5), plan=PLAN, winder=WINDER)
    for number in range(round(40.0 / DT_S)):
        if number % 5 == 0:
            who.see(Shown(torque_Nm=0.5 * PLAN.stretched_torque_Nm))
        who.advance(DT_S, 3e-3)
    assert who.state.doing == "winding stretched"
    assert who.state.distance_m == pytest.approx(PLAN.stretch_distance_m, rel=0.06)


def test_the_same_seed_is_the_same_wind() -> None:
    cell = Cell("beginner", False)
    assert wind(cell, 71) == wind(cell, 71)
    assert wind(cell, 71) != wind(cell, 72)


def test_one_coached_wind_closes_the_loop() -> None:
    """A whole wind, hands free: no key is pressed, and the motor is at its launch torque in the end."""
    result = wind(Cell("practised", True, MeterModel(channels="cd", lines_per_s=40.0)), 700_012)
    assert not result.broken
    assert result.peak == pytest.approx(1.0, abs=0.05)
    assert result.launch == pytest.approx(1.0, abs=0.10)
    assert result.in_band is not None
    assert result.in_band > 0.6


def test_a_weak_enough_motor_breaks_on_the_plan_itself() -> None:
    assert own_risk(1.0) == 0.0
    assert own_risk(0.86) == 1.0
