"""The law of flight fitted to flights of a simulated model, held against that model's own figures."""

import math
import statistics
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.review.flying import Flyer, Size
from winding_coach.review.advice.flight_fit import (
    HALL_M,
    MASS_EXPONENT,
    FlightFit,
    ceiling_of,
    fit_flights,
    torque_scale,
    usable,
)
from winding_coach.review.advice.flown import Flown, all_flown
from winding_coach.simulator.flights import SimulatedModel

MODEL = SimulatedModel("Thistledown", mass_kg=2.0e-3, radius_m=0.16)
SIZE = Size(0.34, 1.9e-3, 2.6e-3)


def flown_by(flyer: Flyer) -> list[Flown]:
    return all_flown(flyer.winds, flyer.flights, {MODEL.name.casefold(): flyer.shelf_model})


def flights(count: int, seed: int = 1, *, stiffness: float = 1.0, spread: float = 0.1) -> list[Flown]:
    rng = np.random.default_rng(seed)
    flyer = Flyer(MODEL, rng, stiffness=stiffness)
    for _ in range(count):
        flyer.fly(SIZE.times(*(float(np.exp(rng.uniform(-spread, spread))) for _ in range(3))))
    return flown_by(flyer)


def off_by(fit: FlightFit) -> tuple[float, float]:
    """How far torque and rate of holding height are off the model's own, relative."""
    hold = MODEL.hold_torque_Nm(fit.law.at_mass_kg)
    rate, _ = MODEL.steady(hold, fit.law.at_mass_kg)
    return fit.law.hold_torque_Nm / hold - 1.0, fit.law.turns_per_s / rate - 1.0


def test_the_fit_finds_the_torque_that_holds_height_and_the_turns_used() -> None:
    misses = [off_by(fit_flights(flights(10, seed))) for seed in range(4)]
    assert statistics.median(abs(torque) for torque, _ in misses) < 0.08
    assert statistics.median(abs(rate) for _, rate in misses) < 0.08


def test_the_truth_lies_within_what_the_fit_claims() -> None:
    inside = 0
    for seed in range(5):
        fit = fit_flights(flights(8, seed))
        torque_off, rate_off = off_by(fit)
        # The power laws of the fit are not the rotor that flies: their own error is allowed for.
        inside += abs(torque_off) < 2.5 * math.hypot(fit.hold_sd, 0.03)
        inside += abs(rate_off) < 2.5 * math.hypot(fit.rate_sd, 0.03)
    assert inside >= 9


def test_more_flights_make_it_surer() -> None:
    few, many = fit_flights(flights(3)), fit_flights(flights(12))
    assert many.mass_exponent_sd < few.mass_exponent_sd
    assert many.hold_sd < few.hold_sd < 0.5


def test_flights_of_one_mass_leave_the_exponent_of_mass_where_it_was_believed() -> None:
    fit = fit_flights(flights(4, spread=0.0))
    assert fit.law.mass_exponent == pytest.approx(MASS_EXPONENT, abs=0.05)
    assert fit.mass_exponent_sd == pytest.approx(0.12, abs=0.02)


def test_one_wild_flight_does_not_bend_the_law() -> None:
    good = flights(9)
    wild = [*good, replace(good[-1], duration_s=0.4 * (good[-1].duration_s or 0.0))]
    whole, bent = fit_flights(good).law, fit_flights(wild).law
    assert bent.turns_per_s == pytest.approx(whole.turns_per_s, rel=0.06)


def test_a_stiffer_batch_is_told_by_its_peaks() -> None:
    found = [torque_scale(one) for one in flights(6, stiffness=1.1)]
    assert statistics.mean(found) == pytest.approx(1.1, abs=0.03)
    assert abs(off_by(fit_flights(flights(8, stiffness=1.1)))[0]) < 0.12


def test_an_unknown_peak_is_taken_as_the_law_has_it() -> None:
    assert torque_scale(replace(flights(1)[0], peak_torque_Nm=None)) == 1.0


def test_the_ceiling_is_what_flights_tell() -> None:
    one = flights(1)[0]
    assert ceiling_of([replace(one, ceiling=False, height_m=3.0)]) == HALL_M
    assert ceiling_of([replace(one, ceiling=False, height_m=11.0)]) == 11.0
    touched = [replace(one, ceiling=True, height_m=height) for height in (6.0, 6.4, 9.0)]
    assert ceiling_of(touched) == 6.4
    assert fit_flights(touched, ceiling_m=7.0).ceiling_m == 7.0


@pytest.mark.parametrize("lacks", ["duration_s", "model_kg", "peak_turns", "launch_torque_Nm"])
def test_a_flight_without_what_the_fit_needs_is_left_out(lacks: str) -> None:
    known = flights(2)
    nothing: dict[str, Any] = {lacks: None}
    short = replace(known[0], **nothing)
    assert not usable(short)
    assert fit_flights([short, known[1]]).flights == 1


def test_heights_are_fitted_where_the_ceiling_was_not_met() -> None:
    low = [replace(one, ceiling=False, height_m=3.0) for one in flights(3)]
    assert fit_flights(low, ceiling_m=12.0).law.climb_share < fit_flights(flights(3), ceiling_m=12.0).law.climb_share


def test_without_turns_left_or_height_durations_alone_are_fitted() -> None:
    fit = fit_flights([replace(one, turns_left=None, height_m=None) for one in flights(3)])
    assert fit.hold_sd > fit_flights(flights(3)).hold_sd
