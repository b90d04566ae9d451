"""Work of the crank against exact integrals, and against the energy that the law of the rubber stores."""

from __future__ import annotations

import math

import pytest

from tests.scenario import MOTOR
from winding_coach.review.wind.energy import crank_work, work_of
from winding_coach.rubber.law import DEFAULT_RUBBER, energy_J, torque_Nm
from winding_coach.rubber.motor import geometry_of


def test_under_a_straight_line_it_is_the_triangle() -> None:
    # Torque 0 to 6 mN·m over 100 turns: half of 6e-3 · 100 turns of 2π each.
    put_on, taken_off = work_of([0.0, 100.0], [0.0, 6e-3])
    assert put_on == pytest.approx(0.5 * 6e-3 * 100.0 * 2.0 * math.pi, rel=1e-12)
    assert taken_off == 0.0


def test_under_a_parabola_it_is_four_thirds_of_the_triangle() -> None:
    # Archimedes, Quadrature of the Parabola, proposition 24: the segment is 4/3 of the triangle of its base and height.
    turns = [i / 10.0 for i in range(1001)]
    torques = [1e-3 * n * (100.0 - n) / 2500.0 for n in turns]
    triangle = 0.5 * 100.0 * 1e-3
    assert work_of(turns, torques)[0] == pytest.approx(2.0 * math.pi * triangle * 4.0 / 3.0, rel=1e-5)


def test_of_the_usual_torque_curve_it_is_the_closed_form() -> None:
    # M = a·ν^⅓/(1 − q·ν^(4/3)) has the antiderivative −(3a/4q)·ln(1 − q·ν^(4/3)), by substitution of q·ν^(4/3).
    a, q, breaking = 6e-3, 0.6, 1600.0
    shares = [(i / 4000.0) ** 3 for i in range(4001)]  # denser where the curve begins steeply
    torques = [a * s ** (1 / 3) / (1.0 - q * s ** (4 / 3)) for s in shares]
    exact = -3.0 * a / (4.0 * q) * math.log(1.0 - q) * breaking * 2.0 * math.pi
    assert work_of([breaking * s for s in shares], torques)[0] == pytest.approx(exact, rel=1e-6)


def test_at_fixed_hooks_it_is_what_the_rubber_stores() -> None:
    # A body without losses: M = ∂U/∂θ, so the work of the crank at one distance is the difference of the energies.
    body = geometry_of(MOTOR, DEFAULT_RUBBER)
    turns = [200.0 + i for i in range(801)]
    torques = [torque_Nm(body, 0.22, n) for n in turns]
    stored = energy_J(body, 0.22, 1000.0) - energy_J(body, 0.22, 200.0)
    assert work_of(turns, torques)[0] == pytest.approx(stored, rel=1e-6)


def test_there_and_back_is_what_was_lost_on_the_way() -> None:
    put_on, taken_off = work_of([0.0, 100.0, 100.0, 60.0], [4e-3, 4e-3, 3e-3, 3e-3])
    assert put_on == pytest.approx(2.0 * math.pi * 0.4)
    assert taken_off == pytest.approx(2.0 * math.pi * 0.12)


def test_uncertainty_and_gaps() -> None:
    work = crank_work(
        [0.0, 50.0, 100.0], [4e-3, 4e-3, 4e-3], [0.0, 0.1, 5.0], step_turns=10.0, sd_Nm=4e-5, longest_s=0.5
    )
    assert work is not None
    assert work.bridged_turns == pytest.approx(50.0)
    # A rectangle ten turns wide has the standard deviation 10/√12 (JCGM 100:2008, 4.3.7).
    of_count = 2.0 * math.pi * 4e-3 * 10.0 / math.sqrt(12.0)
    # Half a count beyond the last, at the torque there.
    assert work.wound_in_J == pytest.approx(2.0 * math.pi * 4e-3 * 105.0)
    assert work.returned_J == 0.0
    assert work.returned_sd_J == pytest.approx(math.sqrt(2.0) * of_count)
    assert work.sd_J == pytest.approx(math.hypot(of_count, 2.0 * math.pi * 4e-5 * 100.0))
    unknown = crank_work([0.0, 100.0], [4e-3, 4e-3], [0.0, 0.1], step_turns=10.0, sd_Nm=None, longest_s=0.5)
    assert unknown is not None
    assert unknown.sd_J == pytest.approx(of_count)
    assert crank_work([1.0], [1e-3], [0.0], step_turns=10.0, sd_Nm=0.0, longest_s=0.5) is None
