"""A motor unwinding in flight, and the law of a model's flight."""

import math

import numpy as np
import pytest

from winding_coach.base.units import GRAVITY_M_PER_S2
from winding_coach.rubber.course import back_off_from, wind_along
from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.flight import LAUNCH_HEIGHT_M, FlightLaw, Launch, fly, launch_at, unwinding_of
from winding_coach.rubber.motor import before_the_wind, breaking_turns, geometry_of
from winding_coach.rubber.plan import planned_course
from winding_coach.rubber.table import Table, table

MOTOR = MotorFigures(0.30, 1.40e-3, 0.08e-3, use=3)
HOOKS_M = 0.22
LAW = FlightLaw(hold_torque_Nm=1.5e-3, at_mass_kg=4e-3, turns_per_s=5.0)


def launched(torque_Nm: float = 3e-3) -> Launch:
    _, breaks = unwinding_of(MOTOR, HOOKS_M, 1000.0)
    return launch_at(unwinding_of(MOTOR, HOOKS_M, 0.85 * breaks)[0], torque_Nm)


@pytest.mark.parametrize("motor", [MOTOR, MotorFigures(0.42, 2.9e-3, 0.1e-3, use=1), MotorFigures(0.25, 0.9e-3, use=2)])
def test_unwinding_by_scaling_is_the_unwinding_of_the_motor_itself(motor: MotorFigures) -> None:
    hooks_m = 0.7 * motor.loop_m
    body = geometry_of(motor)
    breaks = breaking_turns(body, hooks_m)
    course = planned_course(body, hooks_m, 0.853 * breaks, 10.0)
    peak = wind_along(course, before_the_wind(body, motor.use, hooks_m), course.target_turns)[-1]
    itself = back_off_from(course, peak)
    scaled, scaled_breaks = unwinding_of(motor, hooks_m, 0.853 * breaks)
    assert scaled_breaks == pytest.approx(breaks, rel=1e-6)
    for mark in itself[::10]:
        # Friction and relaxation do not scale with the motor's size, but they are small.
        assert scaled.at(mark.turns) == pytest.approx(mark.torque_Nm, rel=0.04, abs=2e-5)


def test_launch_is_where_the_torque_falls_to_what_is_wanted() -> None:
    unwinding = table([0.0, 100.0, 200.0, 300.0], [0.0, 2e-3, 1.8e-3, 5e-3])
    launch = launch_at(unwinding, 3.4e-3)
    assert launch.turns == pytest.approx(250.0)
    assert launch.torque_Nm == pytest.approx(3.4e-3)
    assert launch_at(unwinding, 3.4e-3, scale=2.0).turns < 250.0


def test_a_motor_too_weak_for_the_launch_torque_is_launched_at_its_peak() -> None:
    launch = launch_at(table([0.0, 300.0], [0.0, 5e-3]), 6e-3)
    assert (launch.turns, launch.torque_Nm) == (300.0, 5e-3)


def test_power_to_hold_height_goes_with_mass_to_one_and_a_half_as_momentum_theory_has_it() -> None:
    # Ideal power of a lifting rotor is T^1.5/√(2ρA): Leishman, Principles of Helicopter Aerodynamics, ch. 2.
    def power(mass_kg: float) -> float:
        torque = LAW.hold_torque_at(mass_kg)
        return 2.0 * math.pi * torque * LAW.turns_per_s_at(torque, mass_kg)

    assert power(6e-3) / power(4e-3) == pytest.approx((6.0 / 4.0) ** 1.5)


def test_rate_goes_with_the_root_of_torque() -> None:
    # A rotor at a given blade angle: torque goes with the square of the rate (the same source).
    assert LAW.turns_per_s_at(4.0 * 1.5e-3, 4e-3) == pytest.approx(10.0)


def test_work_of_the_motor_is_the_work_of_staying_up() -> None:
    # By energy alone, without steps: what the motor gives, and the height at launch, keep the model up.
    launch = launched()
    flights = fly([launch], [4e-3], np.array([LAW.as_row()]), 4e-3)
    lasted, left = float(flights.duration_s[0, 0]), float(flights.turns_left[0, 0])
    given_J = 2.0 * math.pi * launch.torque.integral(left, launch.turns)
    height_J = 4e-3 * GRAVITY_M_PER_S2 * LAUNCH_HEIGHT_M / LAW.climb_share
    holding_W = 2.0 * math.pi * LAW.hold_torque_Nm * LAW.turns_per_s
    assert lasted == pytest.approx((given_J + height_J) / holding_W, rel=0.01)
    assert 0.0 < left < launch.turns


def test_a_motor_that_runs_out_lets_the_model_sink_with_its_height() -> None:
    weak = FlightLaw(hold_torque_Nm=0.3e-3, at_mass_kg=4e-3, turns_per_s=5.0)
    flights = fly([launched()], [4e-3], np.array([weak.as_row()]), 4e-3)
    assert flights.turns_left[0, 0] == 0.0
    sink_m_per_s = 0.5 * 2.0 * math.pi * 0.3e-3 * 5.0 / (4e-3 * GRAVITY_M_PER_S2)
    assert flights.duration_s[0, 0] > flights.height_m[0, 0] / sink_m_per_s / 2.0


def test_a_ceiling_bounds_the_height_and_costs_time() -> None:
    laws = np.array([LAW.as_row()])
    free, under = fly([launched()], [4e-3], laws, 4e-3), fly([launched()], [4e-3], laws, 4e-3, 3.0)
    assert free.height_m[0, 0] > 3.0
    assert under.height_m[0, 0] == 3.0
    assert under.duration_s[0, 0] < free.duration_s[0, 0]


def test_launches_and_laws_are_flown_each_with_each() -> None:
    launches, masses = [launched(), launched(2.5e-3)], [4e-3, 4.5e-3]
    laws = np.array([LAW.as_row(), (1.2e-3, 4.0, 1.1, 0.4, 0.6), (1.8e-3, 6.0, 1.0, 0.5, 0.4)])
    together = fly(launches, masses, laws, 4e-3, 8.0)
    assert together.duration_s.shape == (2, 3)
    alone = fly(launches[1:], masses[1:], laws[2:], 4e-3, 8.0)
    assert together.duration_s[1, 2] == pytest.approx(alone.duration_s[0, 0])
    assert together.turns_left[1, 2] == pytest.approx(alone.turns_left[0, 0])


def test_a_heavier_model_comes_down_sooner_with_more_turns_left() -> None:
    laws = np.array([LAW.as_row()])
    light, heavy = (fly([launched()], [mass], laws, 4e-3) for mass in (4e-3, 4.8e-3))
    assert heavy.duration_s[0, 0] < light.duration_s[0, 0]
    assert heavy.turns_left[0, 0] >= light.turns_left[0, 0]


def test_a_launch_at_its_table_s_end_is_read_there() -> None:
    assert launch_at(Table((0.0, 10.0), (0.0, 1e-3)), 1e-3).turns == 10.0
