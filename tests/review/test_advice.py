"""Advice as a whole: what it rests on, what it says, what it asks for where it knows too little."""

import json
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from tests.review.flying import Flyer, Size
from tests.review.test_wear import HOOKS_M, MOTOR, wind
from winding_coach.base.units import UnitSystem
from winding_coach.review.advice.advice_words import minutes, percent
from winding_coach.review.advice.advise import Advised, advise
from winding_coach.review.advice.flown import flown_of
from winding_coach.shelf.records import Flight, Model, Motor, Wind
from winding_coach.simulator.flights import SimulatedModel

SIMULATED = SimulatedModel("Thistledown", mass_kg=2.0e-3, radius_m=0.16)
SIZE = Size(0.34, 1.9e-3, 2.6e-3)
TH_07 = Motor("th-07", MOTOR.loop_m, MOTOR.mass_kg, MOTOR.orings_kg, batch="amber")


@lru_cache
def flyer(flights: int, loop: float = 1.0, density: float = 1.0, launch: float = 1.0, seed: int = 1) -> Flyer:
    made = Flyer(SIMULATED, np.random.default_rng(seed))
    for _ in range(flights):
        made.fly(SIZE.times(loop, density, launch))
    return made


def advised(who: Flyer, units: UnitSystem = "metric") -> Advised:
    return advise(who.winds, who.flights, who.shelf_model, units=units)


def topics(found: Advised) -> list[str]:
    return [one.topic for one in found.items]


def test_without_a_wind_it_says_what_to_log() -> None:
    found = advise([], {}, None)
    assert topics(found) == ["log"]
    assert "wind" in found.items[0].do
    assert "rules of thumb" in found.basis


def test_without_flights_it_asks_for_them() -> None:
    who = flyer(2)
    found = advise(who.winds, {}, who.shelf_model)
    assert [one.do for one in found.items] == ["Log the flights: duration and turns left after each."]


def test_without_hooks_nothing_can_be_said_of_the_flights() -> None:
    who = flyer(1)
    found = advise([replace(one, hooks_m=None) for one in who.winds], who.flights, None)
    assert "hooks" in found.items[0].do


def test_without_turns_left_it_asks_for_them() -> None:
    who = Flyer(SIMULATED, np.random.default_rng(4))
    who.fly(SIZE, logs_left=False)
    assert "turns left" in advised(who).items[0].do


def test_a_model_that_was_not_weighed_gets_rules_and_is_to_be_weighed() -> None:
    who = flyer(4)
    found = advise(who.winds, who.flights, replace(who.shelf_model, mass_kg=None))
    assert found.fit is None
    assert topics(found) == ["motor", "log"]
    assert found.items[0].rests_on == "rules"
    assert "Weigh the model" in found.items[1].do


def test_without_counted_turns_it_asks_for_them() -> None:
    who = flyer(3)
    uncounted = [replace(one, outcome="stopped", peak_turns=None) for one in who.winds]
    found = advise(uncounted, who.flights, who.shelf_model)
    assert "crank counted" in found.items[-1].do


def test_many_winds_without_flights_are_asked_for() -> None:
    who = flyer(1)
    more = [replace(who.winds[0], id=f"w{i}", started=f"2026-03-06T10:0{i}:00+00:00") for i in range(4)]
    found = advise([*who.winds, *more], who.flights, who.shelf_model)
    assert "4 winds have none" in found.items[-1].do


def test_after_one_flight_the_rules_of_thumb_speak_and_it_says_so() -> None:
    found = advised(flyer(1, loop=1.5))
    assert found.fit is None
    assert "1 flight" in found.basis
    assert "common practice, no source" in found.basis
    first = found.items[0]
    assert (first.topic, first.rests_on) == ("motor", "rules")
    assert "shorter" in first.do
    assert first.motor is not None
    assert first.motor.loop_m == pytest.approx(0.9 * (flyer(1, loop=1.5).winds[-1].loop_m or 0.0))
    assert first.gain is not None
    assert first.low == 0.0


def test_from_two_flights_on_the_fit_speaks() -> None:
    assert advised(flyer(2, loop=1.5)).fit is not None
    found = advised(flyer(4, loop=1.5))
    assert found.fit is not None
    assert found.fit.flights == 4
    assert "fit of 4 flights" in found.basis
    first = found.items[0]
    assert first.rests_on == "fit"
    assert first.topic == "motor"
    assert "shorter" in first.do
    assert first.gain is not None
    assert first.low is not None
    assert first.high is not None
    assert first.low < first.gain < first.high
    assert "Keep the density" in first.why


def test_the_motor_that_is_advised_flies_longer() -> None:
    from tests.review.flying import true_duration
    from winding_coach.review.advice.advice_words import density_of

    for loop, density, launch in ((1.5, 1.0, 1.0), (1.0, 0.8, 1.0), (0.8, 1.15, 1.0)):
        found = advised(flyer(4, loop, density, launch))
        first = found.items[0]
        now = SIZE.times(loop, density, launch)
        assert first.motor is not None or first.torque_Nm is not None
        made = now
        if first.motor is not None:
            made = replace(now, loop_m=first.motor.loop_m, density_kg_per_m=density_of(first.motor))
        made = replace(made, launch_Nm=first.torque_Nm or now.launch_Nm)
        assert true_duration(SIMULATED, made) > 0.99 * true_duration(SIMULATED, now)


@pytest.mark.parametrize(
    ("loop", "density", "launch"),
    [
        (1.0, 1.0, 1.0),
        (0.6, 1.0, 1.0),
        (1.0, 0.75, 1.0),
        (0.7, 1.4, 0.8),
        (1.0, 1.0, 0.6),
        (0.8, 1.2, 1.6),
        (1.7, 1, 1),
    ],
)
@pytest.mark.parametrize("units", ["metric", "inch"])
def test_every_advice_is_a_sentence_with_its_reason(
    loop: float, density: float, launch: float, units: UnitSystem
) -> None:
    found = advised(flyer(5, loop, density, launch), units)
    assert found.items
    for one in found.items:
        assert one.do.endswith(".")
        assert one.do[0].isupper()
        assert one.why.endswith(".")
        assert "nan" not in f"{one.do} {one.why}".lower()
        if units == "inch":
            assert " cm" not in one.do
        json.dumps(one.as_json(), allow_nan=False)


def test_as_an_object_it_carries_units_and_the_law() -> None:
    made = advised(flyer(4, loop=1.5)).as_json()
    assert made["flights"] == 4
    assert made["flight_law"]["hold_torque_Nm"] > 0.0
    first = made["advice"][0]
    assert first["motor"]["loop_m"] > 0.0
    assert first["duration_change_low"] < first["duration_change"] < first["duration_change_high"]
    assert advised(flyer(1)).as_json()["flight_law"] is None


def test_a_step_too_far_is_gone_back_from() -> None:
    who = Flyer(SIMULATED, np.random.default_rng(2))
    for factor in (1.0, 1.0, 1.03, 1.9):
        who.fly(SIZE.times(loop=factor))
    found = advised(who)
    assert "Go back to what flew on 2026-03-07" in found.items[0].do


def test_what_to_fly_when_it_counts_is_named_where_it_was_not_the_last() -> None:
    found = [advised(flyer(6, seed=seed)) for seed in range(4)]
    counts = [one for advice in found for one in advice.items if one.topic == "counts"]
    assert counts
    assert "For a flight that counts" in counts[0].do


def test_of_a_motor_it_says_how_far_to_wind_it_next() -> None:
    winds = [wind(0.80, 1), wind(0.85, 2)]
    found = advise([], {}, None, motor=TH_07, motor_winds=winds, batch_winds=winds, uses=2)
    share = found.items[-1]
    assert share.topic == "share"
    assert "Wind th-07 to 90% of its breaking turns next, its third wind" in share.do
    assert "Chance to break it" in share.why
    assert "+6% turns" in share.why
    fresh = advise([], {}, Model("Thistledown", HOOKS_M), motor=TH_07)
    assert "its first wind" in fresh.items[-1].do
    assert "default rubber alone" in fresh.items[-1].why


def test_of_a_batch_that_breaks_it_says_so() -> None:
    weak = [wind(0.88, i, broke=i % 2 == 0) for i in range(1, 13)]
    found = advise([], {}, None, motor=TH_07, motor_winds=weak[:1], batch_winds=weak, uses=5)
    assert "would break it too often" in found.items[-1].why


def test_a_worn_motor_is_to_be_retired_and_not_wound() -> None:
    tired = [wind(0.9, i, torque=1.0 if i < 4 else 0.85) for i in range(1, 8)]
    found = advise([], {}, None, motor=TH_07, motor_winds=tired, batch_winds=tired, uses=7)
    assert topics(found) == ["log", "retire"]
    assert found.items[-1].why.startswith("Its torque at the same turns has fallen by 15%")


def test_a_damaged_motor_is_not_to_be_wound_again() -> None:
    found = advise([], {}, None, motor=TH_07, motor_winds=[wind(0.8)], uses=1, remarks=["a nick at the hook"])
    assert "do not wind it again" in found.items[-1].do


def test_a_broken_motor_gets_no_advice() -> None:
    found = advise([], {}, None, motor=replace(TH_07, state="broken"), motor_winds=[wind(0.8)], uses=1)
    assert topics(found) == ["log"]


def test_without_hooks_no_share_is_named() -> None:
    assert topics(advise([], {}, None, motor=TH_07)) == ["log"]


@pytest.mark.parametrize(
    "change",
    [{"loop_m": None}, {"mass_kg": None}, {"orings_kg": 1.0}, {"hooks_m": 9.0}, {"hooks_m": None}],
)
def test_winds_that_cannot_be_are_left_out(change: dict[str, float | None]) -> None:
    changed: Wind = replace(wind(0.8), **change)  # type: ignore[arg-type]
    assert flown_of(changed, None, None) is None


def test_what_is_not_known_is_filled_from_plan_and_model() -> None:
    bare = replace(wind(0.8), peak_turns=None, hooks_m=None)
    one = flown_of(bare, None, Model("Thistledown", HOOKS_M))
    assert one is not None
    assert one.peak_turns == bare.target_turns
    assert one.left_share is None
    assert one.backed_off_share is None
    backed = replace(wind(0.8), launch_turns=None, backed_off_turns=40.0)
    flown = flown_of(backed, Flight("f", backed.id, "2026-03-07T10:00:00+00:00"), None)
    assert flown is not None
    assert flown.launch_turns == pytest.approx((backed.peak_turns or 0.0) - 40.0)
    assert flown.backed_off_share == pytest.approx(40.0 / (backed.peak_turns or 1.0))


def test_durations_and_changes_as_people_say_them() -> None:
    assert minutes(245.4) == "4:05"
    assert [percent(share) for share in (0.041, -0.028, 0.001, -0.001)] == ["+4%", "−3%", "±0%", "±0%"]


def test_fresh_motors_are_not_held_against_broken_in_ones() -> None:
    who = flyer(6, loop=1.3)
    fresh = [replace(one, use=1) for one in who.winds[:2]]
    luckier = {one.id: replace(who.flights[one.id], duration_s=500.0, turns_left=100.0) for one in fresh}
    broken_in = [replace(one, use=4) for one in who.winds[2:]]
    found = advise([*fresh, *broken_in], who.flights | luckier, who.shelf_model)
    assert "Go back" not in found.items[0].do
    assert "Cut it at" in found.items[0].do
    assert found.items[0].motor is not None
    assert found.items[0].cut_loop_m is not None
    assert found.items[0].cut_loop_m < 0.97 * found.items[0].motor.loop_m


def test_where_nothing_gains_enough_the_motor_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("winding_coach.review.advice.advise.WORTH_IT", 9.0)
    found = advised(flyer(4))
    assert found.items[0].do.startswith("Keep this motor")
    assert found.items[0].gain is None
