"""The meter's mechanics against handbook values, numerical solutions of the equations behind them, and the drawings."""

from __future__ import annotations

import math
import runpy
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.linalg

from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.commissioning import mechanics as m

DOCS = Path(__file__).parents[2] / "docs"


class TestHandbook:
    """Formulas of Timoshenko (Strength of Materials) and Roark (Formulas for stress and strain), from memory, against
    their differential equations solved by numbers."""

    def test_a_cantilever_bends_as_its_equation_says(self) -> None:
        """EI·y'' = F·(L − x), integrated twice by the trapezoid rule."""
        d, length, force = 2e-3, 0.10, 1.0
        x = np.linspace(0.0, length, 20_001)
        curvature = force * (length - x) / (m.STEEL_E_PA * math.pi * d**4 / 64)
        step = x[1] - x[0]
        slope = np.concatenate([[0.0], np.cumsum(0.5 * (curvature[1:] + curvature[:-1]) * step)])
        bent = float(np.sum(0.5 * (slope[1:] + slope[:-1]) * step))
        assert m.cantilever_N_per_m(d, length) == pytest.approx(force / bent, rel=1e-6)

    def test_a_wire_of_half_a_millimetre_holds_nothing_up(self) -> None:
        """0.55 N/m, worked by an engineer who read the first drawings; five grams would hang 89 mm low."""
        assert m.cantilever_N_per_m(0.5e-3, 0.150) == pytest.approx(0.55, abs=0.01)
        assert 5e-3 * 9.80665 / m.cantilever_N_per_m(0.5e-3, 0.150) > 0.08

    def test_a_guided_end_is_four_times_as_stiff(self) -> None:
        """Two cantilevers of half the length in series: 12EI/L³."""
        halves = m.cantilever_N_per_m(0.3e-3, 0.010)
        assert m.guided_N_per_m(0.3e-3, 0.020) == pytest.approx(halves / 2)

    def test_a_column_clamped_at_both_ends_buckles_at_the_least_eigenvalue(self) -> None:
        """EI·y⁗ + P·y″ = 0 with y = y′ = 0 at both ends, by finite differences."""
        n, length, d = 400, 0.020, 0.3e-3
        h = length / (n + 1)
        second = (np.diag(-2.0 * np.ones(n)) + np.diag(np.ones(n - 1), 1) + np.diag(np.ones(n - 1), -1)) / h**2
        fourth = np.diag(6.0 * np.ones(n)) + np.diag(-4.0 * np.ones(n - 1), 1) + np.diag(-4.0 * np.ones(n - 1), -1)
        fourth += np.diag(np.ones(n - 2), 2) + np.diag(np.ones(n - 2), -2)
        fourth[0, 0] = fourth[-1, -1] = 7.0
        loads = scipy.linalg.eigh(fourth / h**4, -second, eigvals_only=True, subset_by_index=[0, 0])
        stiffness = m.STEEL_E_PA * m.bending_inertia_m4(d)
        assert m.buckling_N(d, length) == pytest.approx(float(loads[0]) * stiffness, rel=0.01)

    def test_moments_of_a_round_section(self) -> None:
        """The polar moment is the sum of the two others (perpendicular axes), and both are areas' integrals."""
        d = 4e-3
        assert m.polar_inertia_m4(d) == pytest.approx(2 * m.bending_inertia_m4(d))
        r = (np.arange(20_000) + 0.5) * (d / 2) / 20_000
        assert m.polar_inertia_m4(d) == pytest.approx(float(np.sum(2 * math.pi * r**3) * d / 2 / 20_000), rel=1e-6)

    def test_the_strain_of_a_rod_is_that_of_its_twist(self) -> None:
        """Shear strain = radius × angle per length (kinematics); a gauge at 45° feels half of it (Mohr's circle)."""
        torque, d, length = 5e-3, 3e-3, 0.05
        angle = torque / m.torsion_Nm_per_rad(d, length, m.ALUMINIUM_G_PA)
        assert m.twist_strain(torque, d) == pytest.approx(0.5 * (d / 2) * angle / length)
        assert m.twist_strain(torque, d) == pytest.approx(18e-6, abs=0.3e-6), "worked by the same engineer"
        assert m.bending_strain(9e-3, d) == pytest.approx(49e-6, abs=1e-6)

    def test_friction_of_a_bearing(self) -> None:
        """M = μ·P·d/2 with 0.0010 to 0.0015 for deep-groove and thrust ball bearings (a maker's catalogue, read)."""
        assert m.friction_Nm(100.0, 0.010) == pytest.approx(0.0015 * 100.0 * 0.020 / 2)

    def test_frequency_by_integrating_the_motion(self) -> None:
        """I·φ″ = −k·φ from rest, until it passes zero: a quarter of a period."""
        k, inertia, phi, speed, t, step = 2.9, 4e-6, 1.0, 0.0, 0.0, 1e-7
        while phi > 0.0:
            speed -= k / inertia * phi * step
            phi += speed * step
            t += step
        assert m.frequency_Hz(k, inertia) == pytest.approx(1.0 / (4.0 * t), rel=1e-3)
        parts = (np.arange(1000) + 0.5) / 1000 - 0.5
        assert m.bar_inertia_kg_m2(0.006, 0.09) == pytest.approx(float(np.mean((0.09 * parts) ** 2)) * 0.006, rel=1e-5)


class TestPull:
    """A pull along the axis has no moment about it."""

    @pytest.mark.parametrize(("degrees", "mNm"), [(0.0, 0.0), (1.0, 0.09), (5.0, 0.44)])
    def test_it_takes_offset_and_tilt(self, degrees: float, mNm: float) -> None:
        """0.09 and 0.44 mN·m for 10 N half a millimetre off, worked by the engineer."""
        assert 1e3 * m.pull_torque_Nm(10.0, 0.5e-3, math.radians(degrees)) == pytest.approx(mNm, abs=0.005)

    @pytest.mark.parametrize(("offset", "degrees"), [(0.5e-3, 0.0), (0.0, 7.0), (1e-3, 3.0)])
    def test_by_the_vector_product(self, offset: float, degrees: float) -> None:
        """The moment r × F about the origin; its part along the axis is the torque."""
        tilt = math.radians(degrees)
        force = 18.0 * np.array([-math.cos(tilt), math.sin(tilt), 0.0])
        moment = np.cross(np.array([-0.02, 0.0, offset]), force)
        assert abs(moment[0]) == pytest.approx(m.pull_torque_Nm(18.0, offset, tilt))

    def test_two_bearings_balance_a_side_force(self) -> None:
        front, rear = m.overhang_N(1.6, 0.020, 0.060)
        assert front - rear == pytest.approx(1.6), "forces"
        assert rear * 0.060 == pytest.approx(1.6 * 0.020), "moments about the front bearing"


def test_stops_at_the_first_drawings_radius_would_have_acted_too_late() -> None:
    """0.3 mm at 14 mm is 2.1 times the rating of a cell that gives 0.3 mm at 30 mm."""
    assert m.stop_share(0.3e-3, 0.030, 0.014, 0.3e-3) == pytest.approx(2.14, abs=0.01)
    gap = m.stop_gap_m(0.3e-3, 0.030, 0.040, 1.25)
    assert m.stop_share(0.3e-3, 0.030, 0.040, gap) == pytest.approx(1.25)


def test_the_example_cell_is_the_simulated_one() -> None:
    cell = m.Cell(0.100)
    assert cell.counts_per_Nm(0.030) == pytest.approx(1 / SIMULATED.Nm_per_count, rel=1e-4)
    assert cell.rating_Nm(0.030) == pytest.approx(SIMULATED.rating_Nm, rel=1e-2)
    # HX711 data sheet: ±20 mV at 5 V and gain 128; 1 mV/V of 5 V is 5 mV of 19.53.
    assert cell.range_share == pytest.approx(5.0 / 19.53, rel=1e-3)


def test_a_cell_takes_twice_the_peak() -> None:
    for peak in (0.3e-3, 7.4e-3, 60e-3, 100e-3):
        cell, arm = m.cell_for(peak)
        assert cell.rating_Nm(arm) >= 2 * peak
    assert m.cell_for(10.0) == (m.Cell(1.0), 0.040)


@pytest.fixture(scope="module")
def made() -> dict[str, Any]:
    return runpy.run_path(str(DOCS / "made_by" / "meter_build.py"))


class TestDrawings:
    """What could hurt whoever builds by them."""

    @pytest.mark.parametrize("name", ["bearing-and-arm", "wire"])
    def test_the_pull_presses_a_pinned_collar_on_its_block(self, made: dict[str, Any], name: str) -> None:
        """The motor pulls to the left: the collar with the cross pin lies to the right of a block, and touches it, a
        thrust bearing that does, or is clear of it by less than a millimetre."""
        root = ElementTree.fromstring(made["pictures"]()[name])
        space = "{http://www.w3.org/2000/svg}"
        boxes = [
            tuple(float(box.attrib[key]) for key in ("x", "y", "width", "height"))
            for box in root.iter(f"{space}rect")
            if "x" in box.attrib
        ]
        pins = [
            float(found.attrib["x1"])
            for found in root.iter(f"{space}line")
            if found.attrib["x1"] == found.attrib["x2"] and float(found.attrib["stroke-width"]) == 1.5
        ]
        assert len(pins) == 1
        blocks = [x + w for x, y, w, h in boxes if h > 50 and w < 20]
        collar = next(x for x, y, w, h in boxes if w == 8 and x < pins[0] < x + w)
        thrust = [x + w for x, y, w, h in boxes if w == 4 and h == 9 and x + w <= collar]
        behind = [edge for edge in (*blocks, *thrust) if 0.0 <= collar - edge < 1.0]
        assert behind, "nothing would hold the shaft"
        assert any(edge <= collar for edge in blocks)

    def test_the_pulls_of_the_page_are_those_of_the_plan(self, made: dict[str, Any]) -> None:
        """18, 32 and 95 N: the demo motor, 2.5 g and 10 g."""
        assert [row.split("|")[2].strip() for row in made["tables"]()["pulls"].splitlines()[2:]] == [
            "18 N",
            "32 N",
            "95 N",
        ]
