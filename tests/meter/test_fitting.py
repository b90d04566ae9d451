"""Fits against certified and published values."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from winding_coach.meter.commissioning.budget import coverage_factor
from winding_coach.meter.commissioning.fitting import (
    FitError,
    better_with,
    fit,
    lack_of_fit,
    lower_limit_of_use,
)

DATA = Path(__file__).parent / "data"


def columns(name: str, *wanted: str) -> list[list[float]]:
    lines = [line for line in (DATA / f"{name}.csv").read_text().splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    return [[float(row[column]) for row in rows] for column in wanted]


def test_gum_example_of_a_thermometers_calibration() -> None:
    # JCGM 100:2008 (GUM), H.3: t0 = 20 °C; y1 −0.1712(29), y2 0.00218(67), r −0.930, s 0.0035, b(30 °C) −0.1494(41).
    t, b = columns("gum_h3", "t_C", "b_C")
    line = fit(t, b, centre=20.0)
    assert line.coefficients == pytest.approx((-0.17120379, 0.00218269774), rel=1e-8)
    assert line.sds() == pytest.approx((0.0028776, 0.000667938773), rel=1e-6)
    assert line.correlation(0, 1) == pytest.approx(-0.9304296, abs=1e-7)
    assert line.dof == 9
    assert round(line.sd, 4) == 0.0035
    assert (round(line(30.0), 4), round(line.sd_at(30.0), 4)) == (-0.1494, 0.0041)


def test_norris() -> None:
    # NIST StRD, linear regression, Norris (lower difficulty): certified values.
    x, y = columns("norris", "x", "y")
    line = fit(x, y)
    assert line.coefficients == pytest.approx((-0.262323073774029, 1.00211681802045), rel=1e-12)
    assert line.sds() == pytest.approx((0.232818234301152, 4.29796848199937e-04), rel=1e-12)
    assert line.sd == pytest.approx(0.884796396144373, rel=1e-13)


def test_pontius_a_load_cell_that_bends() -> None:
    # NIST StRD, linear regression, Pontius (lower difficulty): certified values.
    y, x = columns("pontius", "deflection_y", "load_x")
    bent = fit(x, y, degree=2)
    certified = (6.73565789473684e-04, 7.32059160401003e-07, -3.16081871345029e-15)
    assert bent.coefficients == pytest.approx(certified, rel=1e-10)
    assert bent.sd == pytest.approx(2.05177424076185e-04, rel=1e-11)
    # 2.4·s in units of load, worked from the certified s by the mean ratio (ASTM E74 as quoted by a laboratory).
    assert lower_limit_of_use(bent.sd, x, y) == pytest.approx(676.549, rel=1e-6)


def test_noint1_a_line_through_zero() -> None:
    # NIST StRD, linear regression, NoInt1 (average difficulty): certified values.
    line = fit(range(60, 71), range(130, 141), through_zero=True)
    assert line.coefficients == pytest.approx((2.07438016528926,), rel=1e-14)
    assert line.sds() == pytest.approx((0.0165289256198347,), rel=1e-13)


def test_a_real_load_cells_bend_is_noticed() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, load cell calibration: data; F worked from them.
    x, y = columns("loadcell_ehandbook", "load", "response")
    line, bent = fit(x, y), fit(x, y, degree=2)
    straight, curved = lack_of_fit(x, y, line), lack_of_fit(x, y, bent)
    assert straight is not None
    assert curved is not None
    assert straight.ratio == pytest.approx(112.24, abs=0.005)
    assert curved.ratio == pytest.approx(0.348, abs=0.0005)
    assert (straight.dof_above, straight.dof_below, curved.dof_above) == (9, 22, 8)
    assert straight.chance < 1e-12
    assert curved.chance > 0.9
    assert bent.coefficients[2] == pytest.approx(7.031865e-6, rel=1e-6)
    assert better_with(line, bent).chance < 1e-12
    assert lower_limit_of_use(bent.sd, x, y) == pytest.approx(9.01711e-4, rel=1e-5)


def test_an_up_and_down_run() -> None:
    # Wheeler and Ganji, Introduction to Engineering Experimentation, example 2.3, through a course's transcription:
    # least squares over all 103 readings 1.29016·W − 0.37680.
    lines = [row for row in (DATA / "wheeler_ganji_ex2_3.csv").read_text().splitlines() if not row.startswith("#")]
    pairs = [
        (float(row["true_lb"]), float(row[f"cycle{cycle}"]))
        for row in csv.DictReader(lines)
        for cycle in range(1, 7)
        if row[f"cycle{cycle}"]
    ]
    line = fit([true for true, _ in pairs], [read for _, read in pairs])
    assert line.coefficients == pytest.approx((-0.37680, 1.29016), abs=6e-6)


@given(
    st.lists(st.floats(-100, 100), min_size=3, max_size=3),
    st.lists(st.integers(-1000, 1000), min_size=5, max_size=20, unique=True),
    st.floats(-1e6, 1e6),
)
def test_points_on_a_line_give_the_line(figures: list[float], places: list[int], centre: float) -> None:
    a, b, c = figures
    x = [centre + place for place in places]
    line = fit(x, [a + b * place + c * place**2 for place in places], degree=2, centre=centre)
    size = max(abs(v) for v in figures) * 1e6
    for place in places:
        assert line(centre + place) == pytest.approx(a + b * place + c * place**2, abs=1e-8 * size + 1e-9)


def test_students_factor() -> None:
    # Student's t, two-sided 95 %, in any table (GUM table G.2): 2.26 for 9 degrees of freedom, 1.960 in the limit.
    assert coverage_factor(9) == pytest.approx(2.26, abs=0.005)
    assert coverage_factor(1e9) == pytest.approx(1.960, abs=0.0005)


def test_without_repeats_nothing_is_said_of_the_shape() -> None:
    x = [0.0, 1.0, 2.0, 3.0]
    assert lack_of_fit(x, x, fit(x, [0.0, 1.1, 1.9, 3.0])) is None


def test_a_perfect_line_is_not_bettered() -> None:
    x = [-1.0, -1.0, 0.0, 0.0, 1.0, 1.0]
    flat = fit(x, [0.0] * 6)
    test = better_with(flat, fit(x, [0.0] * 6, degree=2))
    assert (test.ratio, test.chance) == (0.0, 1.0)
    scatter = lack_of_fit(x, [1.0, 1.0, 0.0, 0.0, 1.0, 1.0], fit(x, [1.0, 1.0, 0.0, 0.0, 1.0, 1.0]))
    assert scatter is not None
    assert math.isinf(scatter.ratio)


@pytest.mark.parametrize(
    ("x", "y", "words"),
    [
        ([1.0, 2.0], [1.0, 2.0], "at least 3 points"),
        ([1.0, 2.0, 3.0], [1.0, 2.0], "points"),
        ([1.0, 1.0, 1.0], [1.0, 2.0, 3.0], "too few different places"),
        ([1.0, 2.0, math.nan], [1.0, 2.0, 3.0], "no number"),
    ],
)
def test_figures_that_give_no_line(x: list[float], y: list[float], words: str) -> None:
    with pytest.raises(FitError, match=words):
        fit(x, y)


def test_no_load_no_limit() -> None:
    with pytest.raises(FitError, match="Without a load"):
        lower_limit_of_use(1.0, [0.0], [0.0])
