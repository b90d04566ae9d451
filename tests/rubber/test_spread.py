"""Errors of weighing and measuring against the exponents of the turns law."""

from __future__ import annotations

import math

import pytest

from tests.rubber.motors import FIFTEEN_TO_ONE, KNOWN, KNOWN_MODEL, TEN_TO_ONE, TH_07, THISTLEDOWN
from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.law import Rubber
from winding_coach.rubber.plan import make_plan
from winding_coach.rubber.spread import spread_of

PLAN = make_plan(TH_07, TEN_TO_ONE, THISTLEDOWN)
SPREAD = spread_of(PLAN, TH_07)


def test_turns_go_with_loop_and_mass_as_the_law_says() -> None:
    """Breaking turns ∝ loop^1.5 · mass^-0.5 at given strands, but for the little that the hook distance takes."""
    assert SPREAD.loop.breaking_turns / PLAN.breaking_turns == pytest.approx(1.5 * 2 / 300, rel=0.02)
    assert SPREAD.mass.breaking_turns / PLAN.breaking_turns == pytest.approx(-0.5 * 0.01 / 1.32, rel=0.02)
    assert SPREAD.linear_density_sd_kg_per_m / PLAN.linear_density_kg_per_m == pytest.approx(
        math.hypot(2 / 300, 0.01 / 1.32)
    )


def test_torque_per_cent_of_length_and_mass() -> None:
    """At the plan's own turns: 1 % more loop takes some per cent of torque off, 1 % more mass adds 2.1-2.9 %."""
    by_loop = SPREAD.loop.peak_torque_Nm / PLAN.peak_torque_Nm / (2 / 300)
    by_mass = SPREAD.mass.peak_torque_Nm / PLAN.peak_torque_Nm / (0.01 / 1.32)
    assert -6 < by_loop < -3  # the same mass in a longer loop is a thinner strand too: about −2 − 2.4
    assert 2.1 < by_mass < 2.9
    assert SPREAD.loop.stretched_torque_Nm < 0 < SPREAD.mass.stretched_torque_Nm


def test_the_figures_of_common_practice() -> None:
    """17.5 in, 2.8 g: ±2 mm and ±0.01 g are about ±14 and ±4 turns of 2025 (worked out with the exponents)."""
    plan = make_plan(KNOWN, FIFTEEN_TO_ONE, KNOWN_MODEL)
    spread = spread_of(plan, KNOWN)
    assert spread.loop.breaking_turns == pytest.approx(13.7, abs=0.4)
    assert spread.mass.breaking_turns == pytest.approx(-3.6, abs=0.2)


def test_causes_add_as_squares() -> None:
    causes = (SPREAD.loop, SPREAD.mass, SPREAD.strength, SPREAD.stiffness)
    assert SPREAD.together.breaking_turns == pytest.approx(math.sqrt(sum(c.breaking_turns**2 for c in causes)))
    assert SPREAD.together.peak_torque_Nm == pytest.approx(math.sqrt(sum(c.peak_torque_Nm**2 for c in causes)))
    assert SPREAD.together.breaking_turns == pytest.approx(PLAN.breaking_turns_sd, rel=0.01)
    exact = spread_of(PLAN, TH_07, loop_sd_m=0, mass_sd_kg=0, torque_sd=0)
    assert exact.together.peak_torque_Nm == 0
    assert exact.together.breaking_turns == pytest.approx(exact.strength.breaking_turns)
    assert exact.strength.breaking_turns > 0


def test_a_rubber_that_scatters_less() -> None:
    even = spread_of(PLAN, TH_07, rubber=Rubber(break_shape=90))
    assert even.strength.breaking_turns == pytest.approx(0.5 * SPREAD.strength.breaking_turns, rel=0.05)


def test_errors_that_leave_no_motor_are_refused() -> None:
    for loop_sd_m, mass_sd_kg in ((0.1, 0.0), (-1.0, 0.0), (0.0, 1e-3), (0.0, math.nan)):
        with pytest.raises(FiguresError, match=r"^[A-Z][^\n]*: [^\n]*\.$"):
            spread_of(PLAN, TH_07, loop_sd_m=loop_sd_m, mass_sd_kg=mass_sd_kg)
