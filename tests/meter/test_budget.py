"""Welch and Satterthwaite, coverage and gravity against published values."""

from __future__ import annotations

import math

import pytest

from winding_coach.meter.commissioning.budget import Part, combined, coverage_factor, gravity_m_per_s2


def test_the_gauge_block_of_the_guide() -> None:
    """JCGM 100:2008, H.1.6, from memory: 25 nm (18), 9.7 nm (25.6), 2.9 nm (50), 16.6 nm (2): 32 nm with 16 degrees of
    freedom; t of 99 % for 16 is 2.92."""
    parts = [
        Part("standard", 25e-9, "", 18),
        Part("comparator", 9.7e-9, "", 25.6),
        Part("expansion", 2.9e-9, "", 50),
        Part("temperature", 16.6e-9, "", 2),
    ]
    sd, dof = combined(parts)
    assert sd == pytest.approx(32e-9, abs=0.5e-9)
    assert math.floor(dof) == 16
    assert coverage_factor(dof, 0.99) == pytest.approx(2.92, abs=0.005)


def test_a_part_that_is_stated_has_no_end_of_freedom() -> None:
    assert combined([Part("a", 3.0, ""), Part("b", 4.0, "")]) == (5.0, math.inf)
    assert coverage_factor(math.inf) == pytest.approx(1.959964, abs=1e-6)
    assert combined([Part("a", 0.0, "", 4)]) == (0.0, math.inf)


@pytest.mark.parametrize(
    ("latitude", "g"), [(0.0, 9.7803253359), (45.0, 9.806198), (-45.0, 9.806198), (90.0, 9.8321849)]
)
def test_gravity_of_wgs_84(latitude: float, g: float) -> None:
    """Equator and pole are constants of WGS 84 (NIMA TR 8350.2, from memory); 9.80620 at 45°."""
    assert gravity_m_per_s2(latitude) == pytest.approx(g, abs=2e-6)
