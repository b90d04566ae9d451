"""The crank's frequency from ripple alone; its energies against numpy's least squares."""

import math

import numpy as np
import pytest

from winding_coach.signals.pitch import F_USE, Floats, PitchSearch, energies


def window(hz: float, first: float, second: float, noise: float, seed: int, tick_hz: float = 20.0) -> Floats:
    random = np.random.default_rng(seed)
    n = round(2.5 * tick_hz)
    at_s = -np.arange(n) / tick_hz
    phase = random.uniform(0, 6.28, 2)
    wave = first * np.sin(2 * math.pi * hz * at_s + phase[0]) + second * np.sin(4 * math.pi * hz * at_s + phase[1])
    return np.asarray(0.006 * (1.0 + 0.03 * at_s + wave + random.normal(0, noise, n)))


@pytest.mark.parametrize("hz", [0.7, 0.9, 1.25, 1.9, 2.9])
def test_finds_the_frequency(hz: float) -> None:
    found = PitchSearch(20.0, 2).update(window(hz, 0.03, 0.015, 0.003, seed=1))
    assert found is not None
    assert found.hz == pytest.approx(hz, rel=0.03)
    assert found.f_ratio > F_USE
    assert found.amplitude == pytest.approx(math.hypot(0.03, 0.015) / math.sqrt(2), rel=0.2)


def test_one_harmonic_at_ten_lines_a_second() -> None:
    found = PitchSearch(10.0, 1).update(window(1.25, 0.03, 0.0, 0.003, seed=2, tick_hz=10.0))
    assert found is not None
    assert found.hz == pytest.approx(1.25, rel=0.03)


def test_noise_alone_is_not_used() -> None:
    # Of the best of 36 frequencies in white noise; the rate of passing was counted, not assumed
    passed = 0
    for seed in range(200):
        found = PitchSearch(20.0, 2).update(window(1.0, 0.0, 0.0, 0.01, seed))
        passed += found is not None and found.f_ratio > F_USE
    assert passed <= 4


def test_a_second_harmonic_that_dominates_is_not_taken_for_the_crank() -> None:
    right = 0
    for seed in range(20):
        found = PitchSearch(20.0, 2).update(window(1.1, 0.03, 0.04, 0.002, seed))
        right += found is not None and abs(found.hz / 1.1 - 1) < 0.05
    assert right >= 18


def test_the_frequency_before_steadies_the_search() -> None:
    search = PitchSearch(20.0, 2)
    for seed in range(5):
        search.update(window(1.3, 0.03, 0.01, 0.003, seed))
    found = search.update(window(1.3, 0.006, 0.002, 0.004, 9))
    assert found is not None
    assert found.hz == pytest.approx(1.3, rel=0.05)
    search.reset()


def test_bins_that_do_not_vary_have_no_pitch() -> None:
    assert PitchSearch(20.0, 2).update(np.full(50, 0.006)) is None


def test_energies_are_those_of_least_squares() -> None:
    bins = window(1.4, 0.02, 0.02, 0.01, 3)
    energy, total = energies(bins[None, :], 20.0, 2)
    at_s = -(np.arange(50) + 0.5) / 20.0
    share = bins / bins.mean()
    curve = np.stack([np.ones(50), at_s, at_s**2], axis=1)
    # numpy.linalg.lstsq
    without = float(np.linalg.lstsq(curve, share, rcond=None)[1][0])
    hz = 0.6
    waves = [f(2 * math.pi * k * hz * at_s) for k in (1, 2) for f in (np.cos, np.sin)]
    with_it = float(np.linalg.lstsq(np.column_stack([curve, *waves]), share, rcond=None)[1][0])
    assert total[0] == pytest.approx(without)
    assert energy[0, 0].sum() == pytest.approx(without - with_it)
