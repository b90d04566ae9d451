"""Learners: what they press for what they see."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from winding_coach.base.inputs import KEYS
from winding_coach.simulator.hands import COMMANDS
from winding_coach.simulator.learners import HOLDS_S, MANNERS, REVERSES_S, Learner, Manner, Seen

PHASES = ("hook_up", "stretch_out", "wind_stretched", "walk_in", "final_turns", "back_off", "ready")
SEEN = Seen(
    at_s=10.0,
    phase="walk_in",
    prompt=None,
    alarms=frozenset(),
    stand_at_m=1.5,
    torque_share=0.9,
    turns_share=0.8,
    hooked=True,
    distance_m=1.5,
    crank_rev_per_s=1.2,
)


def learner(manner: Manner | None = None, seed: int = 1) -> Learner:
    return Learner(manner or MANNERS["steady"], np.random.default_rng(seed))


def presses(**what: object) -> tuple[str, ...]:
    """What a steady learner presses on seeing `SEEN` with these changes."""
    return learner().keys(replace(SEEN, **what))  # type: ignore[arg-type]


def test_looks_no_more_than_a_few_times_a_second() -> None:
    someone = learner()
    pressed = [someone.keys(replace(SEEN, at_s=i * 0.01, crank_rev_per_s=0.0)) for i in range(300)]
    assert 7 <= sum(map(bool, pressed)) <= 13


@pytest.mark.parametrize("name", sorted(MANNERS))
def test_presses_only_what_there_is(name: str) -> None:
    """Whatever is on the screen, by seed."""
    rng = np.random.default_rng(7)
    someone = learner(MANNERS[name])
    pressed: set[str] = set()
    for i in range(4000):
        seen = Seen(
            at_s=i * 0.5,
            phase=str(rng.choice(PHASES)),
            prompt=str(rng.choice(["stop_at_peak", "walk_in_to", "keep_cranking"])),
            alarms=frozenset(["torque_falling"] if rng.random() < 0.3 else []),
            stand_at_m=None if rng.random() < 0.2 else float(rng.uniform(0.2, 2.0)),
            torque_share=None if rng.random() < 0.2 else float(rng.uniform(0.0, 1.2)),
            turns_share=None if rng.random() < 0.2 else float(rng.uniform(0.0, 1.2)),
            hooked=bool(rng.random() < 0.9),
            distance_m=float(rng.uniform(0.2, 2.0)),
            crank_rev_per_s=float(rng.choice([-0.6, 0.0, 0.8, 1.2, 1.6])),
        )
        pressed.update(someone.keys(seen))
    assert pressed <= {*COMMANDS, *KEYS}
    assert {"hook", "step_in", "crank_faster", "crank_stop", "reverse"} <= pressed


def test_waits_for_the_zero_and_then_hooks_up() -> None:
    assert presses(phase="hook_up", hooked=False) == ()
    assert presses(phase="stretch_out", hooked=False) == ("hook",)


def test_stretches_out_to_the_mark_before_cranking() -> None:
    assert presses(phase="stretch_out", distance_m=0.3, stand_at_m=1.8, crank_rev_per_s=0.0) == ("big_step_out",)
    assert presses(phase="stretch_out", distance_m=1.7, stand_at_m=1.8, crank_rev_per_s=0.0) == ("step_out",)
    assert presses(phase="stretch_out", distance_m=1.79, stand_at_m=1.8, crank_rev_per_s=0.0) == ("crank_faster",)


def test_brings_a_straying_pace_back() -> None:
    assert presses(phase="wind_stretched", crank_rev_per_s=1.0) == ("crank_faster",)
    assert presses(phase="wind_stretched", crank_rev_per_s=1.4) == ("crank_slower",)
    assert presses(phase="wind_stretched", crank_rev_per_s=1.2) == ()


def test_one_that_does_not_heed_lets_it_stray() -> None:
    careless = learner(Manner(heeds=False))
    assert careless.keys(replace(SEEN, phase="wind_stretched", crank_rev_per_s=0.8)) == ()


def test_steps_in_to_the_mark_and_no_farther() -> None:
    assert presses(distance_m=1.6) == ("step_in",)
    assert presses(distance_m=1.51) == ()


def test_waits_while_torque_falls() -> None:
    assert presses(distance_m=1.6, alarms=frozenset({"torque_falling"})) == ()


def test_rests_between_small_steps_but_not_when_far_behind() -> None:
    for distance_m, again in ((1.56, ()), (1.9, ("step_in",))):
        someone = learner()
        assert someone.keys(replace(SEEN, distance_m=1.6)) == ("step_in",)
        assert someone.keys(replace(SEEN, distance_m=distance_m, at_s=10.5)) == again


def test_without_turns_torque_says_when_to_step() -> None:
    assert presses(stand_at_m=None, torque_share=1.1) == ("step_in",)
    assert presses(stand_at_m=None, torque_share=0.9) == ()
    assert presses(stand_at_m=None, torque_share=None) == ()


def test_the_hasty_one_runs_ahead_in_big_steps() -> None:
    assert learner(replace(MANNERS["hasty"], fidgets=0.0)).keys(SEEN) == ("big_step_in",)


def test_the_staller_stops_for_a_step_and_cranks_again_later() -> None:
    staller = learner(Manner(stop_chance=1.0, stops_s=2.5))
    assert staller.keys(replace(SEEN, distance_m=1.6)) == ("crank_stop", "step_in")
    assert staller.keys(replace(SEEN, at_s=12.0, crank_rev_per_s=0.0)) == ()
    assert staller.keys(replace(SEEN, at_s=12.6, crank_rev_per_s=0.0)) == ("crank_faster",)


def test_slows_near_the_peak_and_stops_there() -> None:
    at_hooks = replace(SEEN, phase="final_turns", distance_m=0.22, stand_at_m=0.22)
    assert learner().keys(replace(at_hooks, torque_share=0.95)) == ("crank_slower",)
    assert learner().keys(replace(at_hooks, prompt="stop_at_peak")) == ("crank_stop",)
    assert learner().keys(replace(at_hooks, turns_share=1.0)) == ("crank_stop", "peak")
    assert learner(Manner(heeds=False)).keys(replace(at_hooks, turns_share=1.0)) == ()


def test_the_last_steps_to_the_hooks_are_taken_in_the_final_turns_too() -> None:
    assert presses(phase="final_turns", distance_m=0.4, stand_at_m=0.22) == ("step_in",)
    assert presses(phase="final_turns", distance_m=0.4, stand_at_m=None) == ()


def test_backs_off_once_the_crank_stands_and_slowly() -> None:
    someone = learner()
    seen = replace(SEEN, phase="back_off")
    assert someone.keys(seen) == ("crank_stop",)
    assert someone.keys(replace(seen, at_s=11.0, crank_rev_per_s=0.0)) == ("reverse", *["crank_slower"] * 4)
    assert someone.keys(replace(seen, at_s=11.0 + 0.9 * REVERSES_S, crank_rev_per_s=0.0)) == ()
    assert someone.keys(replace(seen, at_s=13.0, crank_rev_per_s=-0.6)) == ()
    assert someone.keys(replace(seen, at_s=14.0, crank_rev_per_s=0.0))[0] == "reverse"


def test_holds_before_unhooking_and_finishes() -> None:
    someone = learner()
    seen = replace(SEEN, phase="ready", crank_rev_per_s=-0.6)
    assert someone.keys(seen) == ("crank_stop",)
    assert someone.keys(replace(seen, at_s=10.0 + 0.9 * HOLDS_S, crank_rev_per_s=0.0)) == ()
    assert someone.keys(replace(seen, at_s=10.0 + HOLDS_S + 0.4, crank_rev_per_s=0.0)) == ("hook",)
    assert someone.keys(replace(seen, at_s=16.0, crank_rev_per_s=0.0, hooked=False)) == ("finish",)


@pytest.mark.parametrize("phase", ["done", "broken", "aborted"])
def test_lets_go_when_it_is_over(phase: str) -> None:
    assert presses(phase=phase) == ("crank_stop", "finish")


def test_the_dreamer_hears_late_that_it_is_time_to_stop() -> None:
    someone = learner(MANNERS["dreamer"])
    told = replace(SEEN, phase="final_turns", prompt="stop_at_peak", distance_m=0.22, stand_at_m=0.22)
    for after_s in (0.0, 1.0, 2.0, 3.0):
        assert someone.keys(replace(told, at_s=told.at_s + after_s)) == ()
    assert someone.keys(replace(told, at_s=told.at_s + 4.5)) == ("crank_stop",)
    stands = replace(told, phase="back_off", crank_rev_per_s=0.0, at_s=told.at_s + 6.0)
    assert someone.keys(stands)[0] == "reverse"
    ready = replace(told, phase="ready", crank_rev_per_s=-1.0, at_s=told.at_s + 9.0)
    assert someone.keys(ready) == ()
    assert someone.keys(replace(ready, at_s=ready.at_s + 4.5)) == ("crank_stop",)
