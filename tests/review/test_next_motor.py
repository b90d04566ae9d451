"""What other motors would do, by the fitted law: common practice, what is changed first, what tells most."""

from dataclasses import replace

import pytest

from tests.review.test_flight_fit import flights
from winding_coach.base.units import G_PER_IN_KG_PER_M, INCH_M, show
from winding_coach.review.advice.flight_fit import fit_flights
from winding_coach.review.advice.flown import Flown
from winding_coach.review.advice.next_motor import (
    Option,
    base_of,
    best_changes,
    best_flown,
    options,
    telling,
)
from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.flight import launch_at, unwinding_of

HOOKS_M = 13 * INCH_M


def practised(left_share: float, launch_Nm: float = 8e-3) -> Flown:
    """A 20 in loop of 3.3 g for a model of 4 g, as common practice has it (no source); hooks and launch invented."""
    motor = MotorFigures(20 * INCH_M, 3.3e-3, 0.1e-3, use=2)
    _, breaks = unwinding_of(motor, HOOKS_M, 1000.0)
    launch = launch_at(unwinding_of(motor, HOOKS_M, 0.85 * breaks)[0], launch_Nm)
    return Flown(
        started="2026-03-07T10:00:00+00:00",
        motor=motor,
        hooks_m=HOOKS_M,
        model_kg=4e-3,
        ratio=10.0,
        peak_turns=0.85 * breaks,
        launch_turns=launch.turns,
        launch_torque_Nm=launch.torque_Nm,
        duration_s=240.0,
        turns_left=left_share * launch.turns,
    )


@pytest.mark.parametrize("launch_Nm", [7e-3, 10e-3])
@pytest.mark.parametrize("count", [1, 3])
def test_forty_turns_left_of_117_calls_for_a_shorter_loop_of_the_same_density(count: int, launch_Nm: float) -> None:
    # Common practice, no source: 20 in of 3.3 g, then 18 in of 3.1 g, then 16 in of 2.9 g each flew longer.
    flown = [practised(40 / 117, launch_Nm)] * count
    tried = options(fit_flights(flown), flown[-1], flown)
    lengths = {one.factor: one.gain for one in tried if one.kind == "length"}
    assert lengths[0.8] > lengths[0.9] > 0.02 > -lengths[1.1]
    assert lengths[1.1] < lengths[0.9]
    first = best_changes(tried, 40 / 117)[0]
    assert (first.kind, first.factor < 1.0) == ("length", True)
    assert first.launch_factor == 1.0


def test_the_densities_that_practice_tells_apart_are_told_apart() -> None:
    # Common practice, no source: 0.080, 0.081 and 0.082 g/in are told apart in testing.
    shown = {show(density * G_PER_IN_KG_PER_M, "linear density", "inch") for density in (0.080, 0.081, 0.082)}
    assert len(shown) == 3
    flown = flights(8)
    tried = options(fit_flights(flown), flown[-1], flown)
    factors = sorted(one.factor for one in tried if one.kind == "density" and one.launch_factor == 1.0)
    assert min(abs(factor - 0.081 / 0.080) for factor in factors) < 0.004
    gains = {one.factor: one.duration_s for one in tried if one.kind == "density" and one.launch_factor == 1.0}
    assert gains[1.015] != gains[0.985]


def test_nothing_left_calls_for_no_shorter_loop() -> None:
    flown = [practised(0.0)] * 3
    tried = options(fit_flights(flown), flown[-1], flown)
    lengths = {one.factor: one.gain for one in tried if one.kind == "length"}
    assert lengths[0.8] < 0.0 < lengths[1.2]


def test_scaling_of_what_is_tried() -> None:
    flown = flights(6)
    tried = options(fit_flights(flown), flown[-1], flown)
    same = tried[0]
    assert (same.kind, same.factor, same.launch_factor, same.gain) == ("same", 1.0, 1.0, 0.0)
    for one in tried:
        if one.kind == "length":
            # Turns go with the loop at a density; torque does not know of it.
            assert one.peak_turns / same.peak_turns == pytest.approx(one.factor, rel=0.05)
            assert one.launch_torque_Nm == pytest.approx(same.launch_torque_Nm, rel=0.02)
        if one.kind == "density":
            assert one.peak_turns / same.peak_turns == pytest.approx(one.factor**-0.5, rel=0.02)
        assert one.low <= one.gain <= one.high
        assert one.tells >= 0.0
    held = options(fit_flights(flown), flown[-1], flown, launch_free=False)
    assert {one.launch_factor for one in held} == {1.0}


def test_a_launch_beyond_the_peak_is_not_tried() -> None:
    flown = [practised(0.3, 12.9e-3)] * 3
    peak = unwinding_of(flown[0].motor, HOOKS_M, flown[0].peak_turns or 0.0)[0].values[-1]
    tried = options(fit_flights(flown), flown[-1], flown)
    assert all(one.launch_torque_Nm <= peak for one in tried if one.kind == "launch")


def option(kind: str, gain: float, *, launch_factor: float = 1.0, tells: float = 1.0, factor: float = 0.9) -> Option:
    motor = MotorFigures(0.3 * factor, 1.4e-3 * factor, 0.0)
    return Option(kind, factor, motor, launch_factor, 3e-3, 1e3, 950.0, 300.0, gain, gain, gain, 0.1, 5.0, tells)


def test_the_rubber_at_hand_goes_first_where_another_length_gains_about_as_much() -> None:
    found = best_changes([option("same", 0.0), option("density", 0.10), option("length", 0.06), option("launch", 0.01)])
    assert [one.kind for one in found] == ["length", "density", "launch"]
    found = best_changes([option("same", 0.0), option("density", 0.10), option("length", 0.03)])
    assert [one.kind for one in found] == ["density", "length"]


def test_with_a_great_many_turns_left_another_motor_comes_first_and_none_longer() -> None:
    tried = [option("launch", 0.09), option("density", 0.08, factor=1.1), option("length", 0.07, factor=1.1)]
    tried += [option("length", 0.03, factor=0.9)]
    assert [(one.kind, one.factor) for one in best_changes(tried, 0.36)] == [
        ("length", 0.9),
        ("density", 1.1),
        ("launch", 0.9),
    ]
    assert [one.gain for one in best_changes(tried, 0.06)] == [0.09, 0.08, 0.07]


def test_what_a_launch_torque_gains_alone_is_not_put_down_to_the_density() -> None:
    found = best_changes(
        [option("launch", 0.05), option("density", 0.055, launch_factor=1.15), option("density", 0.02)]
    )
    assert [(one.kind, one.gain) for one in found] == [("launch", 0.05), ("density", 0.02)]


def test_what_tells_most_costs_little_and_has_not_been_flown() -> None:
    flown = replace(practised(0.2), motor=MotorFigures(0.27, 1.26e-3, 0.0), launch_torque_Nm=3e-3)
    tried = [option("same", 0.0, factor=1.0), option("length", 0.0, tells=9.0), option("length", -0.2, tells=8.0)]
    tried += [option("length", -0.02, tells=2.0, factor=0.95)]
    assert telling(tried, [flown]) is tried[3]
    assert telling(tried, []) is tried[1]
    assert telling([option("same", 0.0, tells=0.01)], []) is None


def test_the_best_flown_is_gone_back_to_after_a_step_too_far() -> None:
    flown = flights(5, spread=0.05)
    spoilt = [*flown, replace(flown[0], launch_torque_Nm=1e-3, duration_s=60.0, turns_left=900.0)]
    fit = fit_flights(flown)
    best = best_flown(fit, spoilt)
    assert best in flown
    assert base_of(fit, spoilt) is best
    assert base_of(fit, [best]) is best
