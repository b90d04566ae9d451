"""Known torques and the readings they made in; a calibration with its uncertainty, and what is wrong, out. Pure.

The method is that of the guides for torque devices (repeatability, zero return, reversibility, deviation from the
fitted line), from memory; no class is claimed. The limits are assumed, for a few mN·m read to half a per cent.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass

from winding_coach.meter.calibration import Calibration, CalibrationError
from winding_coach.meter.commissioning.budget import Part, combined, coverage_factor
from winding_coach.meter.commissioning.crosstalk import USUAL_PULL_N, CrossTalk
from winding_coach.meter.commissioning.fitting import (
    Fit,
    FitError,
    FTest,
    better_with,
    fit,
    lack_of_fit,
    lower_limit_of_use,
)
from winding_coach.meter.commissioning.suspects import Mishap, mishap

FEWEST_LOADS = 3
CHANCE = 0.01
"""A bend or a kink is believed if chance makes one like it less often than this."""
MATTERS_SHARE = 0.001
"""A bend below this share of the largest torque changes nothing."""
STICKS_SHARE = 0.005
RETURNS_SHARE = 0.003
REPEATS_SHARE = 0.003
ARMS_SHARE = 0.005
MISFIT_SHARE = 0.004
"""Of the largest load: by how much the mean of a load's readings may miss the line where lack of fit is no chance."""
FOLLOWS_RATIO = 20.0
"""The readings' range must be so many times their scatter about the line."""


@dataclass(frozen=True, slots=True)
class Point:
    """One load: the torque on the meter (with its sign), the steady mean reading, the scatter of single readings,
    how many they were, and what was hung, in words."""

    torque_Nm: float
    counts: float
    sd_counts: float = 0.0
    readings: int = 1
    words: str = ""
    saturated: bool = False


@dataclass(frozen=True, slots=True)
class Calibrated:
    """A calibration and how it was judged; torques in N·m, None where the set of loads does not tell.

    dof: effective degrees of freedom of the uncertainty. pull: cross-talk of a pull.
    """

    calibration: Calibration
    line: Fit
    largest_Nm: float
    residuals_Nm: tuple[float, ...]
    parts: tuple[Part, ...]
    sd_Nm: float
    expanded_Nm: float
    dof: float
    pull: CrossTalk | None
    noise_Nm: float
    zero_return_Nm: float | None
    repeatability_Nm: float | None
    reversibility_Nm: float | None
    arms_differ: float | None
    bend: FTest | None
    misfit: FTest | None
    lower_limit_Nm: float
    faults: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def findings(self) -> tuple[str, ...]:
        """Faults, for which a calibration should not be used, and notes."""
        return self.faults + self.notes


def calibrate(
    points: Sequence[Point],
    *,
    name: str,
    made: str,
    expires: str,
    id: str,
    rating_Nm: float | None = None,
    reference_share: float = 0.002,
    reference: Mapping[str, float] | None = None,
    pulled: Callable[[Calibration], CrossTalk | None] | None = None,
    motor_pull_N: float = USUAL_PULL_N,
) -> Calibrated:
    """Return the calibration of points in the order they were taken.

    reference_share: relative standard uncertainty of the torques (masses, arm, gravity); reference: or these by name.
    pulled: the cross-talk of a pull, measured with this calibration; motor_pull_N: the pull it is to be read under.

    Raises:
        CalibrationError: the points give no calibration at all.
    """
    torques = [point.torque_Nm for point in points]
    counts = [point.counts for point in points]
    largest_Nm = max((abs(torque) for torque in torques), default=0.0)
    if len({_key(torque, largest_Nm) for torque in torques}) < FEWEST_LOADS or largest_Nm == 0.0:
        raise CalibrationError(f"At least {FEWEST_LOADS} different loads are needed, zero among them.")
    zeros = [point.counts for point in points if point.torque_Nm == 0.0]
    centre = zeros[0] if zeros else math.fsum(counts) / len(counts)
    try:
        straight = fit(counts, torques, centre=centre)
    except FitError as error:
        raise CalibrationError(str(error)) from None
    line, bend = _line(counts, torques, straight, largest_Nm)
    happened = mishap([point for point in points if not point.saturated])
    if happened is None and FOLLOWS_RATIO * straight.sds()[1] > abs(straight.coefficients[1]):
        raise CalibrationError("The readings hardly follow the loads: check the cell's wiring and what carries them.")
    arms = _arms(points, centre, line)
    if len(line.powers) == 3 and (happened is not None or (arms is not None and arms.believed)):
        # A mishap, or two slopes that meet at zero, are no bend of the cell, though a bend would follow them half-way.
        line = straight
    slope, zero = _slope_and_zero(line)
    residuals = tuple(torque - line(count) for torque, count in zip(torques, counts, strict=True))
    noise = abs(slope) * math.sqrt(math.fsum(p.sd_counts**2 for p in points) / len(points))
    reversal = _reversibility(points, largest_Nm, slope)
    zero_return = abs(slope) * (zeros[-1] - zeros[0]) if len(zeros) > 1 else None
    repeats = _repeatability(points, largest_Nm, slope)
    readings = sum(max(point.readings - 1, 0) for point in points)
    parts = [
        Part("scatter about the line", line.sd, "standard deviation of the fit", line.dof),
        Part("noise of a reading", noise, "standard deviation of single readings", readings or math.inf),
        Part("zero", abs(zero_return or 0.0) / math.sqrt(12.0), "first to last zero, rectangular"),
        Part("up and down", abs(reversal or 0.0) / math.sqrt(12.0), "largest difference, rectangular"),
    ]
    for named, share in ({"masses, arm and gravity": reference_share} if reference is None else reference).items():
        parts.append(Part(named, share * largest_Nm, "as stated"))
    lack = lack_of_fit(torques, counts, fit(torques, counts, degree=len(line.powers) - 1))
    misfit = _largest_misfit(torques, residuals, largest_Nm) if lack is not None and lack.chance < CHANCE else None
    faults = _faults(points, happened, misfit, largest_Nm, rating_Nm, zero_return, repeats, reversal, arms)
    notes = _notes(points, rating_Nm)
    bare = Calibration(id=id, made=made, meter=name, zero_counts=zero, Nm_per_count=slope)
    pull = None if pulled is None else pulled(bare)
    if pull is not None:
        reach = pull.largest_Nm(motor_pull_N, largest_Nm)
        parts.append(Part("pull of the motor", reach / math.sqrt(3.0), f"up to {motor_pull_N:.0f} N, rectangular"))
    sd, dof = combined(parts)
    calibration = Calibration(
        id=id,
        made=made,
        meter=name,
        zero_counts=zero,
        Nm_per_count=slope,
        Nm_per_count2=line.coefficients[2] if len(line.powers) == 3 else 0.0,
        rating_Nm=rating_Nm,
        sd_Nm=sd,
        points=tuple(asdict(point) for point in points),
        remarks=" ".join(faults + notes),
        more={"expires": expires, "largest_Nm": largest_Nm, "parts_Nm": {part.name: part.Nm for part in parts}}
        | ({} if pull is None else {"pull": pull.as_json()}),
    )
    # A calibration that no reader takes must not be written.
    Calibration.from_json_dict(calibration.as_json())
    return Calibrated(
        calibration=calibration,
        line=line,
        largest_Nm=largest_Nm,
        residuals_Nm=residuals,
        parts=tuple(parts),
        sd_Nm=sd,
        expanded_Nm=coverage_factor(dof) * sd,
        dof=dof,
        pull=pull,
        noise_Nm=noise,
        zero_return_Nm=zero_return,
        repeatability_Nm=repeats,
        reversibility_Nm=reversal,
        arms_differ=None if arms is None else arms.differ,
        bend=bend,
        misfit=lack,
        lower_limit_Nm=lower_limit_of_use(
            line.sd / abs(slope),
            torques,
            [count - zero if torque else 0.0 for torque, count in zip(torques, counts, strict=True)],
        ),
        faults=faults,
        notes=notes,
    )


def _key(torque_Nm: float, largest_Nm: float) -> int:
    """The same load, whatever rounding made of it."""
    return round(torque_Nm / largest_Nm * 1e6) if largest_Nm else 0


def _line(
    counts: Sequence[float], torques: Sequence[float], straight: Fit, largest_Nm: float
) -> tuple[Fit, FTest | None]:
    """The straight line, or the bent one if the points demand it."""
    try:
        bent = fit(counts, torques, degree=2, centre=straight.centre)
    except FitError:
        return straight, None
    test = better_with(straight, bent)
    most = max(abs(bent(count) - straight(count)) for count in counts)
    return (bent if test.chance < CHANCE and most > MATTERS_SHARE * largest_Nm else straight), test


def _slope_and_zero(line: Fit) -> tuple[float, float]:
    """Slope of the line where its torque is nothing, and the counts there."""
    if len(line.powers) == 2:
        return line.coefficients[1], line.centre - line.coefficients[0] / line.coefficients[1]
    constant, slope, bend = line.coefficients
    root = math.sqrt(max(slope * slope - 4.0 * bend * constant, 0.0))
    off = -2.0 * constant / (slope + math.copysign(root, slope))
    return slope + 2.0 * bend * off, line.centre + off


@dataclass(frozen=True, slots=True)
class _Arms:
    differ: float
    believed: bool


def _arms(points: Sequence[Point], centre: float, line: Fit) -> _Arms | None:
    """Whether the two directions have slopes of their own: the share by which the right gives more than the left."""
    zeros = [point for point in points if point.torque_Nm == 0.0]
    slopes = []
    for sign in (1.0, -1.0):
        side = [*zeros, *(point for point in points if point.torque_Nm * sign > 0.0)]
        try:
            slopes.append(fit([point.counts for point in side], [point.torque_Nm for point in side], centre=centre))
        except FitError:
            return None
    right, left = (one.coefficients[1] for one in slopes)
    spread = math.hypot(*(one.sds()[1] for one in slopes))
    differ = (left - right) / (0.5 * (right + left))
    apart = math.fsum(r * r for one in slopes for r in one.residuals)
    return _Arms(differ, abs(right - left) > 4.0 * spread and apart < math.fsum(r * r for r in line.residuals))


def _rising(points: Sequence[Point]) -> list[bool | None]:
    """Whether each load was come to from a smaller one of its side (or nothing); None for zero."""
    found: list[bool | None] = []
    before = 0.0
    for point in points:
        torque = point.torque_Nm
        if torque == 0.0:
            found.append(None)
        else:
            same_side = before * torque > 0.0
            found.append(not same_side or abs(torque) >= abs(before))
        before = torque
    return found


def _reversibility(points: Sequence[Point], largest_Nm: float, slope: float) -> float | None:
    """Largest difference of a load come to from above and from below; positive if it lags, as what sticks does."""
    ups: dict[int, list[float]] = {}
    downs: dict[int, list[float]] = {}
    for point, rising in zip(points, _rising(points), strict=True):
        if rising is not None:
            (ups if rising else downs).setdefault(_key(point.torque_Nm, largest_Nm), []).append(point.counts)
    differences = [
        slope * math.copysign(1.0, key) * (_mean(downs[key]) - _mean(ups[key])) for key in ups.keys() & downs.keys()
    ]
    return max(differences, key=abs, default=None)


def _repeatability(points: Sequence[Point], largest_Nm: float, slope: float) -> float | None:
    """Standard deviation of the same load come to in the same way, over all that were repeated."""
    groups: dict[tuple[int, bool | None], list[float]] = {}
    for point, rising in zip(points, _rising(points), strict=True):
        if rising is not None:
            groups.setdefault((_key(point.torque_Nm, largest_Nm), rising), []).append(point.counts)
    dof = sum(len(group) - 1 for group in groups.values())
    if dof < 1:
        return None
    squares = math.fsum((count - _mean(group)) ** 2 for group in groups.values() for count in group)
    return abs(slope) * math.sqrt(squares / dof)


def _largest_misfit(torques: Sequence[float], residuals: Sequence[float], largest_Nm: float) -> float:
    """The largest mean residual of a load."""
    groups: dict[int, list[float]] = {}
    for torque, residual in zip(torques, residuals, strict=True):
        groups.setdefault(_key(torque, largest_Nm), []).append(residual)
    return max(abs(_mean(group)) for group in groups.values())


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _faults(
    points: Sequence[Point],
    happened: Mishap | None,
    misfit_Nm: float | None,
    largest_Nm: float,
    rating_Nm: float | None,
    zero_return_Nm: float | None,
    repeats_Nm: float | None,
    reversal_Nm: float | None,
    arms: _Arms | None,
) -> tuple[str, ...]:
    def share(value_Nm: float) -> str:
        return f"{1e3 * abs(value_Nm):.3f} mN·m, {abs(value_Nm) / largest_Nm:.1%} of the largest load"

    words: list[str] = []
    if any(point.saturated for point in points):
        words.append("A reading was at the end of the converter's range: use smaller loads or less gain.")
    if rating_Nm is not None and largest_Nm > rating_Nm:
        words.append(
            f"The cell was loaded past its rating of {1e3 * rating_Nm:.2f} mN·m: check that it is not damaged."
        )
    if happened is not None:
        # Whatever else the points seem to show may be that one mishap's doing; a mass typed wrongly overloads no cell.
        return (happened.words,) if happened.kind in ("wrong_load", "swapped") else (*words, happened.words)
    checks: tuple[tuple[float | None, float, Callable[[float], str]], ...] = (
        (
            reversal_Nm,
            STICKS_SHARE,
            lambda d: (
                f"Up and down differ by {share(d)}: "
                + (
                    "the bearing sticks or the thread rubs."
                    if d > 0
                    else "the cell creeps, or the arm slips on its shaft."
                )
            ),
        ),
        (
            zero_return_Nm,
            RETURNS_SHARE,
            lambda d: f"The zero did not come back, by {share(d)}: let it warm up, look for what slipped.",
        ),
        (repeats_Nm, REPEATS_SHARE, lambda d: f"The same load repeats to {share(d)} only: look for play and rubbing."),
    )
    words += [say(value) for value, limit, say in checks if value is not None and abs(value) > limit * largest_Nm]
    if arms is not None and arms.believed and abs(arms.differ) > ARMS_SHARE:
        words.append(
            f"The two directions differ by {abs(arms.differ):.1%}: measure both arms from the axis to the thread,"
            " and see that pull and weight go through the axis."
        )
    if misfit_Nm is not None and not words and misfit_Nm > MISFIT_SHARE * largest_Nm:
        words.append(
            f"The loads do not lie on one line, by {share(misfit_Nm)}, and each repeats well: weigh the masses, measure"
            " the arm, and see that nothing touches."
        )
    return tuple(words)


def _notes(points: Sequence[Point], rating_Nm: float | None) -> tuple[str, ...]:
    words = []
    if rating_Nm is None:
        words.append("Without the cell's rating nothing warns of overload: state it with --rating.")
    if not any(point.torque_Nm < 0 for point in points) or not any(point.torque_Nm > 0 for point in points):
        words.append("Only one direction was loaded: the other is trusted to be like it.")
    return tuple(words)
