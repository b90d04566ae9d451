"""The template of the ripple: what it learns, and what it says of an overdue pulse, on bins with a known truth."""

from __future__ import annotations

import math
from random import Random

import numpy as np
import pytest

from winding_coach.signals.template import HandleTemplate
from winding_coach.signals.tuning import (
    TEMPLATE_KINK_LENGTH,
    TEMPLATE_KINK_PENALTY,
    TEMPLATE_KINK_PER_S,
    TEMPLATE_KINKS,
    TEMPLATE_SLOPE_PER_S,
    TEMPLATE_TURNS,
)

TICK_HZ = 20.0
PERIOD_S = 0.8
LEVEL_NM = 0.006
NOISE = 0.002
RISE_PER_S = 0.015
LAST_PULSE_S = 40 * PERIOD_S


def ripple(turn: float) -> float:
    return (
        0.03 * math.sin(2 * math.pi * turn + 0.4)
        + 0.01 * math.cos(4 * math.pi * turn)
        + 0.004 * math.sin(6 * math.pi * turn + 1.0)
    )


def bins_until(
    until_s: float, stopped_s: float = math.inf, fall: float = 0.0, speed: float = 1.0, seed: int = 1
) -> list[float]:
    """Bins newest first, the newest in the middle at until_s. fall: share of torque lost in 0.4 s after the pulse.

    speed: of the handle after the last pulse, against what it was.
    """
    random = Random(seed)
    out = []
    for i in range(round(until_s * TICK_HZ)):
        t_s = until_s - i / TICK_HZ
        turned_s = min(t_s, stopped_s)
        turned_s += (speed - 1.0) * max(turned_s - LAST_PULSE_S, 0.0)
        level = 1.0 + RISE_PER_S * turned_s - fall * min(max((t_s - LAST_PULSE_S - 0.1) / 0.4, 0.0), 1.0)
        out.append(LEVEL_NM * level * (1.0 + ripple(turned_s / PERIOD_S)) * (1.0 + random.gauss(0.0, NOISE)))
    return out


def learnt(turns: int = 40) -> HandleTemplate:
    template = HandleTemplate(TICK_HZ)
    for turn in range(1, turns + 1):
        pulse_s = turn * PERIOD_S
        template.learn(bins_until(pulse_s + 0.02, seed=turn), pulse_s + 0.02, pulse_s, PERIOD_S)
    return template


def says(since: float, stopped: float = math.inf, fall: float = 0.0, speed: float = 1.0, noise_seed: int = 99) -> float:
    """What the template says `since` turns after the last pulse, the handle stopped after `stopped` turns or not."""
    until_s = LAST_PULSE_S + since * PERIOD_S
    bins = bins_until(until_s, LAST_PULSE_S + stopped * PERIOD_S, fall, speed, noise_seed)
    found = learnt().standing(bins, until_s, LAST_PULSE_S, PERIOD_S, RISE_PER_S * LEVEL_NM)
    assert found is not None
    return found


def test_the_ripple_is_learnt_and_what_is_left_is_the_noise() -> None:
    template = learnt()
    at = np.linspace(0.0, 1.0, 24, endpoint=False)
    assert template.ripple(at) == pytest.approx(np.array([ripple(turn) for turn in at.tolist()]), abs=0.003)
    assert template.spread == pytest.approx(NOISE, rel=0.35)
    template.reset()
    assert template.spread == 0.0
    assert not template.ripple(at).any()


@pytest.mark.parametrize("stopped", [0.1, 0.3, 0.5, 0.7, 0.9])
def test_a_handle_that_stopped_is_told_from_a_lost_pulse(stopped: float) -> None:
    assert says(1.4, stopped) > 6.0
    assert says(1.4) < -6.0


def test_the_longer_the_surer() -> None:
    standing = [says(since, 0.5) for since in (0.8, 1.1, 1.4)]
    assert standing == sorted(standing)
    going_on = [says(since) for since in (1.05, 1.3, 1.6)]
    assert going_on == sorted(going_on, reverse=True)


@pytest.mark.parametrize("speed", [0.85, 0.95, 1.08])
def test_a_handle_that_changed_its_speed_turns_all_the_same(speed: float) -> None:
    assert says(1.3, speed=speed) < 0.0


@pytest.mark.parametrize("seed", range(3))
def test_a_step_in_hides_neither_the_turning_nor_the_standing(seed: int) -> None:
    assert says(1.4, fall=0.04, noise_seed=seed) < 0.0
    assert says(1.4, 0.3, fall=0.04, noise_seed=seed) > 0.0


def test_a_turn_with_a_slip_hardly_moves_a_template_that_is_learnt() -> None:
    template = learnt()
    before = template.ripple(np.linspace(0.0, 1.0, 24))
    bins = bins_until(LAST_PULSE_S + PERIOD_S + 0.02)
    bins[5:9] = [1.2 * torque for torque in bins[5:9]]
    template.learn(bins, LAST_PULSE_S + PERIOD_S + 0.02, LAST_PULSE_S + PERIOD_S, PERIOD_S)
    assert template.ripple(np.linspace(0.0, 1.0, 24)) == pytest.approx(before, abs=0.001)


def test_nothing_is_said_before_enough_turns_or_without_torque() -> None:
    until_s = LAST_PULSE_S + PERIOD_S
    few = learnt(TEMPLATE_TURNS - 2)
    assert few.standing(bins_until(until_s), until_s, LAST_PULSE_S, PERIOD_S, 0.0) is None
    assert learnt().standing([-torque for torque in bins_until(until_s)], until_s, LAST_PULSE_S, PERIOD_S, 0.0) is None
    assert learnt().standing(bins_until(until_s)[:5], until_s, LAST_PULSE_S, PERIOD_S, 0.0) is None


@pytest.mark.parametrize(("sign", "period_s"), [(-1.0, PERIOD_S), (1.0, 0.15)])
def test_nothing_is_learnt_without_torque_or_from_a_turn_of_a_few_bins(sign: float, period_s: float) -> None:
    template = HandleTemplate(TICK_HZ)
    template.learn([sign * torque for torque in bins_until(8.0)], 8.0, 7.99, period_s)
    assert template.turns == 0


def test_what_is_left_is_that_of_numpys_least_squares() -> None:
    """The fit's lean on a slope is a row of the design: ridge regression as least squares on augmented rows
    (Hastie, Tibshirani & Friedman 2009, The Elements of Statistical Learning, exercise 3.12).
    """
    random = np.random.default_rng(4)
    n, left2, rate = 22, 4e-6, 0.02
    turn = 1.2 - np.arange(n) / TICK_HZ / PERIOD_S
    shape = 1.0 + 0.03 * np.sin(2 * math.pi * turn)
    shares = shape * (1.0 + 0.01 * turn) + random.normal(0.0, 0.002, n)
    left = HandleTemplate(TICK_HZ)._least_left(shares, turn, shape[None], turn[None], left2, PERIOD_S, rate)
    kinks = [None, *TEMPLATE_KINKS]
    for found, kink in zip(left[0].tolist(), kinks, strict=True):
        bend = np.zeros(n) if kink is None else np.clip(turn - kink, 0.0, TEMPLATE_KINK_LENGTH)
        lean = [
            math.sqrt(left2) / (1e5 if per_s is None else per_s * PERIOD_S)
            for per_s in (None, TEMPLATE_SLOPE_PER_S, TEMPLATE_KINK_PER_S)
        ]
        design = np.vstack([np.stack([shape, shape * turn, shape * bend], axis=1), np.diag(lean)])
        wanted = np.concatenate([shares, [0.0, lean[1] * rate * PERIOD_S, 0.0]])
        fitted = np.linalg.lstsq(design, wanted, rcond=None)[0]
        squares = float(np.sum((wanted - design @ fitted) ** 2)) / left2
        assert found == pytest.approx(squares + (0.0 if kink is None else TEMPLATE_KINK_PENALTY), rel=1e-4)
