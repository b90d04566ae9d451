"""Fits of a batch: what was put into simulated winds comes out again, and data that cannot tell are refused."""

from __future__ import annotations

import json
import math
import random
from dataclasses import replace

import pytest

from tests.rubber.motors import TEN_TO_ONE, TH_07, THISTLEDOWN
from winding_coach.rubber.batch import (
    Batch,
    StretchedWind,
    fit_set,
    fitted,
    pooled_scale,
    torque_scale_of,
    wound_to,
)
from winding_coach.rubber.batch_json import batch_from_json_dict, batch_to_json_dict
from winding_coach.rubber.figures import FiguresError, MotorFigures
from winding_coach.rubber.history import advance, permanent_set
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber
from winding_coach.rubber.learned import NAMES
from winding_coach.rubber.motor import before_the_wind, geometry_of
from winding_coach.rubber.plan import make_plan
from winding_coach.rubber.strength import Wound

SENTENCE = r"^[A-Z0-9][^\n]*: [^\n]*\.$"
STIFF = Rubber(shear_modulus_Pa=1.07 * DEFAULT_RUBBER.shear_modulus_Pa, second_term_Pa=1.07 * 0.28e6)


def stretched_wind(rubber: Rubber = STIFF, noise: float = 0.01, turns: int = 690, offset: float = 0.0) -> StretchedWind:
    """A wind at full stretch by a fine history of its own, with noise of a share of the last torque."""
    draw = random.Random(5)
    body = geometry_of(TH_07)
    now = before_the_wind(body, 1, 0.24, rubber)
    for i in range(1, 101):
        now = advance(body, now, 0.3 + 1.5 * i / 100, 0, 0.06, rubber)
    now = advance(body, now, 1.8, 0, 4, rubber)
    marks, torques = [], []
    for n in range(0, turns + 1, 3):
        now = advance(body, now, 1.8, n, 0.25, rubber)
        marks.append(float(n))
        torques.append(now.torque_Nm + draw.gauss(0, noise * 4e-3) + offset)
    return StretchedWind(TH_07, 1.8, tuple(marks), tuple(torques))


def test_the_torque_scale_comes_out_again() -> None:
    fit = torque_scale_of(stretched_wind())
    assert fit.scale == pytest.approx(1.07, rel=0.005)
    assert 0.005 < fit.rms < 0.03
    assert sum(r for _, r in fit.residuals) / len(fit.residuals) == pytest.approx(0, abs=0.005)
    assert min(n for n, _ in fit.residuals) >= 0.3 * 690


@pytest.mark.parametrize(
    "wind",
    [
        StretchedWind(TH_07, 1.8, (), ()),
        StretchedWind(TH_07, 1.8, (0.0,) * 30, (0.0,) * 30),
        StretchedWind(TH_07, 1.8, (1.0, 2.0), (0.1,)),
        replace(stretched_wind(), torque_Nm=tuple(1e3 for _ in stretched_wind().turns)),
        stretched_wind(turns=150),
        stretched_wind(offset=2e-3),
    ],
)
def test_winds_that_cannot_tell_are_refused_in_a_sentence(wind: StretchedWind) -> None:
    with pytest.raises(FiguresError, match=SENTENCE):
        torque_scale_of(wind)


def test_scales_pool_and_few_winds_are_drawn_towards_the_default() -> None:
    none, one, many = pooled_scale([]), pooled_scale([1.10]), pooled_scale([1.09, 1.10, 1.11, 1.10])
    assert (none.scale, none.sd, none.winds) == (1, 0.05, 0)
    # Batches and motors scatter alike, so one wind counts half.
    assert math.log(one.scale) == pytest.approx(0.5 * math.log(1.10))
    assert 1.08 < many.scale < 1.10
    # Four winds that scatter by 0.74 % against a belief of 5 % that weighs like two.
    assert many.spread == pytest.approx(math.sqrt((2 * 0.05**2 + 3 * 0.0074**2) / 5), rel=0.01)
    assert pooled_scale([1.09, 1.10, 1.11] * 40).scale == pytest.approx(1.10, rel=1e-3)
    assert none.sd > one.sd > many.sd > 0
    assert pooled_scale([1.1] * 3).sd > 0


def test_motors_of_different_size_pool_by_strand_stretch() -> None:
    """The same share of the breaking turns is the same strand stretch, whatever length and density."""
    reached = []
    for loop, mass in ((0.30, 1.32e-3), (0.45, 2.9e-3), (0.20, 0.5e-3)):
        motor = MotorFigures(loop, mass)
        hooks = 0.75 * loop
        plan = make_plan(motor, TEN_TO_ONE, replace(THISTLEDOWN, hooks_m=hooks))
        reached.append(wound_to(motor, hooks, 0.9 * plan.breaking_turns, broke=True))
    assert [w.stretch for w in reached] == pytest.approx([reached[0].stretch] * 3, rel=1e-3)
    assert all(w.broke for w in reached)
    # By the turns law λ ∝ n^(2/3) at the hooks, and the knots' disorder on top.
    assert reached[0].stretch == pytest.approx(9.61 * 0.9 ** (2 / 3), rel=0.025)


def test_a_plan_rests_on_the_batch() -> None:
    weak = Batch("amber", (Wound(9.0, True), Wound(9.1, True), Wound(8.8, False)), (1.06, 1.08, 1.07))
    fit = fitted(weak)
    assert fit.rests_on == (
        "batch 'amber': torque from 3 winds, strength from 2 breaks and 1 survivor, the rest from the default rubber"
    )
    default = make_plan(TH_07, TEN_TO_ONE, THISTLEDOWN)
    plan = make_plan(TH_07, TEN_TO_ONE, THISTLEDOWN, rubber=fit.rubber, rests_on=fit.rests_on)
    assert plan.breaking_turns < 0.97 * default.breaking_turns
    assert plan.rests_on == fit.rests_on
    assert fit.torque.low < fit.torque.value < 1.07 < fit.torque.high
    same_turns = make_plan(
        replace(TH_07, share=default.target_turns / plan.breaking_turns), TEN_TO_ONE, THISTLEDOWN, rubber=fit.rubber
    )
    assert same_turns.peak_torque_Nm / default.peak_torque_Nm == pytest.approx(fit.torque.value, rel=0.01)
    assert fitted(Batch("new")).rubber.break_stretch == pytest.approx(9.61, rel=1e-3)
    assert fitted(Batch("set", set_limit=0.03)).rubber.set_limit == 0.03


def test_the_set_comes_out_again() -> None:
    """Loops measured to a millimetre after four winds of a rubber whose set ends at 6 %."""
    rubber = Rubber(set_limit=0.06)
    loops, so_far = [0.300], 0.0
    for stretch in (8.2, 8.6, 8.9, 8.9):
        so_far = permanent_set(rubber, so_far, stretch)
        loops.append(round(0.300 * (1 + so_far), 3))
    fit = fit_set(loops, (8.2, 8.6, 8.9, 8.9))
    assert fit.limit == pytest.approx(0.06, abs=0.002)
    assert 0 < fit.sd < 0.012
    assert max(map(abs, fit.residuals_m)) < 1e-3


@pytest.mark.parametrize(
    ("loops", "stretches"),
    [([0.3], []), ([0.3, 0.31], []), ([0.3, 0.301], [8.5]), ([0.3, 0.31], [3.0])],
)
def test_a_set_that_cannot_be_told_is_refused(loops: list[float], stretches: list[float]) -> None:
    with pytest.raises(FiguresError, match=r"^[A-Z][^\n]*\.$"):
        fit_set(loops, stretches)


def test_facts_that_cannot_be_are_refused() -> None:
    with pytest.raises(FiguresError, match=SENTENCE):
        fitted(Batch("odd", torque_scales=(9.0,)))
    with pytest.raises(FiguresError, match=SENTENCE):
        wound_to(TH_07, 0.22, 1e5, broke=False)


def test_a_batch_survives_its_file() -> None:
    batch = Batch("amber", (Wound(9.0, True), Wound(8.8, False)), (1.06, 0.98), 0.04)
    assert batch_from_json_dict(json.loads(json.dumps(batch_to_json_dict(batch)))) == batch
    assert batch_from_json_dict({"format": "winding-coach batch", "version": 1, "name": "new", "x": 1}) == Batch("new")


@pytest.mark.parametrize(
    "change",
    [
        {"format": "other"},
        {"version": 3},
        {"learned": {}},
        {"learned": {"properties": dict.fromkeys(NAMES, 0.0), "covariance": []}},
        {"wound": [{"stretch": 9.0, "broke": True, "by_law": {"A": 9.0}}]},
        {"wound": 3},
        {"torque_scales": "1.0"},
        {"wound": [3]},
        {"wound": [{"stretch": 9.0}]},
        {"wound": [{"stretch": None, "broke": True}]},
        {"torque_scales": [math.nan]},
        {"set_limit": True},
    ],
)
def test_files_that_are_no_batch_are_refused(change: dict[str, object]) -> None:
    with pytest.raises(FiguresError, match=r"^[A-Z][^\n]*: [^\n]*\.$"):
        batch_from_json_dict({**batch_to_json_dict(Batch("amber")), **change})
    with pytest.raises(FiguresError, match="no batch file"):
        batch_from_json_dict([])
