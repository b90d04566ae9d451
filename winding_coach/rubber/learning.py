"""Logged winds in, the person's own rubber out: each property with its uncertainty, and what the winds cannot tell.

The law runs along what was done, and its parameters are moved until its torque is the measured one (Gauss and Newton,
with the curvature at the end as uncertainty: Laplace's approximation). Errors of the law itself are correlated along a
wind; they, the scale of each motor and the zero of each wind are carried in the covariance of the residuals, so that
many samples of one wind do not make a parameter surer than one wind can. Batches of a person shrink to the person's
mean, and that to the general law. Pure.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.history import History, advance
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber
from winding_coach.rubber.learned import PROPERTIES, Learned, WindMarks, rubber_at
from winding_coach.rubber.motor import HOOKS_SHARE, before_the_wind, geometry_of

Array = npt.NDArray[np.float64]
Sizes = tuple[float, float]


MOTOR_SCALE_SD = 0.03
"""Torque of motors of one batch differs by so much, weighing and measuring included; assumed."""
ZERO_SD = 0.004
"""Error of a wind's zero over its highest torque; assumed."""
CORRELATED_OVER = 0.12
"""The law's own error is correlated along a wind over this share of the way; assumed."""
MISFITS = ((0.004, 0.008, 0.015, 0.03, 0.06), (0.02, 0.04, 0.08, 0.16))
"""Sizes of that error that are tried, relative, while turns go on and while they come off; each counts as the winds
speak for it."""
UNKNOWN_MISFIT = (0.02, 0.13)
"""The same where no wind was logged, and for turns coming off where no wind was unwound to the half; assumed."""
STANDING = 0.002
"""A stop counts as so much of the way for each decade of its seconds; assumed."""
COUNT_SHARE = 0.5
"""Standard deviation of the turns after the crank turned back, over what one count is worth: where between two counts
it turned is not known, and torque is read a little late; assumed."""
NOISE = 0.004
"""Independent error of a sample over the highest torque: ripple that was averaged, noise; assumed."""
LEAST_MARKS = 20
STEPS = 6
TOLD_BELOW = 0.8
"""A property is told when its uncertainty is below this share of what was believed beforehand."""
SURER = 1.35
"""Winds count for so much more, and the law's own error for so much less: without it intervals of 90 % held 95 % of
what was asked of rubbers outside the law (simulated, `tests/bench/learning.py`, seeds of tuning)."""
MOST_OFF = 1.3
"""Torque of a wind over the fitted law's beyond which something else is wrong."""
STEP = 0.02
"""Step of the numerical derivative, in logarithms."""


def torques_along(wind: WindMarks, rubber: Rubber) -> list[float]:
    """Return the law's torque at each mark that has one to compare with.

    Raises:
        FiguresError: figures that no motor can have.
    """
    body = geometry_of(wind.motor, rubber)
    hooks_m = wind.hooks_m if wind.hooks_m is not None else HOOKS_SHARE * body.loop_m
    now: History = before_the_wind(body, wind.motor.use, hooks_m, rubber)
    found = []
    for mark in wind.marks:
        now = advance(body, now, mark.distance_m, mark.turns, mark.dt_s, rubber)
        if mark.torque_Nm is not None:
            found.append(now.torque_Nm)
    return found


@dataclass(frozen=True, slots=True)
class _Along:
    """Where the compared marks of a wind lie. place: along the way. off: weight of the error while turns come off.

    That weight grows with the share of the turns that is off, from a half to two (assumed).
    """

    place: Array
    off: Array

    def errors(self, misfit: Sizes) -> Array:
        """Return the covariance of the law's own relative errors at these marks."""
        near = np.exp(-np.abs(self.place[:, None] - self.place[None, :]) / CORRELATED_OVER)
        on_too = misfit[0] ** 2 * near
        return np.asarray(on_too + misfit[1] ** 2 * near * np.outer(self.off, self.off))


@dataclass(frozen=True, slots=True)
class _Seen:
    """A wind in arrays."""

    wind: WindMarks
    torque: Array
    along: _Along
    top: float


def _along(wind: WindMarks) -> _Along:
    """Turns gone either way, over the most there were, and standing still as far as it counts."""
    most = max((abs(mark.turns) for mark in wind.marks), default=1.0) or 1.0
    way = before = top = stood_s = 0.0
    places, off = [], []
    for mark in wind.marks:
        moved = abs(mark.turns - before) / most
        if moved > 1e-3:
            way += moved + STANDING * math.log10(1.0 + stood_s)
            stood_s = 0.0
        else:
            stood_s += mark.dt_s
        before, top = mark.turns, max(top, abs(mark.turns))
        if mark.torque_Nm is not None:
            places.append(way + STANDING * math.log10(1.0 + stood_s))
            off_share = 1.0 - abs(mark.turns) / top if top else 0.0
            off.append(min(0.5 + 2.5 * off_share, 2.0) if off_share > 0.005 else 0.0)
    return _Along(np.array(places), np.array(off))


def _seen(wind: WindMarks) -> _Seen:
    torque = np.array([mark.torque_Nm for mark in wind.marks if mark.torque_Nm is not None])
    if len(torque) < LEAST_MARKS:
        raise FiguresError(
            f"{len(torque)} places of this wind have torque, turns and distance: {LEAST_MARKS} are needed to learn."
        )
    return _Seen(wind, torque, _along(wind), float(torque.max()))


def learn(winds: Sequence[WindMarks], base: Rubber = DEFAULT_RUBBER) -> Learned:
    """Return what winds of one batch tell of its rubber, each property believed to be the general law's beforehand.

    Costs some 0.1 s a wind.

    Raises:
        FiguresError: no winds, too few marks, or torques that are nowhere near the law's.
    """
    if not winds:
        raise FiguresError("No wind of this batch can be learned from: log one with its turns counted.")
    seen = [_seen(wind) for wind in winds]
    prior = np.diag([1.0 / one.sd**2 for one in PROPERTIES])
    logs = np.zeros(len(PROPERTIES))
    for _ in range(STEPS):
        looks = [_look(one, logs, base) for one in seen]
        misfit = _likeliest(looks, seen, logs, prior)
        precision, pull = _normal(looks, seen, misfit)
        wanted = np.linalg.solve(precision + prior, pull + precision @ logs)
        moved = np.clip(wanted - logs, -0.7, 0.7)
        logs = logs + moved
        if float(np.abs(moved).max()) < 2e-3:
            break
    looks = [_look(one, logs, base) for one in seen]
    off = [float(np.median(one.torque / np.maximum(look.torque, 1e-9))) for one, look in zip(seen, looks, strict=True)]
    if not all(1.0 / MOST_OFF < one < MOST_OFF for one in off):
        raise FiguresError("These torques are nowhere near the law: check calibration, motor, zero and counted turns.")
    mean, covariance, misfit = _mixed(looks, seen, logs, prior)
    told = tuple(one.name for i, one in enumerate(PROPERTIES) if math.sqrt(covariance[i, i]) < TOLD_BELOW * one.sd)
    if not any(_unwound(wind) for wind in winds):
        misfit = (misfit[0], max(misfit[1], UNKNOWN_MISFIT[1]))
    return Learned(_tuple(mean), tuple(_tuple(row) for row in covariance), misfit, len(winds), told)


def learnable(wind: WindMarks) -> bool:
    """Whether a wind has enough places with torque, turns and distance to learn from."""
    return sum(mark.torque_Nm is not None for mark in wind.marks) >= LEAST_MARKS


def _unwound(wind: WindMarks) -> bool:
    """Whether half of the turns were seen to come off."""
    top = 0.0
    for mark in wind.marks:
        top = max(top, abs(mark.turns))
        if mark.torque_Nm is not None and abs(mark.turns) < 0.5 * top:
            return True
    return False


@dataclass(frozen=True, slots=True)
class _Look:
    """The law at one guess. slopes: derivatives by each logarithm. late: what a miscounted turn back does."""

    torque: Array
    slopes: Array
    late: Array


def _look(seen: _Seen, logs: Array, base: Rubber) -> _Look:
    """Return the law along a wind."""
    here = np.array(torques_along(seen.wind, rubber_at(_tuple(logs), base)))
    slopes = np.empty((len(here), len(logs)))
    for i in range(len(logs)):
        moved = logs.copy()
        moved[i] += STEP
        slopes[:, i] = (np.array(torques_along(seen.wind, rubber_at(_tuple(moved), base))) - here) / STEP
    late = np.zeros_like(here)
    if seen.wind.count_turns:
        shifted = torques_along(_counted_late(seen.wind, 1.0), rubber_at(_tuple(logs), base))
        late = (np.array(shifted) - here) * COUNT_SHARE * seen.wind.count_turns
    return _Look(here, slopes, late)


def _counted_late(wind: WindMarks, turns: float) -> WindMarks:
    """Return the wind with so many turns more in the motor wherever turns come off."""
    top, marks = 0.0, []
    for mark in wind.marks:
        top = max(top, mark.turns)
        marks.append(replace(mark, turns=mark.turns + turns) if mark.turns < top else mark)
    return replace(wind, marks=tuple(marks))


def _covariance(seen: _Seen, look: _Look, misfit: Sizes) -> Array:
    """Return the covariance of what is left of torque when the law was right but for its own error."""
    law = look.torque
    level = np.maximum(np.abs(law), 0.05 * seen.top)
    found = np.outer(level, level) * seen.along.errors(misfit) + MOTOR_SCALE_SD**2 * np.outer(law, law)
    found += (ZERO_SD * seen.top) ** 2 + np.outer(look.late, look.late)
    found[np.diag_indices_from(found)] += (NOISE * seen.top) ** 2
    return np.asarray(found)


Looks = Sequence[_Look]


def _normal(looks: Looks, seen: Sequence[_Seen], misfit: Sizes) -> tuple[Array, Array]:
    """Return precision and pull of the winds."""
    size = len(PROPERTIES)
    precision, pull = np.zeros((size, size)), np.zeros(size)
    for look, one in zip(looks, seen, strict=True):
        slopes = look.slopes
        weighed = np.linalg.solve(_covariance(one, look, misfit), np.column_stack([slopes, one.torque - look.torque]))
        precision += slopes.T @ weighed[:, :size]
        pull += slopes.T @ weighed[:, size]
    return precision, pull


def _evidence(looks: Looks, seen: Sequence[_Seen], logs: Array, prior: Array, misfit: Sizes) -> float:
    """Return the logarithm of how well sizes of the law's own error explain the winds (Laplace)."""
    total = 0.0
    precision, pull = _normal(looks, seen, misfit)
    for look, one in zip(looks, seen, strict=True):
        covariance = _covariance(one, look, misfit)
        left = one.torque - look.torque
        total -= 0.5 * float(left @ np.linalg.solve(covariance, left)) + 0.5 * float(np.linalg.slogdet(covariance)[1])
    both = precision + prior
    step = np.linalg.solve(both, pull - prior @ logs)
    total += 0.5 * float(step @ both @ step) - 0.5 * float(logs @ prior @ logs)
    return total - 0.5 * float(np.linalg.slogdet(both)[1])


def _weights(looks: Looks, seen: Sequence[_Seen], logs: Array, prior: Array) -> list[tuple[Sizes, float]]:
    """Return the sizes of the law's own error that count, each with its weight."""
    sizes = [(on, off) for on in MISFITS[0] for off in MISFITS[1]]
    evidence = [_evidence(looks, seen, logs, prior, one) for one in sizes]
    weights = [math.exp(one - max(evidence)) for one in evidence]
    counting = [(size, weight) for size, weight in zip(sizes, weights, strict=True) if weight > 1e-3]
    total = sum(weight for _, weight in counting)
    return [(size, weight / total) for size, weight in counting]


def _likeliest(looks: Looks, seen: Sequence[_Seen], logs: Array, prior: Array) -> Sizes:
    return max(_weights(looks, seen, logs, prior), key=lambda one: one[1])[0]


def _mixed(looks: Looks, seen: Sequence[_Seen], logs: Array, prior: Array) -> tuple[Array, Array, Sizes]:
    """Return mean and covariance over all sizes of the law's own error, and those sizes' root mean square."""
    weighed = _weights(looks, seen, logs, prior)
    weights = [weight for _, weight in weighed]
    means, covariances = [], []
    for size, _ in weighed:
        precision, pull = (SURER * one for one in _normal(looks, seen, size))
        covariances.append(np.linalg.inv(precision + prior))
        means.append(np.linalg.solve(precision + prior, pull + precision @ logs))
    mean = np.average(means, axis=0, weights=weights)
    covariance = np.average(covariances, axis=0, weights=weights)
    for one, weight in zip(means, weights, strict=True):
        covariance = covariance + weight * np.outer(one - mean, one - mean)
    on, off = (math.sqrt(sum(weight * size[i] ** 2 for size, weight in weighed) / SURER) for i in (0, 1))
    return mean, covariance, (on, off)


def shrunk(own: Learned | None, others: Sequence[Learned]) -> Learned:
    """Return what is believed of a batch when the person's other batches are known too.

    Each batch's winds are taken out of its own belief, the person's mean is formed of them, and the batch is believed
    to lie about it. own: None for a batch of which no wind was logged.
    """
    general = np.diag([one.sd**2 for one in PROPERTIES])
    person = np.diag([one.person_sd**2 for one in PROPERTIES])
    batch = np.diag([one.batch_sd**2 for one in PROPERTIES])
    precision, pull = np.linalg.inv(person), np.zeros(len(PROPERTIES))
    for other in others:
        # What its winds alone say has precision Λ; seen from the person's mean it is blurred by the batch's spread.
        said, weight = _winds_alone(other, general)
        blurred = np.linalg.inv(np.eye(len(said)) + weight @ batch) @ weight
        precision = precision + blurred
        pull = pull + blurred @ said
    mean, covariance = np.linalg.solve(precision, pull), np.linalg.inv(precision) + batch
    told: tuple[str, ...] = ()
    misfit, winds = UNKNOWN_MISFIT, 0
    if own is not None:
        said, weight = _winds_alone(own, general)
        before = np.linalg.inv(covariance)
        mean = np.linalg.solve(before + weight, before @ mean + weight @ said)
        covariance = np.linalg.inv(before + weight)
        told, misfit, winds = own.told, own.misfit, own.winds
    return Learned(_tuple(mean), tuple(_tuple(row) for row in covariance), misfit, winds, told)


def _winds_alone(learned: Learned, general: Array) -> tuple[Array, Array]:
    """Return mean and precision of what winds say without the general belief; the mean is 0 where they say nothing."""
    posterior = np.linalg.inv(np.array(learned.covariance))
    weight = posterior - np.linalg.inv(general)
    # Rounding must not make a precision negative.
    values, vectors = np.linalg.eigh(0.5 * (weight + weight.T))
    weight = (vectors * np.maximum(values, 1e-9)) @ vectors.T
    return np.linalg.solve(weight, posterior @ np.array(learned.mean)), weight


def _tuple(values: npt.NDArray[np.floating[Any]]) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def forecast(
    learned: Learned,
    winds: Sequence[WindMarks],
    asked: Callable[[Sequence[float]], Sequence[float]],
    base: Rubber = DEFAULT_RUBBER,
) -> list[tuple[float, float, float]]:
    """Return what is asked of planned winds' torques, each with its interval of 90 %.

    asked: from the torques at all marks with a torque (its value is not used), in order, to what is wanted. The law's
    own error is carried, the same for winds at the same place; the scale of one motor is not: the batch is asked.
    """
    logs = np.array(learned.mean)

    def torques(at: Array) -> list[float]:
        rubber = rubber_at(_tuple(at), base)
        return [torque for wind in winds for torque in torques_along(wind, rubber)]

    def wanted(of: list[float]) -> Array:
        return np.array(list(asked(of)), dtype=np.float64)

    here = torques(logs)
    value = wanted(here)
    slopes = np.empty((len(value), len(logs)))
    for i in range(len(logs)):
        moved = logs.copy()
        moved[i] += STEP
        slopes[:, i] = (wanted(torques(moved)) - value) / STEP
    by_torque = np.empty((len(value), len(here)))
    for i in range(len(here)):
        one = list(here)
        one[i] *= 1.0 + 1e-4
        by_torque[:, i] = (wanted(one) - value) / 1e-4
    along = [_along(wind) for wind in winds]
    errors = _Along(np.concatenate([one.place for one in along]), np.concatenate([one.off for one in along])).errors(
        learned.misfit
    )
    variance = np.einsum("ij,jk,ik->i", slopes, np.array(learned.covariance), slopes)
    variance += np.einsum("ij,jk,ik->i", by_torque, errors, by_torque)
    reach = 1.645 * np.sqrt(variance)
    return [(float(v), float(v - r), float(v + r)) for v, r in zip(value, reach, strict=True)]
