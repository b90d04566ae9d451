"""What is advised in words: each kind of change, both ways."""

import pytest

from tests.review.test_flight_fit import flights
from tests.review.test_next_motor import option, practised
from winding_coach.base.units import UnitSystem
from winding_coach.review.advice import advice_words as words
from winding_coach.review.advice.flight_fit import FlightFit, fit_flights
from winding_coach.review.advice.rules_of_thumb import Rule
from winding_coach.rubber.figures import MotorFigures


@pytest.fixture(scope="module")
def fit() -> FlightFit:
    return fit_flights(flights(3))


@pytest.mark.parametrize(
    ("kind", "factor", "left", "said"),
    [
        ("length", 0.9, 0.17, "17% of the turns were left, and rubber that is not used is ballast"),
        ("length", 1.1, 0.06, "6% of the turns were left: the motor was well used. A longer loop"),
        ("length", 1.1, 0.16, "16% of the turns were left. A longer loop"),
        ("density", 1.1, 0.06, "Denser rubber stores more"),
        ("density", 1.1, 0.16, "when torque was too low to hold height"),
        ("density", 0.9, 0.06, "There is torque to spare"),
        ("length", 0.9, 0.50, "By all flights together 10% of the turns are left"),
    ],
)
def test_another_motor(fit: FlightFit, kind: str, factor: float, left: float, said: str) -> None:
    best = option(kind, 0.05, factor=factor)
    item = words.motor(practised(left), option("same", 0.0, factor=1.0), best, fit, "metric")
    assert said in item.why
    assert ("Keep the density" in item.why) == (kind == "length")
    assert ("Keep the length" in item.why) == (kind == "density")
    assert item.motor == best.motor


def test_a_launch_that_goes_with_it_is_said(fit: FlightFit) -> None:
    best = option("density", 0.05, launch_factor=1.07)
    item = words.motor(practised(0.1), option("same", 0.0, factor=1.0), best, fit, "metric")
    assert item.do.endswith("Launch it at 3.00 mN·m.")


def test_more_and_less_back_off(fit: FlightFit) -> None:
    from dataclasses import replace

    now = option("same", 0.0, factor=1.0)
    more = words.launch(practised(0.1), option("launch", 0.02, launch_factor=0.9), now, fit, "metric")
    assert more.do.startswith("Back off more (about 0.0 crank turns)")
    assert "more than the flight needs" in more.why
    touched = replace(practised(0.1), ceiling=True, ratio=None)
    wasted = words.launch(touched, option("launch", 0.02, launch_factor=0.9), now, fit, "metric")
    assert "turns): launch" in wasted.do
    assert "The ceiling was touched" in wasted.why
    less = words.launch(practised(0.1), option("launch", 0.02, launch_factor=1.07), now, fit, "metric")
    assert "lift it to about 5 m" in less.why


def test_keeping_a_motor_and_testing_densities() -> None:
    item = words.keep(practised(0.1), option("same", 0.0, factor=1.0), "inch")
    assert item.do.startswith("Keep this motor: 20.0 in loop, 3.30 g with O-rings, 0.0800 g/in")
    assert "common practice, no source" in item.why


@pytest.mark.parametrize(
    ("kind", "said"), [("length", "with a loop of"), ("density", "the same loop of"), ("launch", "fly this motor")]
)
def test_the_flight_that_tells_most(kind: str, said: str) -> None:
    now = option("same", 0.0, tells=0.1)
    item = words.experiment(option(kind, 0.0, launch_factor=0.9, tells=1.0), now, "metric")
    assert said in item.do
    assert "10.0 times as much" in item.why
    assert "far more" in words.experiment(option(kind, 0.0, tells=9.0), now, "metric").why


@pytest.mark.parametrize(
    ("kind", "factor", "said"),
    [
        ("same", 1.0, "Keep this motor"),
        ("length", 1.05, "longer"),
        ("density", 1.05, "denser"),
        ("density", 0.95, "thinner"),
    ],
)
def test_rules_in_words(kind: str, factor: float, said: str) -> None:
    made = MotorFigures(0.5, 3.3e-3, 0.1e-3)
    item = words.by_rule(practised(0.1), Rule(kind, factor, "Why."), made, "metric")
    assert said in item.do
    assert (item.motor is None) == (kind == "same")
    assert (item.gain, item.low, item.high) == (None, None, None)


def test_a_flight_that_counts() -> None:
    from dataclasses import replace

    bare = replace(practised(0.1), duration_s=None, launch_torque_Nm=None)
    assert "launched at" not in words.counts(bare, "metric").do
    assert words.counts(practised(0.1), "metric").why.endswith("It lasted 4:00.")


@pytest.mark.parametrize(("units", "unit"), [("metric", "mN·m"), ("inch", "ozf·in")])
def test_the_law_in_words(fit: FlightFit, units: UnitSystem, unit: str) -> None:
    first, second = words.law_lines(fit, units)
    assert first.startswith("It holds its height at ")
    assert f"{unit} (± " in first
    assert "turns/s" in second


def test_what_is_held_against_a_fresh_motor_is_cut_as_it_is() -> None:
    from dataclasses import replace

    base = practised(0.34)
    fresh = replace(base, motor=replace(base.motor, use=1))
    made = MotorFigures(0.45, 2.9e-3, 0.1e-3)
    item = words.by_rule(fresh, Rule("length", 0.9, "Why."), made, "metric")
    assert "Cut it" not in item.do
    assert item.cut_loop_m == made.loop_m
    assert "Cut it at 43." in words.by_rule(base, Rule("length", 0.9, "Why."), made, "metric").do
