"""The simulated model: a rotor held against momentum theory, and what a flight keeps account of."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.review.flying import Size, best_size, true_duration, wound
from winding_coach.base.units import GRAVITY_M_PER_S2
from winding_coach.rubber.table import table
from winding_coach.simulator.flights import AIR_KG_PER_M3, SimulatedModel, fly, induced_m_per_s

MODEL = SimulatedModel()
SIZE = Size(0.30, 2.2e-3, 3e-3)
LBF_N, FOOT_M = 4.4482216152605, 0.3048


def test_induced_speed_of_a_tilt_rotor() -> None:
    # Leishman, Principles of Helicopter Aerodynamics, example 2.1 (from memory): 22,500 lbf on a rotor of 38 ft at sea
    # level (0.002378 slug/ft³) draw the air through at 64.6 ft/s, an ideal power of 2641 hp.
    disc_m2 = math.pi * (19.0 * FOOT_M) ** 2
    speed = induced_m_per_s(22_500 * LBF_N, disc_m2, 1.2255)
    assert speed / FOOT_M == pytest.approx(64.6, rel=2e-3)
    assert 22_500 * LBF_N * speed / 745.7 == pytest.approx(2641, rel=2e-3)


@pytest.mark.parametrize("mass_kg", [3e-3, 4e-3, 6e-3])
def test_it_holds_height_at_its_torque_with_more_than_the_ideal_power(mass_kg: float) -> None:
    model = replace(MODEL, loses=0.0)
    torque = model.hold_torque_Nm(mass_kg)
    rate, climb = model.steady(torque, mass_kg)
    assert climb == pytest.approx(0.0, abs=1e-6)
    weight = mass_kg * GRAVITY_M_PER_S2
    ideal = weight * induced_m_per_s(weight, math.pi * model.radius_m**2, AIR_KG_PER_M3)
    # Figures of merit of small rotors lie about 0.3 to 0.7 (from memory).
    assert 0.3 < ideal / (2.0 * math.pi * torque * rate) < 0.8


def test_with_stiff_blades_torque_goes_with_mass_and_power_with_mass_to_one_and_a_half() -> None:
    model = replace(MODEL, blade_flex=0.0)
    light, heavy = model.hold_torque_Nm(3e-3), model.hold_torque_Nm(4.5e-3)
    assert heavy / light == pytest.approx(1.5, rel=1e-6)
    powers = [torque * model.steady(torque, mass)[0] for torque, mass in ((light, 3e-3), (heavy, 4.5e-3))]
    assert powers[1] / powers[0] == pytest.approx(1.5**1.5, rel=1e-6)


def test_more_torque_climbs_and_turns_faster() -> None:
    hold = MODEL.hold_torque_Nm(4e-3)
    found = [MODEL.steady(factor * hold, 4e-3) for factor in (0.0, 0.5, 1.0, 2.0, 40.0)]
    assert [climb for _, climb in found] == sorted(climb for _, climb in found)
    assert [rate for rate, _ in found] == sorted(rate for rate, _ in found)


def test_a_flight_keeps_account_of_its_energy() -> None:
    motor = wound(MODEL, SIZE)
    launch = motor.launch(1.0, SIZE.launch_Nm)
    flown = fly(MODEL, motor.body, launch, SIZE.motor.mass_kg)
    off = table([mark.turns for mark in motor.off[::-1]], [mark.torque_Nm for mark in motor.off[::-1]])
    by_hand_J = 2.0 * math.pi * off.integral(flown.turns_left, launch.turns)
    assert flown.energy_J == pytest.approx(by_hand_J, rel=0.04)
    assert flown.end.turns == flown.turns_left
    assert 60.0 < flown.duration_s < 1200.0


def test_the_ceiling_is_met_and_bounds_the_height() -> None:
    low = replace(MODEL, ceiling_m=3.0)
    motor = wound(low, SIZE)
    flown = fly(low, motor.body, motor.launch(1.0, 4e-3), SIZE.motor.mass_kg)
    assert (flown.ceiling, flown.height_m) == (True, 3.0)
    high = replace(MODEL, ceiling_m=90.0)
    assert not fly(high, motor.body, motor.launch(1.0, 2e-3), SIZE.motor.mass_kg).ceiling


def test_a_motor_that_runs_out_lets_it_sink() -> None:
    light = replace(MODEL, mass_kg=0.4e-3, blade_flex=0.0)
    motor = wound(light, SIZE)
    flown = fly(light, motor.body, motor.launch(1.0, 3e-3), SIZE.motor.mass_kg)
    assert flown.turns_left < 0.1 * motor.off[0].turns


def test_a_motor_too_weak_to_lift_it_comes_down_at_once() -> None:
    heavy = replace(MODEL, mass_kg=20e-3)
    assert true_duration(heavy, SIZE) < 10.0


def test_brute_force_finds_a_best_that_no_small_step_betters() -> None:
    model = replace(MODEL, radius_m=0.15)
    best, longest = best_size(model)
    rng = np.random.default_rng(3)
    for _ in range(20):
        other = best.times(*(float(np.exp(0.05 * rng.standard_normal())) for _ in range(3)))
        assert true_duration(model, other) <= 1.01 * longest
