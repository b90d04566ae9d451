"""Calibrations judged: good ones, and each way to spoil one."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from winding_coach.meter.calibration import SIMULATED, Calibration, CalibrationError
from winding_coach.meter.commissioning.calibrating import Calibrated, Point, calibrate

ARM_M, GRAVITY = 0.030, 9.80665
SLOPE = SIMULATED.Nm_per_count
MASSES_G = (0, 10, 20, 50, 70, 50, 20, 10, 0)
RIGHT = [(mass, 1) for mass in MASSES_G]
BOTH = [*RIGHT, *((mass, -1) for mass in MASSES_G[1:])]


def torque(mass_g: float, side: int) -> float:
    return side * mass_g * 1e-3 * GRAVITY * ARM_M


def points(
    loads: list[tuple[int, int]],
    seed: int = 1,
    *,
    typed: dict[int, float] | None = None,
    sticks_Nm: float = 0.0,
    off_axis: float = 0.0,
    bend_per_Nm: float = 0.0,
    drift_Nm: float = 0.0,
    noise_Nm: float = 0.5e-6,
    sign: int = 1,
) -> list[Point]:
    """Points of a meter whose truth is known."""
    rng = np.random.default_rng(seed)
    cell, found = 0.0, []
    for number, (mass, side) in enumerate(loads):
        true_Nm = torque(mass, side) * (1.0 + side * off_axis)
        cell = min(max(cell, true_Nm - sticks_Nm), true_Nm + sticks_Nm)
        read = cell * (1.0 + bend_per_Nm * cell) + drift_Nm * number / len(loads)
        read += noise_Nm * float(rng.standard_normal())
        said = (typed or {}).get(mass, mass)
        counts = SIMULATED.zero_counts + sign * read / SLOPE
        found.append(Point(torque(said, side), counts, 46.0, 160, f"{said:g} g, {'left' if side < 0 else 'right'}"))
    return found


def judged(found: list[Point], **more: Any) -> Calibrated:
    figures: dict[str, Any] = {"rating_Nm": 29.4e-3, "reference_share": 0.001} | more
    return calibrate(
        found, name="bench meter", made="2026-03-01T14:00:00+01:00", expires="2027-03-01", id="x", **figures
    )


def test_a_good_set_gives_the_meters_own_figures_and_no_findings() -> None:
    done = judged(points(BOTH))
    assert done.findings == ()
    made = done.calibration
    assert made.Nm_per_count == pytest.approx(SLOPE, rel=1e-4)
    assert made.zero_counts == pytest.approx(SIMULATED.zero_counts, abs=50)
    assert made.Nm_per_count2 == 0.0
    assert made.rating_Nm == 29.4e-3
    # The reference's 0.1 % of 20.6 mN·m outweighs all else.
    assert done.sd_Nm == pytest.approx(20.6e-6, rel=0.1)
    assert done.expanded_Nm == pytest.approx(1.96 * done.sd_Nm, rel=0.01), "the reference's dof are infinite"
    assert made.sd_Nm == done.sd_Nm
    assert max(abs(residual) for residual in done.residuals_Nm) < 2.5e-6
    assert done.noise_Nm == pytest.approx(46 * SLOPE, rel=1e-3)


def test_the_calibration_is_a_file_that_is_read_back() -> None:
    made = judged(points(BOTH)).calibration
    again = Calibration.from_json(made.to_json())
    assert again == made
    assert len(again.points) == len(BOTH)
    assert again.more["expires"] == "2027-03-01"


def test_a_cell_that_is_wired_the_other_way_round_has_a_negative_slope() -> None:
    done = judged(points(BOTH, sign=-1))
    assert done.findings == ()
    assert done.calibration.Nm_per_count == pytest.approx(-SLOPE, rel=1e-4)


def test_the_truth_lies_within_the_uncertainty_as_often_as_it_says() -> None:
    hits = 0
    for seed in range(200):
        # What the points scatter by, and nothing else: the fitted line's own uncertainty.
        done = judged(points(BOTH, seed, noise_Nm=5e-6), reference_share=0.0)
        slope, sd = done.line.coefficients[1], done.line.sds()[1]
        hits += abs(slope - SLOPE) < 2.131 * sd
    # 95 % of 200 with a binomial deviation of 3.1.
    assert 190 - 10 <= hits <= 190 + 9


def test_a_sticking_bearing() -> None:
    done = judged(points(BOTH, sticks_Nm=0.1e-3))
    assert done.reversibility_Nm == pytest.approx(0.2e-3, rel=0.05)
    assert any("bearing sticks" in words for words in done.findings)
    assert done.sd_Nm > 60e-6


def test_a_creep_is_the_other_sign() -> None:
    found = points(BOTH)
    spoilt = [
        Point(p.torque_Nm, p.counts - (20_000 if 5 <= i <= 7 else 0), p.sd_counts, p.readings, p.words)
        for i, p in enumerate(found)
    ]
    done = judged(spoilt)
    assert done.reversibility_Nm is not None
    assert done.reversibility_Nm < 0
    assert any("creeps" in words for words in done.findings)


@pytest.mark.parametrize(("true", "said", "ratio"), [(20, 25, "0.800"), (50, 5, "10.000"), (70, 100, "0.700")])
def test_a_mass_typed_wrongly_is_named(true: int, said: float, ratio: str) -> None:
    done = judged(points(BOTH, typed={true: said}))
    assert len(done.findings) == 1
    assert f"'{said:g} g" in done.findings[0]
    assert ratio in done.findings[0]


def test_a_mass_hung_on_the_other_side_is_named() -> None:
    found = points(RIGHT)
    spoilt = [Point(-p.torque_Nm, p.counts, words=p.words) if i in (2, 6) else p for i, p in enumerate(found)]
    done = judged(spoilt)
    assert "on the other side" in done.findings[0]


def test_arms_of_different_lengths() -> None:
    done = judged(points(BOTH, off_axis=0.01))
    assert done.arms_differ == pytest.approx(0.02, rel=0.02)
    assert any("two directions differ by 2.0%" in words for words in done.findings)
    assert done.calibration.Nm_per_count2 == 0.0, "two arms are no bend"


def test_a_cell_that_bends_gets_a_quadratic() -> None:
    done = judged(points(BOTH, bend_per_Nm=0.5))
    assert done.findings == ()
    assert done.bend is not None
    assert done.bend.chance < 1e-6
    made = done.calibration
    for mass, side in BOTH:
        true = torque(mass, side)
        counts = SIMULATED.zero_counts + true * (1.0 + 0.5 * true) / SLOPE
        assert made.torque_Nm(counts) == pytest.approx(true, abs=3e-6)


def test_a_zero_that_moved() -> None:
    done = judged(points(BOTH, drift_Nm=0.2e-3))
    assert done.zero_return_Nm == pytest.approx(0.2e-3 * 16 / 17, rel=0.05)
    assert any("zero did not come back" in words for words in done.findings)


def test_loads_that_repeat_badly() -> None:
    done = judged(points(BOTH + BOTH[1:], noise_Nm=0.15e-3))
    assert done.repeatability_Nm == pytest.approx(0.15e-3, rel=0.4)
    assert any("repeats to" in words for words in done.findings)


def test_a_cell_past_its_rating_and_a_converter_at_its_end() -> None:
    done = judged(points(BOTH), rating_Nm=15e-3)
    assert any("past its rating" in words for words in done.findings)
    found = points(BOTH)
    spoilt = [*found, Point(0.0, SIMULATED.zero_counts, saturated=True)]
    assert any("converter's range" in words for words in judged(spoilt).findings)


def test_what_is_not_known_is_said() -> None:
    done = judged(points(RIGHT), rating_Nm=None)
    assert any("--rating" in words for words in done.findings)
    assert any("Only one direction" in words for words in done.findings)
    assert done.arms_differ is None
    once = judged(points([(0, 1), (10, 1), (20, 1), (50, 1)]))
    assert (once.zero_return_Nm, once.repeatability_Nm, once.reversibility_Nm, once.misfit) == (None,) * 4


def test_without_a_zero_the_line_still_finds_it() -> None:
    done = judged(points([load for load in BOTH if load[0]]))
    assert done.calibration.zero_counts == pytest.approx(SIMULATED.zero_counts, abs=60)


def test_three_points_of_a_line_have_no_bend_to_judge() -> None:
    assert judged(points([(0, 1), (20, 1), (50, 1)])).bend is None


@pytest.mark.parametrize(
    ("found", "words"),
    [
        ([], "different loads"),
        (points([(0, 1), (10, 1), (10, 1), (0, 1)]), "different loads"),
        ([Point(torque(m, 1), 84_200.0) for m in MASSES_G], "too few different places"),
        (points(BOTH, noise_Nm=30e-3), "hardly follow"),
    ],
)
def test_points_that_give_no_calibration(found: list[Point], words: str) -> None:
    with pytest.raises(CalibrationError, match=words):
        judged(found)
