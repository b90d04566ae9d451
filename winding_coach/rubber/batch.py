"""What logged winds tell about one batch of rubber: torque scale, strength, permanent set. Pure.

Facts are kept, fits are made from them; data that cannot tell are refused with a sentence that says what is missing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from winding_coach.rubber.course import wind_along, wind_stretched
from winding_coach.rubber.figures import FiguresError, MotorFigures
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber
from winding_coach.rubber.learned import Learned
from winding_coach.rubber.looseness import spoken_for, strength_by_law
from winding_coach.rubber.motor import HOOKS_SHARE, before_the_wind, breaking_turns, geometry_of
from winding_coach.rubber.plan import LOOP_SD_M, planned_course
from winding_coach.rubber.strength import Estimate, Strength, StrengthPrior, Wound
from winding_coach.rubber.table import table

TORQUE_SCALE_SD = 0.05
"""Spread of torque between batches, and what is believed of the spread between motors of one; assumed."""
SPREAD_BELIEVED_LIKE = 2.0
"""That belief weighs like so many winds; assumed."""
USED_FROM = 0.3
"""Share of the turns at full stretch from which torque is fitted: below it the zero weighs too much."""
LEAST_SAMPLES = 8
LEAST_TURNS_SHARE = 0.15
"""The turns at full stretch must be this share of the breaking turns, else torque has hardly begun."""
MOST_RESIDUAL = 0.08
"""Relative rms residual beyond which the torque does not follow the law of this motor."""


@dataclass(frozen=True, slots=True)
class StretchedWind:
    """The full-stretch part of one logged wind: torque against counted turns of the motor at one hook distance."""

    motor: MotorFigures
    distance_m: float
    turns: tuple[float, ...]
    torque_Nm: tuple[float, ...]
    turns_per_s: float = 12.0


@dataclass(frozen=True, slots=True)
class TorqueScale:
    """One wind's torque over the default rubber's. residuals: (turns, relative misfit) after scaling."""

    scale: float
    rms: float
    residuals: tuple[tuple[float, float], ...]


def torque_scale_of(wind: StretchedWind, rubber: Rubber = DEFAULT_RUBBER) -> TorqueScale:
    """Return the one factor that brings the law to a wind's torque at full stretch (least squares).

    Raises:
        FiguresError: too few samples, too few turns, or a torque that does not follow the law.
    """
    if len(wind.turns) != len(wind.torque_Nm):
        raise FiguresError("A logged wind needs one torque for each number of turns: export it again.")
    body = geometry_of(wind.motor, rubber)
    hooks = HOOKS_SHARE * body.loop_m
    most = max(wind.turns, default=0.0)
    used = [(n, m) for n, m in zip(wind.turns, wind.torque_Nm, strict=True) if n >= USED_FROM * most and n > 0.0]
    if len(used) < LEAST_SAMPLES:
        raise FiguresError(
            f"{len(used)} torque samples at full stretch are too few for the torque scale: {LEAST_SAMPLES} are needed."
        )
    if most < LEAST_TURNS_SHARE * breaking_turns(body, hooks, rubber):
        raise FiguresError(
            f"{most:.0f} turns at full stretch are too few for the torque scale: log a wind that goes further."
        )
    start = before_the_wind(body, wind.motor.use, hooks, rubber)
    marks = wind_stretched(body, start, wind.distance_m, most, wind.turns_per_s, rubber)
    law = table([mark.turns for mark in marks], [mark.torque_Nm for mark in marks])
    scale = sum(m * law.at(n) for n, m in used) / sum(law.at(n) ** 2 for n, _ in used)
    if not 0.2 < scale < 5.0:
        raise FiguresError("The torque is nowhere near this motor's: check calibration, motor and turns of the wind.")
    residuals = tuple((n, m / (scale * law.at(n)) - 1.0) for n, m in used)
    rms = math.sqrt(sum(r * r for _, r in residuals) / len(residuals))
    if rms > MOST_RESIDUAL:
        raise FiguresError(
            f"The torque is {rms:.0%} off the law even when scaled: check the zero, the hook distance and the"
            " counted turns of this wind."
        )
    return TorqueScale(scale, rms, residuals)


@dataclass(frozen=True, slots=True)
class PooledScale:
    """The torque scale of a batch. sd: of the scale itself. spread: from motor to motor, relative; winds: how many."""

    scale: float
    sd: float
    spread: float
    winds: int


def pooled_scale(scales: Sequence[float]) -> PooledScale:
    """Return the batch's scale from its winds' scales, drawn towards 1 as far as winds are few.

    Batches scatter by `TORQUE_SCALE_SD`; so are motors of one believed to, until winds show their own spread.
    """
    logs = [math.log(scale) for scale in scales]
    count = len(logs)
    raw = sum(logs) / count if count else 0.0
    squares = SPREAD_BELIEVED_LIKE * TORQUE_SCALE_SD**2 + sum((log - raw) ** 2 for log in logs)
    variance = squares / (SPREAD_BELIEVED_LIKE + max(0, count - 1))
    # Normal prior, normal mean: precisions add up.
    precision = 1.0 / TORQUE_SCALE_SD**2 + count / variance
    mean = count / variance * raw / precision
    return PooledScale(math.exp(mean), 1.0 / math.sqrt(precision), math.sqrt(variance), count)


def wound_to(
    motor: MotorFigures, hooks_m: float, turns: float, *, broke: bool, rubber: Rubber = DEFAULT_RUBBER
) -> Wound:
    """Return how far a motor was wound as strand stretch, by the turns law: so motors of any size pool.

    turns: reached at the hooks, where it broke or was stopped. The walk-in is taken to have been as planned.

    Raises:
        FiguresError: figures that no motor can have.
    """
    body = geometry_of(motor, rubber)
    if not 0.0 < turns < 2.0 * breaking_turns(body, hooks_m, rubber):
        raise FiguresError(f"{turns:.0f} turns are impossible on this motor: check its measurements and the count.")
    course = planned_course(body, hooks_m, turns, 10.0)
    marks = wind_along(course, before_the_wind(body, motor.use, hooks_m, rubber), turns, rubber)
    return Wound(max(mark.stretch_at_worst for mark in marks), broke)


@dataclass(frozen=True, slots=True)
class SetFit:
    """Permanent set of a batch. limit: after many winds to a strand stretch of 9 (ratio). residuals_m: of lengths."""

    limit: float
    sd: float
    residuals_m: tuple[float, ...]


def fit_set(
    loops_m: Sequence[float],
    peak_stretches: Sequence[float],
    rubber: Rubber = DEFAULT_RUBBER,
    loop_sd_m: float = LOOP_SD_M,
) -> SetFit:
    """Return the permanent set of a motor whose loop was measured before its first wind and after each.

    loops_m: one more than peak_stretches. The rate at which it comes is the rubber's own.

    Raises:
        FiguresError: nothing was measured after a wind, or the set is within the measuring error.
    """
    if len(loops_m) != len(peak_stretches) + 1 or len(loops_m) < 2:
        raise FiguresError("The permanent set needs the loop's length before the first wind and after each wind.")
    grown = [loop / loops_m[0] - 1.0 for loop in loops_m[1:]]
    shares: list[float] = []
    reached = 0.0
    for stretch in peak_stretches:
        reached += rubber.set_rate * max(0.0, (stretch - 4.0) / 5.0 - reached)
        shares.append(reached)
    squares = sum(share * share for share in shares)
    relative_sd = loop_sd_m / loops_m[0]
    if squares == 0.0:
        raise FiguresError("These winds were too low to leave a set: measure the loop after a wind to the full share.")
    limit = sum(g * share for g, share in zip(grown, shares, strict=True)) / squares
    residuals = [g - limit * share for g, share in zip(grown, shares, strict=True)]
    # The first length is in every ratio, so its error does not average out.
    common = sum(shares) / squares
    sd = relative_sd * math.sqrt(1.0 / squares + common * common)
    if limit < 2.0 * sd:
        raise FiguresError(
            f"A set of {limit:.1%} cannot be distinguished from the measuring error ({sd:.1%}): measure later."
        )
    return SetFit(limit, sd, tuple(residual * loops_m[0] for residual in residuals))


@dataclass(frozen=True, slots=True)
class Batch:
    """The facts of one batch: how far motors were wound, their torque scales, the fitted set if there is one.

    learned: what its winds say of its properties, by themselves and the general law; see `rubber.learning`.
    """

    name: str
    wound: tuple[Wound, ...] = ()
    torque_scales: tuple[float, ...] = ()
    set_limit: float | None = None
    learned: Learned | None = None


@dataclass(frozen=True, slots=True)
class FittedBatch:
    """A batch's rubber with what it rests on. torque: scale over the default rubber's, with its interval of 90 %.

    learned: its properties, the person's other batches counted; None where nothing was learned. laws: probability of
    each law of looseness, None where no steps were followed.
    """

    rubber: Rubber
    strength: Strength
    scale: PooledScale
    torque: Estimate
    rests_on: str
    learned: Learned | None = None
    laws: dict[str, float] | None = None


def fitted(batch: Batch, base: Rubber = DEFAULT_RUBBER, others: Sequence[Learned] = ()) -> FittedBatch:
    """Return the rubber of a batch: the base with its properties as learned, its strength and set as the facts show.

    others: what was learned of the person's other batches; the batch is believed to be like them.

    Raises:
        FiguresError: a fact that cannot be.
    """
    if not all(0.2 < scale < 5.0 for scale in batch.torque_scales):
        raise FiguresError("A torque scale of this batch cannot be: check the calibration of its winds.")
    prior = StrengthPrior(median=base.break_stretch, shape=base.break_shape)
    strength, laws = strength_by_law(batch.wound, prior), spoken_for(batch.wound, prior)
    scale = pooled_scale(batch.torque_scales)
    learned = _with_others(batch.learned, others)
    if learned is None:
        rubber = replace(
            base,
            shear_modulus_Pa=base.shear_modulus_Pa * scale.scale,
            second_term_Pa=base.second_term_Pa * scale.scale,
        )
    else:
        rubber = learned.rubber(base)
        stiff = learned.estimate("stiffness")
        scale = replace(scale, scale=stiff.value, sd=learned.sd["stiffness"])
    rubber = replace(
        rubber,
        break_stretch=strength.break_stretch.value,
        break_shape=strength.break_shape.value,
        set_limit=base.set_limit if batch.set_limit is None else batch.set_limit,
    )
    reach = math.exp(1.645 * scale.sd)
    torque = Estimate(scale.scale, scale.scale / reach, scale.scale * reach)
    rests_on = _rests_on(batch, strength) if learned is None else _by_your_winds(batch, strength, learned, len(others))
    return FittedBatch(rubber, strength, scale, torque, rests_on, learned, laws)


def _with_others(own: Learned | None, others: Sequence[Learned]) -> Learned | None:
    if not others:
        return own
    from winding_coach.rubber.learning import shrunk

    return shrunk(own, others)


def _by_your_winds(batch: Batch, strength: Strength, learned: Learned, others: int) -> str:
    told = " and ".join(filter(None, (", ".join(learned.told[:-1]), *learned.told[-1:]))) or "no property alone"
    winds = f"{learned.winds} {'wind' if learned.winds == 1 else 'winds'}"
    own = f"{told} from {winds}" if learned.winds else "nothing of its own"
    more = f", {others} other {'batch' if others == 1 else 'batches'} of yours" if others else ""
    breaks = f"strength from {strength.breaks} {'break' if strength.breaks == 1 else 'breaks'} and"
    held = f"{strength.survivors} {'survivor' if strength.survivors == 1 else 'survivors'}"
    return f"batch '{batch.name}', by your winds: {own}{more}, {breaks} {held}, the rest from the default rubber"


def _rests_on(batch: Batch, strength: Strength) -> str:
    def many(count: int, one: str, more: str) -> str:
        return f"{count} {one if count == 1 else more}"

    return (
        f"batch '{batch.name}': torque from {many(len(batch.torque_scales), 'wind', 'winds')}, strength from"
        f" {many(strength.breaks, 'break', 'breaks')} and {many(strength.survivors, 'survivor', 'survivors')},"
        " the rest from the default rubber"
    )
