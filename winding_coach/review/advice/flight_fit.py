"""Flights of one person with one model in, the law of that model's flight with its uncertainty out. Pure.

Least squares with a belief beforehand (Bayes, normal in the logarithms): few flights move it little, many outweigh it.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from winding_coach.review.advice.flown import Flown
from winding_coach.rubber.flight import FlightLaw, Floats, Launch, fly, launch_at, unwinding_of
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber

ENOUGH = 2
"""Flights with duration and turns left from which the fit speaks instead of the rules of thumb; our own rule, tried in
`tests.bench.advice`: with 3 the motor after three flights was a little worse."""
DURATION_SD, LEFT_SD, HEIGHT_SD = 0.05, 0.04, 0.2
"""Spread of flights about the law: of durations and heights relative, of turns left as a share; assumed (air, trim)."""
NOISE_BELIEVED_LIKE = 4.0
"""The belief in that spread weighs like so many flights; assumed."""
HOLD_SHARE = 0.45
"""Torque that holds height over launch torque, before any flight tells; assumed, and held loosely."""
MASS_EXPONENT, RATE_EXPONENT, CLIMB_SHARE = 1.05, 0.5, 0.5
PRIOR_SD = (0.5, 0.7, 0.12, 0.15, 0.4)
"""Of the logarithms of hold torque, rate and (last) climb share, and of mass and rate exponent; assumed."""
LAW_SD = (0.04, 0.03, 0.05, 0.05, 0.2)
"""What the power laws leave out of a real rotor, in the same figures: it stays however many flights there are; settled
on simulated models (`tests.bench.advice`, seed 1)."""
HALL_M = 8.0
"""Height of a hall where flights do not tell; assumed."""
SCALES = (0.7, 1.4)
"""A motor's torque over the law's is believed within these."""
ROUNDS = 25
DRAWS = 96
_LOG = np.array([True, True, False, False, True])


@dataclass(frozen=True, slots=True)
class FlightFit:
    """What flights tell of a model. law: the likeliest. draws: laws as likely as it, rows as `FlightLaw.as_row`.

    noise: how many times the assumed spread the flights scatter. flights: how many were used. hold_sd, rate_sd:
    relative, mass_exponent_sd: absolute, the law's own error included. ceiling_m: of the hall.
    """

    law: FlightLaw
    draws: Floats
    covariance: Floats
    noise: float
    flights: int
    hold_sd: float
    rate_sd: float
    mass_exponent_sd: float
    rate_exponent_sd: float
    ceiling_m: float


def usable(flown: Flown) -> bool:
    """Whether a flight can be fitted: its duration, the model's mass and the launch are known."""
    known = (flown.duration_s, flown.model_kg, flown.peak_turns, flown.launch_torque_Nm)
    return all(one is not None and one > 0.0 for one in known)


def torque_scale(flown: Flown, rubber: Rubber = DEFAULT_RUBBER) -> float:
    """Return how much stiffer this motor was than its figures say, by its torque at the peak."""
    if flown.peak_torque_Nm is None or flown.peak_turns is None:
        return 1.0
    unwinding, _ = unwinding_of(flown.motor, flown.hooks_m, flown.peak_turns, rubber)
    # The table begins after the pause at the peak; one part in twenty is lost in it.
    return min(max(flown.peak_torque_Nm / unwinding.values[-1], SCALES[0]), SCALES[1])


def launch_of(flown: Flown, rubber: Rubber = DEFAULT_RUBBER) -> Launch:
    """Return the motor of a usable flight as it left the hand."""
    assert flown.peak_turns is not None
    assert flown.launch_torque_Nm is not None
    unwinding, _ = unwinding_of(flown.motor, flown.hooks_m, flown.peak_turns, rubber)
    return launch_at(unwinding, flown.launch_torque_Nm, torque_scale(flown, rubber))


def ceiling_of(flown: Sequence[Flown]) -> float:
    """Return the height of the hall that the flights tell of: the median height of those that touched its ceiling.

    A height that was logged for the hall comes first (the last one). Where nothing says, it is a usual hall's, or what
    has been reached if that is more.
    """
    known = [one.ceiling_m for one in flown if one.ceiling_m is not None]
    if known:
        return known[-1]
    touched = [one.height_m for one in flown if one.ceiling and one.height_m is not None]
    if touched:
        return statistics.median(touched)
    return max([HALL_M, *(one.height_m for one in flown if one.height_m is not None)])


def fit_flights(
    flown: Sequence[Flown], *, ceiling_m: float | None = None, rubber: Rubber = DEFAULT_RUBBER, seed: int = 1
) -> FlightFit:
    """Return the law of flight that fits the usable ones of these flights best, at least one being usable.

    ceiling_m: of the hall, None: what the flights tell. seed: of the draws. Some milliseconds a dozen flights.
    """
    used = [one for one in flown if usable(one)]
    launches = [launch_of(one, rubber) for one in used]
    masses = [one.flying_kg for one in used]
    at_mass = statistics.median(masses)
    ceiling = ceiling_of(flown) if ceiling_m is None else ceiling_m
    prior = _prior(used, launches, at_mass)
    best, chi = prior, math.inf
    jacobian = np.zeros((1, len(prior)))
    for shift in (0.0, -0.35, 0.35):
        start = prior + np.array([shift, 0.0, 0.0, 0.0, 0.0])
        found, found_chi, found_jacobian = _descend(start, prior, used, launches, masses, at_mass, ceiling)
        if found_chi < chi:
            best, chi, jacobian = found, found_chi, found_jacobian
    misfits = _misfits(best[None, :], used, launches, masses, at_mass, ceiling)[0]
    noise = math.sqrt((float(misfits @ misfits) + NOISE_BELIEVED_LIKE) / (len(misfits) + NOISE_BELIEVED_LIKE))
    noise = max(noise, 0.5)
    belief = np.diag(1.0 / np.square(PRIOR_SD))
    covariance = np.linalg.inv(jacobian.T @ jacobian / noise**2 + belief)
    rng = np.random.default_rng(seed)
    wide = covariance + np.diag(np.square(LAW_SD))
    draws: Floats = np.asarray(rng.multivariate_normal(best, wide, DRAWS), dtype=np.float64)
    draws[:, 3] = np.clip(draws[:, 3], 0.1, 1.5)
    sd = np.sqrt(np.diag(wide))
    row = _laws(best[None, :])[0]
    law = FlightLaw(float(row[0]), at_mass, float(row[1]), float(row[2]), float(row[3]), float(row[4]))
    return FlightFit(
        law,
        _laws(draws),
        np.asarray(covariance, dtype=np.float64),
        noise,
        len(used),
        float(sd[0]),
        float(sd[1]),
        float(sd[2]),
        float(sd[3]),
        ceiling,
    )


def _laws(at: Floats) -> Floats:
    """Return figures of laws from what is fitted: the logarithms of some."""
    return np.asarray(np.where(_LOG, np.exp(np.where(_LOG, at, 0.0)), at), dtype=np.float64)


def _prior(used: Sequence[Flown], launches: Sequence[Launch], at_mass: float) -> Floats:
    """What is believed before the flights speak, from their launch torques and durations alone."""
    hold = HOLD_SHARE * statistics.median(one.torque_Nm for one in launches)
    rates = [
        (launch.turns - (one.turns_left or 0.0)) / (one.duration_s or 1.0)
        for one, launch in zip(used, launches, strict=True)
    ]
    rate = max(statistics.median(rates), 0.1)
    return np.array([math.log(hold), math.log(rate), MASS_EXPONENT, RATE_EXPONENT, math.log(CLIMB_SHARE)])


def _misfits(
    at: Floats,
    used: Sequence[Flown],
    launches: Sequence[Launch],
    masses: Sequence[float],
    at_mass: float,
    ceiling: float,
) -> Floats:
    """Return, for each row of `at`, how many standard deviations each figure of each flight lies off."""
    flights = fly(launches, masses, _laws(at), at_mass, ceiling)
    rows = []
    for i, (one, launch) in enumerate(zip(used, launches, strict=True)):
        rows.append((np.log(flights.duration_s[i]) - math.log(one.duration_s or 1.0)) / DURATION_SD)
        if one.left_share is not None:
            rows.append((flights.turns_left[i] / launch.turns - one.left_share) / LEFT_SD)
        if one.height_m is not None and one.height_m > 0.0 and not one.ceiling:
            rows.append(np.log(flights.height_m[i] / one.height_m) / HEIGHT_SD)
    # A wild flight (a touched wall, a draught) must not bend the law: beyond two it counts as its root (Huber).
    misfits = np.array(rows).T
    far = np.abs(misfits) > 2.0
    return np.where(far, np.sign(misfits) * np.sqrt(np.maximum(4.0 * np.abs(misfits) - 4.0, 0.0)), misfits)


def _descend(
    start: Floats,
    prior: Floats,
    used: Sequence[Flown],
    launches: Sequence[Launch],
    masses: Sequence[float],
    at_mass: float,
    ceiling: float,
) -> tuple[Floats, float, Floats]:
    """Levenberg-Marquardt; return where it ends, the sum of squares and the slopes there."""
    sd = np.array(PRIOR_SD)
    steps = np.array([0.01, 0.01, 0.02, 0.02, 0.03])
    at, damping = start, 1e-2

    def squares(misfits: Floats, where: Floats) -> float:
        believed = (where - prior) / sd
        return float(misfits @ misfits + believed @ believed)

    chi = math.inf
    jacobian = np.zeros((1, len(at)))
    for _ in range(ROUNDS):
        tries = np.vstack([at, at + np.diag(steps), at - np.diag(steps)])
        all_misfits = _misfits(tries, used, launches, masses, at_mass, ceiling)
        misfits = all_misfits[0]
        chi = squares(misfits, at)
        n = len(at)
        jacobian = ((all_misfits[1 : n + 1] - all_misfits[n + 1 :]) / (2.0 * steps[:, None])).T
        normal = jacobian.T @ jacobian + np.diag(1.0 / sd**2)
        slope = jacobian.T @ misfits + (at - prior) / sd**2
        # Several dampings are tried at once: one call flies them all.
        dampings = damping * np.array([0.1, 1.0, 10.0, 100.0, 1000.0])
        moved = np.array([at - np.linalg.solve(normal + d * np.diag(np.diag(normal)), slope) for d in dampings])
        moved[:, 3] = np.clip(moved[:, 3], 0.1, 1.5)
        chis = [
            squares(m, w) for m, w in zip(_misfits(moved, used, launches, masses, at_mass, ceiling), moved, strict=True)
        ]
        i = int(np.argmin(chis))
        if chis[i] >= chi - 1e-4:
            break
        at, damping, chi = moved[i], max(float(dampings[i]), 1e-6), chis[i]
    return at, chi, jacobian
