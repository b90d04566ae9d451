"""Calibrations with one planted defect each, and what must be said of it first. Written before what judges them.

A meter whose truth is known: 29.4 mN·m at its rating, 72,994 counts for 1 mN·m, an arm of 30 mm to both sides.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from winding_coach.meter.commissioning.calibrating import Point

ARM_M, GRAVITY, ZERO, COUNTS_PER_NM = 0.030, 9.80665, 84_200.0, 72_994e3
SHORT_G = (0, 10, 20, 50, 20, 10, 0)
LONG_G = (0, 10, 20, 50, 70, 50, 20, 10, 0)


@dataclass(frozen=True, slots=True)
class Bench:
    """What is wrong at the bench. hung: grams really on the thread, of the load's number, grams and side.

    reads: torque at the cell, of the torque on the shaft. zero_Nm: of the load's number, as a share of all.
    """

    hung: Callable[[int, float, int], float] = lambda i, grams, side: grams
    reads: Callable[[float], float] = lambda torque: torque
    zero_Nm: Callable[[float], float] = lambda share: 0.0
    sticks_Nm: float = 0.0
    creeps: float = 0.0
    noise_Nm: float = 0.5e-6
    counts_end: float = 2.0**23 - 1

    def points(self, masses_g: tuple[int, ...], seed: int) -> list[Point]:
        """The points of both sides."""
        rng = np.random.default_rng(seed)
        loads = [(grams, side) for side in (1, -1) for grams in (masses_g if side > 0 else masses_g[1:])]
        cell = crept = 0.0
        found = []
        for i, (grams, side) in enumerate(loads):
            true_Nm = self.hung(i, float(grams), side) * 1e-3 * GRAVITY * ARM_M * side
            cell = min(max(cell, true_Nm - self.sticks_Nm), true_Nm + self.sticks_Nm)
            crept += 0.5 * (self.creeps * true_Nm - crept)
            read = self.reads(cell + crept) + self.zero_Nm(i / (len(loads) - 1))
            read += self.noise_Nm * float(rng.standard_normal())
            counts = ZERO + COUNTS_PER_NM * read
            clipped = min(max(counts, -self.counts_end), self.counts_end)
            saturated = clipped != counts
            words = f"{grams:g} g, {'right' if side > 0 else 'left'}" if grams else "nothing"
            said_Nm = grams * 1e-3 * GRAVITY * ARM_M * side if grams else 0.0
            found.append(Point(said_Nm, clipped, 0.0 if saturated else 46.0, 160, words, saturated))
        return found


@dataclass(frozen=True, slots=True)
class SpoiltSet:
    """A defect and what the first sentence must say (a regular expression)."""

    name: str
    says: str
    bench: Bench
    masses_g: tuple[int, ...] = LONG_G


def _heavier(grams: int, share: float, side: int = 0) -> Callable[[int, float, int], float]:
    return lambda i, asked, on: asked * (1.0 + share) if asked == grams and side in (0, on) else asked


def _swapped(i: int, grams: float, side: int) -> float:
    return {10.0: 20.0, 20.0: 10.0}.get(grams, grams)


SETS: tuple[SpoiltSet, ...] = (
    SpoiltSet("50 g is 2 % heavier", "'50 g", Bench(hung=_heavier(50, 0.02)), SHORT_G),
    SpoiltSet("20 g is 2 % heavier", "'20 g", Bench(hung=_heavier(20, 0.02)), SHORT_G),
    SpoiltSet(
        "20 g is 2 % heavier once",
        "'20 g, right' reads as 1.020 times itself would, once",
        Bench(hung=lambda i, g, s: 20.4 if i == 4 else g),
        SHORT_G,
    ),
    SpoiltSet("10 g is 2 % lighter", "'10 g", Bench(hung=_heavier(10, -0.02)), SHORT_G),
    SpoiltSet("70 g is 2 % heavier", "'70 g", Bench(hung=_heavier(70, 0.02))),
    SpoiltSet("20 g is 2 % lighter among five", "'20 g", Bench(hung=_heavier(20, -0.02))),
    SpoiltSet("10 and 20 g are swapped", "'(10|20) g", Bench(hung=_swapped)),
    SpoiltSet("20 g is hung on the other side once", "other side", Bench(hung=lambda i, g, s: -g if i == 2 else g)),
    SpoiltSet("saturated on both sides", "end of the converter's range", Bench(counts_end=1.2e6)),
    SpoiltSet(
        "saturated on the right", "end of the converter's range", Bench(reads=lambda m: m + 3e-3, counts_end=1.3e6)
    ),
    SpoiltSet("the stop touches beyond 12 mN·m", "stop", Bench(reads=lambda m: min(m, 12e-3 + 0.05 * (m - 12e-3)))),
    SpoiltSet("both stops touch beyond 12 mN·m", "stop", Bench(reads=lambda m: min(max(m, -12e-3), 12e-3))),
    SpoiltSet("the left stop touches under the largest", "stop", Bench(reads=lambda m: max(m, -17e-3))),
    SpoiltSet("the zero drifts by 0.3 mN·m", "drift", Bench(zero_Nm=lambda share: 0.3e-3 * share)),
    SpoiltSet("the zero drifts by 0.1 mN·m", "drift", Bench(zero_Nm=lambda share: -0.1e-3 * share), SHORT_G),
    SpoiltSet("the zero jumps in mid-way", "jump|slip", Bench(zero_Nm=lambda share: 0.3e-3 * (share > 0.3))),
    SpoiltSet("10 g left hanging at the end", "left hanging", Bench(hung=lambda i, g, s: 10.0 if i == 16 else g)),
    SpoiltSet("10 g left hanging between the sides", "left hanging", Bench(hung=lambda i, g, s: 10.0 if i == 8 else g)),
    SpoiltSet("a load that was not changed", "not changed", Bench(hung=lambda i, g, s: 20.0 if i == 3 else g)),
    SpoiltSet("the bearing sticks", "sticks", Bench(sticks_Nm=120e-6)),
    SpoiltSet("the cell creeps", "creep", Bench(creeps=0.03)),
    SpoiltSet("the arms differ by 2 %", "two directions", Bench(reads=lambda m: m * (1.01 if m > 0 else 0.99))),
)

GOOD_BENCHES: dict[str, Bench] = {
    "usual": Bench(),
    "a little friction": Bench(sticks_Nm=15e-6),
    "a little drift": Bench(zero_Nm=lambda share: 20e-6 * share),
    "masses of 0.1 %": Bench(hung=lambda i, g, s: g * (1.0 + 0.001 * (-1) ** int(g / 10))),
    "a curved cell": Bench(reads=lambda m: m * (1.0 + 0.5 * m)),
}
