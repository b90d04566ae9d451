"""The simulated motor: sizes, strength, memory and the break, against closed forms and scipy's Weibull."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import weibull_min

from tests.scenario import MOTOR
from winding_coach.rubber.figures import FiguresError, MotorFigures
from winding_coach.rubber.history import advance
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber
from winding_coach.rubber.motor import before_the_wind, geometry_of
from winding_coach.simulator.motor import SimulatedMotor

BROKEN_IN = replace(MOTOR, use=3)
NO_MEMORY = Rubber(hysteresis_share=0, rope_friction=0, relaxation_per_decade=0)


def wound(
    motor: SimulatedMotor, turns: float, loops: float, *, seconds: float = 60.0, steps: int = 600
) -> SimulatedMotor:
    """Stretch a motor to so many loop lengths, then wind it there."""
    distance_m = loops * motor.figures.loop_m
    motor.move(0.0, distance_m, 2.0)
    for i in range(1, steps + 1):
        motor.move(turns * i / steps, distance_m, seconds / steps)
    return motor


def breaking_turns(motor: SimulatedMotor, loops: float, step: float = 1.0) -> float:
    """Turns at which it breaks, wound at a fixed distance."""
    turns = 0.0
    while not motor.broken:
        turns += step
        motor.move(turns, loops * motor.figures.loop_m, step / 12.0)
    return turns


class TestSizes:
    """At the same distance in loop lengths: turns ∝ loop/√density, torque ∝ density^1.5 whatever the loop's length,
    energy ∝ mass. It follows from the geometry of strands alone."""

    @given(st.floats(0.5, 2.0), st.floats(0.5, 2.0))
    def test_torque_and_turns_scale(self, longer: float, denser: float) -> None:
        rubber = replace(DEFAULT_RUBBER, rope_friction=0.0)
        one = MotorFigures(0.30, 1.32e-3, use=3)
        other = MotorFigures(0.30 * longer, 1.32e-3 * longer * denser, use=3)
        turns = 600.0
        first = wound(SimulatedMotor(one, rubber), turns, 5.0, steps=40)
        second = wound(SimulatedMotor(other, rubber), turns * longer / math.sqrt(denser), 5.0, steps=40)
        assert second.torque_Nm == pytest.approx(first.torque_Nm * denser**1.5, rel=1e-9)
        assert second.pull_N == pytest.approx(first.pull_N * denser, rel=1e-9)
        assert second.strand_stretch == pytest.approx(first.strand_stretch, rel=1e-12)

    @pytest.mark.parametrize("mass_kg", [0.7e-3, 1.4e-3])
    def test_without_memory_the_work_done_is_the_energy_held(self, mass_kg: float) -> None:
        """∫M dθ + ∫F dL by the trapezium rule over steps, against W times the volume of rubber."""
        motor = SimulatedMotor(MotorFigures(0.30, mass_kg, use=3), NO_MEMORY)
        path = [(0.0, d) for d in np.linspace(0.30, 1.5, 1500)] + [(n, 1.5) for n in np.linspace(0.0, 500.0, 500)]
        path += [(500.0 + n, 1.5 - n / 500.0) for n in np.linspace(0.0, 300.0, 500)]
        work = 0.0
        before = (0.0, 0.30, 0.0, 0.0)
        for turns, distance_m in path:
            motor.move(float(turns), float(distance_m), 0.1)
            now = (float(turns), float(distance_m), motor.torque_Nm, motor.pull_N)
            work += 2.0 * math.pi * (now[0] - before[0]) * 0.5 * (now[2] + before[2])
            work += (now[1] - before[1]) * 0.5 * (now[3] + before[3])
            before = now
        held = mass_kg / NO_MEMORY.density_kg_per_m3 * NO_MEMORY.energy_Pa(motor.strand_stretch)
        assert work == pytest.approx(held, rel=1e-4)

    def test_energy_held_is_energy_a_volume_times_volume(self) -> None:
        motor = wound(SimulatedMotor(MOTOR, torque_scale=1.1), 900.0, 5.0)
        volume = (MOTOR.mass_kg - MOTOR.orings_kg) / DEFAULT_RUBBER.density_kg_per_m3
        assert motor.energy_J == pytest.approx(1.1 * volume * DEFAULT_RUBBER.energy_Pa(motor.strand_stretch))
        breaking_turns(motor, 6.4)
        assert motor.energy_J == 0.0

    @pytest.mark.parametrize(
        "figures", [replace(MOTOR, loop_m=0.0), replace(MOTOR, mass_kg=-1.0), replace(MOTOR, strands=0)]
    )
    def test_figures_no_motor_can_have_are_refused(self, figures: MotorFigures) -> None:
        with pytest.raises(FiguresError):
            SimulatedMotor(figures)

    def test_a_stiffer_motor_has_more_torque_and_pull_and_no_other_strength(self) -> None:
        plain, stiff = SimulatedMotor(MOTOR), SimulatedMotor(MOTOR, torque_scale=1.2)
        wound(plain, 700.0, 5.0)
        wound(stiff, 700.0, 5.0)
        assert stiff.torque_Nm == pytest.approx(1.2 * plain.torque_Nm)
        assert stiff.pull_N == pytest.approx(1.2 * plain.pull_N)
        assert breaking_turns(SimulatedMotor(MOTOR, torque_scale=1.2), 6.4) == breaking_turns(
            SimulatedMotor(MOTOR), 6.4
        )


class TestBreak:
    """A motor breaks at the ellipse of its strength; strengths are spread as Weibull has it."""

    @pytest.mark.parametrize("loops", [6.4, 7.0, 8.5])
    def test_at_the_ellipse_of_equal_stretch(self, loops: float) -> None:
        """(x/λ)² + (n/(n1·λ^1.5))² = 1, where the rope has no knots yet (x·√(1 + 1.2²) > λ)."""
        motor = SimulatedMotor(MOTOR)
        stretch = DEFAULT_RUBBER.break_stretch
        turns = motor.geometry.turns_scale * stretch**1.5 * math.sqrt(1.0 - (loops / stretch) ** 2)
        assert 0.0 <= breaking_turns(motor, loops) - turns <= 1.0
        assert motor.looseness < 1e-3

    def test_disorder_of_the_knots_breaks_it_sooner(self) -> None:
        """Wound close in from the start, it does not reach the ellipse."""
        motor = SimulatedMotor(MOTOR)
        turns = motor.geometry.turns(DEFAULT_RUBBER.break_stretch, 1.5 * MOTOR.loop_m)
        assert breaking_turns(motor, 1.5) < 0.95 * turns
        assert motor.looseness > 0.02

    @pytest.mark.parametrize("u", [0.01, 0.1, 0.5, 0.9, 0.99])
    def test_strength_is_weibulls(self, u: float) -> None:
        """scipy's Weibull with the rubber's shape and median: a share u of motors is at least as strong."""
        shape = DEFAULT_RUBBER.break_shape
        spread = weibull_min(shape, scale=DEFAULT_RUBBER.break_stretch / math.log(2.0) ** (1.0 / shape))
        motor = SimulatedMotor(MOTOR, strength_u=u)
        breaking_turns(motor, 6.4, step=0.25)
        assert motor.strand_stretch == pytest.approx(float(spread.isf(u)), rel=5e-4)

    @pytest.mark.parametrize("u", [-1.0, 0.0, 1.0, 2.0])
    def test_the_ends_of_the_spread_are_motors_too(self, u: float) -> None:
        assert SimulatedMotor(MOTOR, strength_u=u).broken is False

    def test_a_broken_motor_gives_nothing_and_stays_so(self) -> None:
        motor = SimulatedMotor(MOTOR)
        turns = breaking_turns(motor, 6.4)
        assert (motor.torque_Nm, motor.pull_N) == (0.0, 0.0)
        motor.move(turns - 500.0, 1.0, 5.0)
        assert motor.broken
        assert (motor.torque_Nm, motor.pull_N, motor.turns) == (0.0, 0.0, turns)


class TestMemory:
    """What a motor does not forget."""

    def test_torque_falls_steeply_at_first_when_backed_off(self) -> None:
        """Common practice, no source: some 45 % of the stress goes within 1.6 % of strand stretch, near the peak."""
        motor = wound(SimulatedMotor(BROKEN_IN), 1200.0, 5.0)
        top, stretch = motor.torque_Nm, motor.strand_stretch
        while motor.strand_stretch > stretch * (1 - 0.016):
            motor.move(motor.turns - 1.0, 1.5, 0.1)
        assert 0.50 < motor.torque_Nm / top < 0.65
        assert motor.turns > 0.95 * 1200.0

    def test_a_held_motor_relaxes_in_logarithmic_time(self) -> None:
        """2-3 % of the stress a decade of time for unfilled natural rubber; from memory, no source at hand."""
        motor = wound(SimulatedMotor(BROKEN_IN), 900.0, 5.0, seconds=1.0, steps=50)
        seen: list[float] = []
        for seconds in (1.0, 9.0, 90.0):
            motor.move(900.0, 1.5, seconds)
            seen.append(motor.torque_Nm)
        falls = [1 - b / a for a, b in pairwise(seen)]
        assert all(0.015 < fall < 0.04 for fall in falls)

    def test_a_new_motor_is_stiffer_than_a_broken_in_one(self) -> None:
        """Ogden & Roxburgh 1999: on its first way out new rubber shows 1/(1 − 1/r) of the broken-in rubber's stress."""
        new = wound(SimulatedMotor(MOTOR), 700.0, 5.0)
        worn = wound(SimulatedMotor(BROKEN_IN), 700.0, 5.0)
        assert new.torque_Nm / worn.torque_Nm == pytest.approx(1 / (1 - 1 / DEFAULT_RUBBER.softening_ratio))

    def test_second_use_is_soft_below_its_earlier_peak(self) -> None:
        new, second, worn = (wound(SimulatedMotor(replace(MOTOR, use=use)), 300.0, 4.0).torque_Nm for use in (1, 2, 3))
        assert worn <= second < new

    def test_a_second_wind_remembers_between_which_hooks_the_first_one_ended(self) -> None:
        """The plan's own memory of it (`before_the_wind`) is the reference: figures of a plan must be met."""

        def torque(use: int, hooks_m: float | None) -> float:
            return wound(SimulatedMotor(replace(MOTOR, use=use), hooks_m=hooks_m), 300.0, 4.0).torque_Nm

        shape = geometry_of(MOTOR)
        for hooks_m in (0.10, 0.45):
            now = advance(shape, before_the_wind(shape, 2, hooks_m), 1.2, 0.0, 2.0)
            for i in range(1, 601):
                now = advance(shape, now, 1.2, 300.0 * i / 600, 0.1)
            assert torque(2, hooks_m) == pytest.approx(now.torque_Nm)
        assert torque(2, 0.10) != torque(2, 0.45)
        assert torque(2, None) == torque(2, 0.24)
        for use in (1, 3):
            assert torque(use, 0.10) == torque(use, 0.45)

    def test_knots_begin_where_the_rope_is_steep_enough(self) -> None:
        """They begin at x = λ/√(1 + 1.2²), by definition of the model."""
        motor = SimulatedMotor(MOTOR)
        motor.move(0.0, 1.5, 2.0)
        while motor.knotted == 0.0:
            motor.move(motor.turns + 1.0, 1.5, 0.1)
        assert motor.strand_stretch / 5.0 == pytest.approx(math.sqrt(1 + 1.2**2), rel=1e-3)

    def test_the_loop_grows_by_a_wind(self) -> None:
        motor = wound(SimulatedMotor(MOTOR), 1000.0, 5.0)
        after = motor.after_the_wind()
        stretch = motor.strand_stretch
        assert after == replace(MOTOR, use=2, loop_m=after.loop_m)
        assert after.loop_m / MOTOR.loop_m - 1 == pytest.approx(0.7 * 0.05 * (stretch - 4.0) / 5.0)

    def test_a_loop_that_has_grown_before_grows_less(self) -> None:
        """Each wind goes 70 % of what is left: 0.7, 0.91, 0.973 … of the way; the loop is measured before each."""
        grown = []
        for use in (1, 2, 3, 60):
            motor = wound(SimulatedMotor(replace(MOTOR, use=use)), 1000.0, 5.0)
            grown.append(motor.after_the_wind().loop_m / MOTOR.loop_m)
        goal = 0.05 * (motor.strand_stretch - 4.0) / 5.0
        assert grown == pytest.approx(
            [1 + 0.7 * goal, (1 + 0.91 * goal) / (1 + 0.7 * goal), (1 + 0.973 * goal) / (1 + 0.91 * goal), 1.0]
        )

    def test_a_motor_that_was_hardly_stretched_does_not_grow(self) -> None:
        motor = SimulatedMotor(MOTOR)
        motor.move(0.0, 0.6, 1.0)
        assert motor.after_the_wind().loop_m == MOTOR.loop_m
