"""Calibration points in; the one mishap that explains best why they miss a line out. Pure.

Each mishap has a pattern over the points, in the order they were taken: a drift grows with their number, a stop holds
back the largest loads, a weight left hanging lifts one zero. The pattern that leaves least is believed if it leaves
much less than the line alone and is large enough to matter. Limits are assumed, for a few mN·m read to half a per cent.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from winding_coach.meter.commissioning.calibrating import Point

LEAVES_LESS = 4.0
"""Squares left by the line over those left with the mishap."""
AS_GOOD = 1.5
"""Mishaps that leave nearly as little: the first of the list is taken."""
MATTERS_SHARE = 1e-3
"""Of the largest load: what a mishap takes off the root mean square must be more."""
FLOOR_SHARE = 1e-4
"""Of the largest load: what is left below this is no evidence of anything."""
LOAD_SHARE, ZERO_SHARE, STOP_SHARE = 0.01, 0.003, 0.01
STICKS_SHARE, ARMS_SHARE, CREEPS_SHARE = 0.005, 0.005, 0.015
LEFT_HANGING_SHARE = 0.06
STOPS_BETWEEN = 8
LAGS = (0.3, 0.5, 0.7)


@dataclass(frozen=True, slots=True)
class Mishap:
    """kind: wrong_load, unchanged, other_side, left_hanging, swapped, stop, jump, drift, sticks, creeps, arms.

    share: its size over the largest load, or for a wrong load over itself. words: what to do.
    """

    kind: str
    share: float
    words: str


@dataclass(frozen=True, slots=True)
class _Pattern:
    kind: str
    column: Any
    limit: float
    place: int = -1
    level: int = 0
    most: float = math.inf


def mishap(points: Sequence[Point]) -> Mishap | None:
    """Return what happened to these points, None where the line explains them as well as anything."""
    import numpy as np

    torques = np.array([point.torque_Nm for point in points])
    counts = np.array([point.counts for point in points])
    largest = float(np.max(np.abs(torques), initial=0.0))
    if len(points) < 6 or largest == 0.0 or float(np.ptp(counts)) == 0.0:
        return None
    t = torques / largest
    both = bool(np.any(t > 0.0) and np.any(t < 0.0))
    base = [np.ones(t.size), t, t * t] if both and len({round(v, 6) for v in t}) > 5 else [np.ones(t.size), t]
    slope, plain = _left(base, counts)
    floor = t.size * (FLOOR_SHARE * slope) ** 2
    plain = max(plain, floor)
    best: tuple[float, _Pattern, float] | None = None
    for pattern in _patterns(points, t, counts, slope):
        if pattern.kind == "swapped":
            own = [pattern.column**power for power in range(len(base))]
            size, left = 1.0, _left(own, counts)[1]
        else:
            own = [*base, pattern.column]
            own_slope, left = _left(own, counts)
            size = _coefficient(own, counts) / own_slope
        left = max(left, floor)
        if abs(size) < pattern.most and plain > LEAVES_LESS * left and (best is None or AS_GOOD * left < best[0]):
            best = (left, pattern, size)
    # What explains them best may be too small to matter: then nothing else is to blame.
    if best is None or abs(best[2]) < best[1].limit or plain - best[0] < t.size * (MATTERS_SHARE * slope) ** 2:
        return None
    return _worded(best[1], best[2], points, counts, slope / largest)


def _left(columns: Sequence[Any], counts: Any) -> tuple[float, float]:
    """The slope (of the second column), and the sum of squares that is left."""
    import numpy as np

    design = np.column_stack(columns)
    fitted = np.linalg.lstsq(design, counts, rcond=None)[0]
    rest = counts - design @ fitted
    return float(fitted[1]), float(rest @ rest)


def _coefficient(columns: Sequence[Any], counts: Any) -> float:
    import numpy as np

    return float(np.linalg.lstsq(np.column_stack(columns), counts, rcond=None)[0][-1])


def _patterns(points: Sequence[Point], t: Any, counts: Any, slope: float) -> Iterator[_Pattern]:
    """Every mishap with its pattern, the likelier first where two leave as little."""
    import numpy as np

    n = t.size
    order = np.arange(n) / (n - 1)
    levels = sorted({round(abs(float(v)), 6) for v in t} - {0.0})
    if np.any(t > 0.0) and np.any(t < 0.0):
        yield _Pattern("arms", np.abs(t), 0.5 * ARMS_SHARE, most=0.25)
    yield _Pattern("drift", order, ZERO_SHARE)
    steps = np.sign(np.diff(t, prepend=0.0))
    yield _Pattern("sticks", -steps, 0.5 * STICKS_SHARE)
    for lag in LAGS:
        yield _Pattern("creeps", _lagged(t, lag), CREEPS_SHARE)
    if len(levels) > 2:
        for level in levels:
            yield _Pattern("wrong_load", np.where(np.isclose(np.abs(t), level), t, 0.0), LOAD_SHARE, level=1)
        for low, high in [(a, b) for a in levels for b in levels if a < b]:
            swapped = np.where(np.isclose(np.abs(t), low), np.sign(t) * high, t)
            yield _Pattern("swapped", np.where(np.isclose(np.abs(t), high), np.sign(t) * low, swapped), 0.0)
    for side in (1.0, -1.0, 0.0):
        yield from _stops(t, levels, side)
    for i in range(n):
        # A weight that is two per cent wrong is so of itself, however small it is beside the largest.
        limit = max(LOAD_SHARE * abs(float(t[i])), ZERO_SHARE)
        yield _Pattern("one", (np.arange(n) == i).astype(float), limit, place=i)
    for i in range(2, n - 2):
        yield _Pattern("jump", (np.arange(n) >= i).astype(float), ZERO_SHARE, place=i)
    if len(levels) > 2:
        for side in (1.0, -1.0):
            for level in levels[:-1]:
                own = np.isclose(t * side, level)
                yield _Pattern("wrong_load", np.where(own, t, 0.0), LOAD_SHARE, level=1)


def _lagged(t: Any, keeps: float) -> Any:
    """What has crept so far: it follows the load by a share each point."""
    import numpy as np

    state, found = 0.0, []
    for value in t:
        state = keeps * state + (1.0 - keeps) * float(value)
        found.append(state)
    return np.array(found)


def _stops(t: Any, levels: Sequence[float], side: float) -> Iterator[_Pattern]:
    """A stop touches from a torque on; side 0: both. It needs two loads that are free of it."""
    import numpy as np

    reach = np.abs(t) if side == 0.0 else t * side
    for low, high in pairwise(levels[1:]):
        for step in range(STOPS_BETWEEN):
            touches = low + (high - low) * step / STOPS_BETWEEN
            beyond = np.maximum(reach - touches, 0.0)
            if np.any(beyond > 0.0):
                yield _Pattern("stop", -np.sign(t) * beyond, STOP_SHARE, level=int(side))


def _worded(pattern: _Pattern, size: float, points: Sequence[Point], counts: Any, per_Nm: float) -> Mishap | None:
    kind, largest = pattern.kind, max(abs(point.torque_Nm) for point in points)
    if kind == "one":
        return _one(pattern.place, points, counts, per_Nm, size)
    if kind == "wrong_load":
        own = [i for i, value in enumerate(pattern.column) if value]
        first = points[own[0]]
        sides = {math.copysign(1.0, points[i].torque_Nm) for i in own}
        both = ", on both sides" if len(sides) > 1 else ""
        # A stop holds back the largest load, and a weight may be lighter than it is called: the set cannot tell which.
        held = math.isclose(abs(first.torque_Nm), largest) and -1.0 < size < 0.0
        or_stop = " Or the arm touches a stop, or something under it: give it room." if held else ""
        return Mishap(
            kind,
            size,
            f"The load '{first.words or _mNm(first.torque_Nm)}' reads {'on the other side, ' if size < -1.0 else ''}as"
            f" {abs(1.0 + size):.3f} times itself would{both}: was another weight hung, or its mass typed wrongly?"
            f"{or_stop} Take it again.",
        )
    if kind == "swapped":
        own = [
            i for i, value in enumerate(pattern.column) if not math.isclose(float(value) * largest, points[i].torque_Nm)
        ]
        names = sorted({points[i].words.split(",")[0] or _mNm(points[i].torque_Nm) for i in own})
        return Mishap(kind, 1.0, "The loads '" + "' and '".join(names) + "' are swapped: take them again.")
    share = f"{abs(size):.1%} of the largest load"
    place = f"between loads {pattern.place} and {pattern.place + 1}"
    side = {1: "On the right the", -1: "On the left the", 0: "On both sides the"}[pattern.level]
    words = {
        "stop": f"{side} largest loads are held back: the arm touches a stop, or something under it. Give it room.",
        "jump": f"The zero jumped {place}, by {share}: something slipped; tighten arm, joint and cell.",
        "drift": (
            f"The zero did not come back, it drifts, by {share} from first to last: let it warm up, keep it out of"
            " draughts."
        ),
        "sticks": (
            f"Up and down differ by {2 * abs(size):.1%} of the largest load: "
            + ("the bearing sticks or the thread rubs." if size > 0 else "the arm slips on its shaft, or has play.")
        ),
        "creeps": f"Loads leave {share} behind that fades: the cell or its glue creeps. Load it less.",
        "arms": (
            f"The two directions differ by {2 * abs(size):.1%}: measure both arms from the axis to the thread,"
            " and see that pull and weight go through the axis."
        ),
    }
    if kind == "creeps" and size < 0:
        return None
    return Mishap(kind, size, words[kind])


def _one(i: int, points: Sequence[Point], counts: Any, per_Nm: float, size: float) -> Mishap | None:
    """One reading that is out: which mistake it looks like."""
    point, off_Nm = points[i], size * max(abs(point.torque_Nm) for point in points)
    name = point.words or _mNm(point.torque_Nm)
    before = points[i - 1] if i else None
    if point.torque_Nm == 0.0:
        near = [p for p in points if p.torque_Nm and abs(off_Nm - p.torque_Nm) < LEFT_HANGING_SHARE * abs(p.torque_Nm)]
        if near:
            return Mishap(
                "left_hanging", size, f"'{near[0].words}' was left hanging when all was to be off: take it again."
            )
        return Mishap(
            "jump", size, f"The zero of load {i + 1} is out, by {_mNm(off_Nm)}: something slipped or touched it."
        )
    if before is not None and abs(counts[i] - counts[i - 1]) < 0.05 * abs(
        per_Nm * (point.torque_Nm - before.torque_Nm)
    ):
        return Mishap("unchanged", size, f"The load was not changed before '{name}': take it again.")
    read = point.torque_Nm + off_Nm
    if abs(read + point.torque_Nm) < LEFT_HANGING_SHARE * abs(point.torque_Nm):
        return Mishap("other_side", size, f"The load '{name}' hung on the other side once: take it again.")
    return Mishap(
        "wrong_load",
        off_Nm / point.torque_Nm,
        f"The load '{name}' reads as {read / point.torque_Nm:.3f} times itself would, once (load {i + 1}): was another"
        " weight hung, or did it touch something? Take it again.",
    )


def _mNm(torque_Nm: float) -> str:
    return f"{1e3 * torque_Nm:.3f} mN·m"
