"""The walkers: do they do what they are described to do? A script speaks to them; no coach is involved."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from statistics import mean, pstdev

import numpy as np
import pytest

from tests.bench.walkers.body import Body
from tests.bench.walkers.follower import PACES_M_PER_S, Follower
from tests.bench.walkers.people import FEET, STEPS, WILLS, Walker, draw
from tests.bench.walkers.senses import Senses, Word
from tests.bench.walkers.winding import HOOKS_M, LABELLED, PLAN

DT_S = 0.025


def prompt(at_s: float, code: str, **figures: float) -> Word:
    return {"event": "prompt", "at_s": at_s, "code": code, "text": "", **figures}


def alarm(at_s: float, code: str, level: str = "warning") -> Word:
    return {"event": "alarm", "at_s": at_s, "code": code, "level": level, "active": True, "text": ""}


class Scene:
    """A person at full stretch who is winding, and a script of words."""

    def __init__(self, seed: int = 1, feet: str = "walks", **traits: object) -> None:
        drawn = draw(seed, feet=feet, plain=True)
        usual = {"hears": True, "stalls": "never", "gets_tired": False, "changes_hands": False, "relative": False}
        walker: Walker = replace(drawn.walker, **(usual | traits))  # type: ignore[arg-type]
        rng = np.random.default_rng(seed)
        self.body = Body(walker, LABELLED.loop_m, HOOKS_M, rng)
        self.senses = Senses(walker, rng)
        self.mind = Follower(replace(drawn, walker=walker), self.body, self.senses, PLAN, 10.0)
        self.body.distance_m = PLAN.stretch_distance_m
        self.body.hooked = True
        self.mind.enter("winding")
        self.walker = walker
        self.torque_Nm: float | None = None

    @property
    def at_s(self) -> float:
        return self.body.at_s

    def say(self, code: str, **figures: float) -> None:
        self.senses.said(self.at_s, prompt(self.at_s, code, **figures))

    def run(self, for_s: float, until: Callable[[], bool] = lambda: False) -> float:
        begun = self.at_s
        while self.at_s - begun < for_s and not until():
            for _ in range(2):
                self.body.advance(DT_S, 0.5)
            walking = self.body.moving and self.mind.stage == "winding"
            self.senses.look(self.at_s, self.torque_Nm, walking=walking)
            self.mind.decide()
            self.body.wander(2 * DT_S)
        return self.at_s - begun


def test_ranges_are_those_of_the_population() -> None:
    people = [draw(seed).walker for seed in range(3000)]
    assert {one.feet for one in people} == set(FEET)
    assert {will for one in people for will in one.wills} == set(WILLS)
    for name, low, high in (
        ("crank_rev_per_s", 0.5, 2.2),
        ("uneven", 0.05, 0.20),
        ("tires", 0.0, 0.40),
        ("looks_s", 0.5, 3.0),
        ("reaction_s", 0.5, 1.5),
        ("walk_m_per_s", 0.02, 0.10),
        ("words_pace", 0.5, 2.0),
        ("bias", -0.15, 0.15),
        ("behind_m", 0.0, 0.5),
        ("share", 0.70, 0.95),
    ):
        found = [getattr(one, name) for one in people]
        assert low <= min(found) < low + 0.02 * (high - low)
        assert high - 0.02 * (high - low) < max(found) <= high
    for feet in FEET:
        steps = [one.step_m for one in people if one.feet == feet]
        assert STEPS[feet][0] <= min(steps) < max(steps) <= STEPS[feet][1]
    motors = [draw(seed) for seed in range(3000)]
    assert mean(one.turns_in > 0.0 for one in motors) == pytest.approx(0.1, abs=0.02)
    assert mean(one.label != 1.0 for one in motors) == pytest.approx(1 / 30, abs=0.01)
    assert {one.pulses for one in motors} == {1, 4}


def test_a_seed_gives_the_same_person_motor_and_meter_whoever_leads() -> None:
    assert draw(7) == draw(7)
    plain, other = draw(7, plain=True), draw(7, feet="strides")
    assert plain.scale == other.scale
    assert plain.walker.crank_rev_per_s == other.walker.crank_rev_per_s
    assert plain.walker.wills == frozenset()


@pytest.mark.parametrize("code", sorted(PACES_M_PER_S))
def test_who_walks_goes_at_the_pace_that_the_word_means_to_them(code: str) -> None:
    scene = Scene(words_pace=1.5)
    scene.say(code)
    scene.run(5.0)
    before = scene.body.distance_m
    scene.run(4.0)
    assert (before - scene.body.distance_m) / 4.0 == pytest.approx(1.5 * PACES_M_PER_S[code], rel=0.02)


def test_some_take_slower_from_their_present_pace() -> None:
    scene = Scene(words_pace=1.0, relative=True)
    scene.say("walk_quicker")
    scene.run(4.0)
    scene.say("walk_slower")
    scene.run(4.0)
    before = scene.body.distance_m
    scene.run(2.0)
    assert (before - scene.body.distance_m) / 2.0 == pytest.approx(0.6 * 0.08, rel=0.02)


def test_wait_here_stops_the_feet_and_not_the_crank() -> None:
    scene = Scene(crank_rev_per_s=1.2)
    scene.say("walk_on")
    scene.run(5.0)
    scene.say("wait_here")
    scene.run(4.0)
    at_m, rev = scene.body.distance_m, scene.body.rev
    scene.run(5.0)
    assert scene.body.distance_m == at_m
    assert scene.body.rev - rev > 4.0


@pytest.mark.parametrize(("feet", "low", "high"), [("shuffles", 0.03, 0.08), ("strides", 0.2, 0.6)])
def test_steps_to_a_mark_have_their_length_and_end_there(feet: str, low: float, high: float) -> None:
    lengths = []
    for seed in range(12):
        scene = Scene(seed, feet, can_walk=False, place="tape", obeys_numbers=False)
        scene.say("walk_in_to", distance_m=0.6)
        scene.run(90.0, lambda scene=scene: scene.body.distance_m < 0.75)  # type: ignore[misc]
        lengths.append((PLAN.stretch_distance_m - scene.body.distance_m) / scene.body.steps)
        scene.run(30.0)
        assert scene.body.distance_m == pytest.approx(0.6, abs=0.12)
    assert 0.7 * low <= min(lengths) <= max(lengths) <= 1.25 * high


def test_step_now_is_one_step_of_the_length_that_was_asked_by_who_obeys_numbers() -> None:
    steps = []
    for seed in range(30):
        scene = Scene(seed, "strides", obeys_numbers=True, twice=0.0)
        scene.say("step_now", step_m=0.12)
        scene.run(8.0)
        if scene.body.steps:
            assert scene.body.steps == 1
            steps.append(PLAN.stretch_distance_m - scene.body.distance_m)
    # One in ten misses the word, and sees it when it looks.
    assert len(steps) >= 27
    assert 0.75 * 0.12 * 0.6 <= min(steps) <= max(steps) <= 1.3 * 0.12 * 1.5


def test_step_shorter_shortens_the_stride_of_who_heeds_it() -> None:
    for heeds in (True, False):
        scene = Scene(2, "strides", shortens=heeds)
        before = scene.mind.step_m
        scene.say("step_shorter")
        scene.run(6.0)
        assert scene.mind.step_m == pytest.approx(before * (0.6 if heeds else 1.0))


def test_who_steps_by_the_needle_does_not_wait_for_words() -> None:
    scene = Scene(3, "by the needle")
    scene.torque_Nm = 0.9 * PLAN.stretched_torque_Nm
    scene.say("walk_quicker")
    scene.run(15.0)
    assert scene.body.steps == 0
    scene.torque_Nm = 1.01 * PLAN.stretched_torque_Nm
    scene.say("wait_here")
    scene.run(20.0)
    assert scene.body.steps > 1


def test_words_are_done_after_the_reaction_time_and_one_in_ten_is_missed() -> None:
    times = []
    for seed in range(300):
        scene = Scene(seed, reaction_s=0.8, looks_s=3.0, looks_walking=False)
        scene.senses._next_look_s = 1e9
        scene.say("walk_on")
        took_s = scene.run(3.0, lambda scene=scene: scene.body.moving)  # type: ignore[misc]
        if took_s < 2.9:
            times.append(took_s)
    assert len(times) / 300 == pytest.approx(0.9, abs=0.05)
    assert mean(times) == pytest.approx(0.8, abs=0.06)
    assert 0.05 < pstdev(times) < 0.2


def test_who_does_not_hear_sees_words_only_when_looking() -> None:
    deaf = Scene(5, hears=False)
    deaf.senses._next_look_s = 1e9
    deaf.say("walk_on")
    deaf.run(20.0)
    assert not deaf.body.moving
    deaf.senses._next_look_s = 0.0
    deaf.run(2.0)
    assert deaf.body.moving


def test_the_crank_has_its_pace_unevenness_and_slows_under_load() -> None:
    scene = Scene(6, crank_rev_per_s=1.5, uneven=0.15, tires=0.4)
    speeds = []
    for _ in range(4000):
        scene.body.crank = 1.0
        scene.body.advance(DT_S, 0.0)
        scene.body.wander(DT_S)
        speeds.append(scene.body.speed)
    assert mean(speeds[100:]) == pytest.approx(1.5, rel=0.08)
    assert 0.08 < pstdev(speeds[100:]) / 1.5 < 0.22
    for _ in range(400):
        scene.body.advance(DT_S, 1.0)
        speeds.append(scene.body.speed)
    assert mean(speeds[-300:]) == pytest.approx(0.6 * 1.5, rel=0.2)


@pytest.mark.parametrize(
    ("stalls", "low", "high"), [("never", 0.0, 0.0), ("sometimes", 0.2, 0.5), ("always", 1.0, 1.0)]
)
def test_a_step_stops_the_crank_never_sometimes_or_always(stalls: str, low: float, high: float) -> None:
    stopped = 0
    for seed in range(100):
        scene = Scene(seed, "strides", stalls=stalls)
        scene.body.step(1.5)
        stopped += scene.body.stalled_until_s > 0.0
    assert low <= stopped / 100 <= high


def winder(will: str, **traits: object) -> Scene:
    scene = Scene(8, "walks", **traits)
    mind = scene.mind
    again = Follower(
        replace(mind.drawn, walker=replace(scene.walker, wills=frozenset({will}))), scene.body, scene.senses, PLAN, 10.0
    )
    again.enter("winding")
    scene.mind = again
    scene.body.distance_m = HOOKS_M
    return scene


def test_who_stops_early_stops_there_and_backs_off_by_three_turns_unasked() -> None:
    scene = winder("stops early", share=0.8, bits=0)
    scene.run(300.0, lambda: scene.mind.stage == "stopped")
    assert scene.body.rev == pytest.approx(0.08 * PLAN.target_turns, abs=0.3)
    scene.say("keep_cranking")
    scene.run(3.0)
    assert scene.mind.stage == "stopped"
    top = scene.body.rev
    scene.run(20.0)
    assert scene.body.rev == pytest.approx(top - 3.0, abs=0.5)


@pytest.mark.parametrize(("bits", "pauses"), [(0, 0), (1, 3), (3, 1)])
def test_backing_off_in_bits_pauses_between_them(bits: int, pauses: int) -> None:
    scene = winder("rests", bits=bits)
    scene.body.rev = 150.0
    scene.mind.back_off(5.0)
    stands = turns = 0
    for _ in range(700):
        scene.run(0.05)
        moving = scene.body.speed < -0.05
        if moving and not turns:
            stands += 1
        turns = moving
    assert stands - 1 >= pauses
    assert scene.body.rev == pytest.approx(145.0, abs=0.4)


def test_who_winds_past_needs_to_be_told_twice() -> None:
    scene = winder("winds past")
    scene.say("stop_at_peak")
    scene.run(5.0)
    assert scene.mind.stage == "winding"
    scene.senses.said(scene.at_s, alarm(scene.at_s, "overwind", "danger"))
    scene.run(8.0)
    assert scene.mind.stage == "stopped"


def test_who_goes_back_out_when_warned_does() -> None:
    scene = winder("goes back out")
    scene.body.distance_m = 1.0
    scene.senses.said(scene.at_s, alarm(scene.at_s, "torque_falling"))
    scene.run(8.0)
    assert scene.body.distance_m == pytest.approx(1.2, abs=1e-6)


def test_who_stays_behind_a_mark_comes_to_the_hooks_all_the_same() -> None:
    scene = winder("stays behind", behind_m=0.4, place="tape", obeys_numbers=False)
    scene.body.distance_m = 1.9
    scene.say("walk_in_to", distance_m=1.0)
    scene.run(60.0)
    assert scene.body.distance_m == pytest.approx(1.4, abs=0.12)
    scene.say("walk_in_to", distance_m=HOOKS_M)
    scene.run(90.0)
    assert scene.body.at_hooks


def test_who_knows_no_place_takes_a_mark_for_walk_on() -> None:
    scene = Scene(9, place="unknown", walk_m_per_s=0.05)
    scene.say("walk_in_to", distance_m=1.5, crank_turns=6.0)
    scene.run(20.0)
    assert scene.body.distance_m < 1.3


def test_who_is_asked_whether_all_is_right_stops_looks_and_presses_the_key_to_go_on() -> None:
    scene = winder("rests")
    scene.run(4.0)
    scene.senses.said(scene.at_s, alarm(scene.at_s, "far_off", "danger"))
    took_s = scene.run(30.0, lambda: bool(scene.mind.pressed))
    assert 5.0 < took_s < 15.0
    assert scene.mind.pressed == ["go_on"]
    scene.run(2.0)
    assert scene.body.speed > 0.3


def test_a_word_that_is_not_known_changes_nothing() -> None:
    scene = Scene(10)
    scene.say("good")
    scene.run(5.0)
    assert not scene.body.moving
    assert scene.mind.stage == "winding"
    assert math.isfinite(scene.body.rev)
