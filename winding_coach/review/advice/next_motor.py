"""A fitted law of flight and the motor flown last in; what other motors and launches would do, with uncertainty, out.

Pure. One thing is changed at a time: the loop at one linear density, the density at one loop, or the launch torque.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from winding_coach.review.advice.flight_fit import DURATION_SD, LEFT_SD, FlightFit, launch_of, torque_scale, usable
from winding_coach.review.advice.flown import Flown
from winding_coach.review.advice.rules_of_thumb import GREAT_MANY_LEFT
from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.flight import Floats, Launch, fly, launch_at, unwinding_of
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber
from winding_coach.rubber.motor import BROKEN_IN_FROM_USE

KINDS = ("length", "density", "launch")
LENGTHS = (0.65, 0.70, 0.75, 0.80, 0.85, 0.90, 0.95, 1.05, 1.10, 1.15, 1.20, 1.30)
DENSITIES = (0.80, 0.85, 0.90, 0.925, 0.95, 0.97, 0.985, 1.015, 1.03, 1.05, 1.075, 1.10, 1.15, 1.20, 1.30)
LAUNCHES = (0.80, 0.87, 0.93, 1.0, 1.07, 1.15)
"""What is tried, as factors; the largest steps are as far as a law fitted near one motor is trusted (our own rule)."""
BEYOND_SD = 0.20
"""Error of a predicted change of duration for each unit of the change's logarithm, beside the law's own; assumed."""
OWN_GAIN = 0.01
"""What another density must gain beyond another launch torque alone; our own rule."""
TRY_COSTS = 0.03
"""The flight that tells most may be expected to last so much shorter than the one now; our own rule."""
LEAST_TOLD = 0.05
"""Nats; less is not worth a flight."""
TOO_FAR = 0.04
"""A last flight that is expected to last this much shorter than the best is not gone on from; our own rule."""
FLOWN_SD = 0.04
"""Error of the law itself at a motor that was flown, relative; assumed."""
SAME_RUBBER_FIRST, SAME_RUBBER_FIRST_MANY_LEFT = 0.5, 0.25
"""Another length of the rubber at hand goes first if it gains this share of another density's gain, and where a great
many turns are left, which common practice answers so; the shares are our own rule."""
EIGHTY_PERCENT = (0.1, 0.9)
"""An interval of 80 % lies between these quantiles."""


@dataclass(frozen=True, slots=True)
class Option:
    """One thing that can be changed. kind: same, length, density or launch. factor: of what is changed.

    launch_factor: of the launch torque, which goes with it. gain: expected change of duration (share), low and high:
    its interval of 80 %. left_share, height_m: to be expected. tells: information to be gained by flying it, in nats.
    """

    kind: str
    factor: float
    motor: MotorFigures
    launch_factor: float
    launch_torque_Nm: float
    peak_turns: float
    launch_turns: float
    duration_s: float
    gain: float
    low: float
    high: float
    left_share: float
    height_m: float
    tells: float

    @property
    def careful(self) -> float:
        """What options are chosen by: half-way from the expected gain to the low end, since the best of many guesses
        is a lucky guess, and beyond the edge where height is held little further a flight falls off steeply."""
        return 0.5 * (self.gain + self.low)


def options(
    fit: FlightFit,
    base: Flown,
    flown: Sequence[Flown],
    *,
    rubber: Rubber = DEFAULT_RUBBER,
    launch_free: bool = True,
) -> list[Option]:
    """Return what can be changed about the motor that was flown last, the unchanged one first.

    base: usable. flown: all flights of the fit. launch_free: whether the launch torque may be changed.
    """
    assert base.peak_turns is not None
    assert base.launch_torque_Nm is not None
    assert base.model_kg is not None
    scale = statistics.median(torque_scale(one, rubber) for one in flown if usable(one))
    _, base_breaks = unwinding_of(base.motor, base.hooks_m, base.peak_turns, rubber)
    share = base.peak_turns / base_breaks
    tried = [("same", 1.0, base.motor)]
    tried += [("length", factor, _resized(base.motor, factor, 1.0)) for factor in LENGTHS]
    tried += [("density", factor, _resized(base.motor, 1.0, factor)) for factor in DENSITIES]
    rows: list[tuple[str, float, MotorFigures, float, float, Launch]] = []
    for kind, factor, motor in tried:
        breaks = unwinding_of(motor, base.hooks_m, base_breaks, rubber)[1]
        unwinding, _ = unwinding_of(motor, base.hooks_m, share * breaks, rubber)
        # Length does not change the torque, so the launch stays with it: one thing at a time.
        for launch_factor in LAUNCHES if launch_free and kind != "length" else (1.0,):
            wanted = launch_factor * base.launch_torque_Nm
            if wanted > scale * unwinding.values[-1] and launch_factor != 1.0:
                continue
            launch = launch_at(unwinding, wanted, scale)
            named = "launch" if kind == "same" and launch_factor != 1.0 else kind
            rows.append((named, factor, motor, launch_factor, share * breaks, launch))
    launches = [row[5] for row in rows]
    masses = [base.model_kg + row[2].mass_kg for row in rows]
    laws = np.vstack([np.array([fit.law.as_row()]), fit.draws])
    flights = fly(launches, masses, laws, fit.law.at_mass_kg, fit.ceiling_m)
    at = next(i for i, row in enumerate(rows) if row[0] == "same")
    logs = np.log(np.maximum(flights.duration_s, 1e-3))
    gains = logs - logs[at]
    left = flights.turns_left / np.array([one.turns for one in launches])[:, None]
    tells = _information(logs[:, 1:], left[:, 1:], fit.noise)
    beyond = np.random.default_rng(2).standard_normal(logs.shape[1] - 1)
    made = []
    for i, (kind, factor, motor, launch_factor, peak_turns, launch) in enumerate(rows):
        change = abs(math.log(factor)) + 0.3 * abs(math.log(launch_factor))
        likely = gains[i, 1:] + BEYOND_SD * change * beyond
        mean, low, high = float(np.mean(gains[i, 1:])), *(float(np.quantile(likely, q)) for q in EIGHTY_PERCENT)
        made.append(
            Option(
                kind,
                factor,
                motor,
                launch_factor,
                launch.torque_Nm,
                peak_turns,
                launch.turns,
                float(np.exp(np.mean(logs[i, 1:]))),
                math.expm1(mean),
                math.expm1(min(low, mean)),
                math.expm1(max(high, mean)),
                float(np.mean(left[i, 1:])),
                float(np.mean(flights.height_m[i, 1:])),
                float(tells[i]),
            )
        )
    return sorted(made, key=lambda one: one.kind != "same")


def best_flown(fit: FlightFit, flown: Sequence[Flown], rubber: Rubber = DEFAULT_RUBBER) -> Flown:
    """Return the flight whose motor and launch are expected to last longest if flown again. flown: usable."""
    expected = _expected(fit, flown, rubber)
    return flown[int(np.argmax(expected))]


def base_of(fit: FlightFit, flown: Sequence[Flown], rubber: Rubber = DEFAULT_RUBBER) -> Flown:
    """Return the flight to go on from: the last, or the best where the last was a step too far. flown: usable.

    Fresh motors and broken-in ones are not compared with each other: a loop grows and softens in its first winds.
    """
    flown = [one for one in flown if _stage(one) == _stage(flown[-1])]
    expected = _expected(fit, flown, rubber)
    best, last = flown[int(np.argmax(expected))], flown[-1]
    near = expected[-1] >= max(expected) - TOO_FAR
    return last if near or _alike(last.motor, last.launch_torque_Nm, best) else best


def _stage(flown: Flown) -> int:
    return min(flown.motor.use, BROKEN_IN_FROM_USE)


def _expected(fit: FlightFit, flown: Sequence[Flown], rubber: Rubber) -> list[float]:
    """Return the logarithm of the duration expected of each flight if it were flown again.

    One flight alone may have been luck, so that what it lasted counts together with what the law says.
    """
    launches = [launch_of(one, rubber) for one in flown]
    masses = [one.flying_kg for one in flown]
    law = np.array([fit.law.as_row()])
    logs = np.log(fly(launches, masses, law, fit.law.at_mass_kg, fit.ceiling_m).duration_s[:, 0])
    trust = FLOWN_SD**2 / (FLOWN_SD**2 + (fit.noise * DURATION_SD) ** 2)
    return [float(log + trust * (math.log(one.duration_s or 1.0) - log)) for one, log in zip(flown, logs, strict=True)]


def telling(tried: Sequence[Option], flown: Sequence[Flown]) -> Option | None:
    """Return the flight that tells most among those that cost little and have not been flown, None if none tells much.

    tried: the unchanged motor first.
    """
    fresh = [
        one
        for one in tried
        if one.gain >= -TRY_COSTS and not any(_alike(one.motor, one.launch_torque_Nm, other) for other in flown)
    ]
    most = max(fresh, key=lambda one: one.tells, default=None)
    return most if most is not None and most.tells > LEAST_TOLD else None


def _alike(motor: MotorFigures, launch_Nm: float | None, other: Flown) -> bool:
    """Whether it is the same within what hands cut and people launch."""
    density = (motor.mass_kg - motor.orings_kg) / (motor.strands * motor.loop_m)
    return (
        abs(motor.loop_m / other.motor.loop_m - 1.0) < 0.015
        and abs(density / other.density_kg_per_m - 1.0) < 0.01
        and abs((launch_Nm or 1.0) / (other.launch_torque_Nm or 1.0) - 1.0) < 0.05
    )


def best_changes(tried: Sequence[Option], left_share: float | None = None) -> list[Option]:
    """Return the best other length, the best other density and the best other launch, the one to be done first first.

    left_share: turns left over turns at launch as it is now. Where that is a great many another motor comes before
    another launch, and none longer (unused rubber is ballast: common practice).
    """
    many = left_share is not None and left_share >= GREAT_MANY_LEFT
    best: dict[str, Option] = {}
    alone = max((one.gain for one in tried if one.kind == "launch"), default=0.0)
    for one in tried:
        # What the launch torque gains without a new motor is not put down to the motor.
        if one.kind == "density" and one.launch_factor != 1.0 and one.gain < alone + OWN_GAIN:
            continue
        if many and one.kind == "length" and one.factor > 1.0:
            continue
        if one.kind in KINDS and (one.kind not in best or one.careful > best[one.kind].careful):
            best[one.kind] = one
    found = sorted(best.values(), key=lambda one: (many and one.kind == "launch", -one.careful))
    length = best.get("length")
    share = SAME_RUBBER_FIRST_MANY_LEFT if many else SAME_RUBBER_FIRST
    if length is not None and found[0].kind == "density" and length.gain >= share * found[0].gain:
        found.remove(length)
        found.insert(0, length)
    return found


def _resized(motor: MotorFigures, length: float, density: float) -> MotorFigures:
    rubber_kg = (motor.mass_kg - motor.orings_kg) * length * density
    return replace(motor, loop_m=motor.loop_m * length, mass_kg=rubber_kg + motor.orings_kg, name=None)


def _information(logs: Floats, left: Floats, noise: float) -> Floats:
    """Return what each flight would tell: half the logarithm of the determinant of prediction over noise (nats)."""
    duration_sd, left_sd = noise * DURATION_SD, noise * LEFT_SD
    one, two = logs - logs.mean(axis=1, keepdims=True), left - left.mean(axis=1, keepdims=True)
    n = logs.shape[1] - 1
    a = 1.0 + (one * one).sum(axis=1) / n / duration_sd**2
    b = 1.0 + (two * two).sum(axis=1) / n / left_sd**2
    c = (one * two).sum(axis=1) / n / (duration_sd * left_sd)
    return np.asarray(0.5 * np.log(np.maximum(a * b - c * c, 1.0)))
