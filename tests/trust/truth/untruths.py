"""What may be untrue in a wind: each kind, how large it is drawn, and when it begins. Ranges are assumed.

An untruth is a value; sender, world and person look theirs up by kind. The same seed draws the same ones.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

ALWAYS = math.inf


@dataclass(frozen=True, slots=True)
class Untruth:
    """kind: a key of `KINDS`. amount: its size, in the kind's own unit. at: share of the target turns on the motor when
    it begins, 0 before the first line. lasts_s: how long."""

    kind: str
    amount: float = 0.0
    at: float = 0.0
    lasts_s: float = ALWAYS

    def __str__(self) -> str:
        lasts = "" if math.isinf(self.lasts_s) else f" for {self.lasts_s:.1f} s"
        return f"{self.kind} {self.amount:.4g} from {self.at:.2f}{lasts}"


Draw = Callable[[Random], Untruth]


def _always(kind: str, *amounts: float) -> Draw:
    return lambda rng: Untruth(kind, rng.choice(amounts))


def _between(kind: str, low: float, high: float) -> Draw:
    return lambda rng: Untruth(kind, rng.uniform(low, high))


def _midway(kind: str, *amounts: float, lasts: tuple[float, float] | None = None) -> Draw:
    """Begins between a tenth of the target and the target."""

    def draw(rng: Random) -> Untruth:
        lasts_s = ALWAYS if lasts is None else rng.uniform(*lasts)
        return Untruth(kind, rng.choice(amounts or (0.0,)), rng.uniform(0.08, 0.99), lasts_s)

    return draw


def _from_any(kind: str, *amounts: float) -> Draw:
    """From the first line in one of four, else midway."""
    return lambda rng: Untruth(kind, rng.choice(amounts or (0.0,)), rng.choice((0.0, *(rng.uniform(0.05, 1.0),) * 3)))


KINDS: dict[str, Draw] = {
    # Distances (mm), as many lines as `lasts_s` holds; sensors that go wrong for good.
    "absurd distance": _midway("absurd distance", 8190, 0, -1, -500, 65_535, 2_147_483_647, lasts=(0.01, 0.09)),
    "distance stuck": _midway("distance stuck"),
    "distance dead": _from_any("distance dead", 0, 0, 8190),
    "distance jumps": _from_any("distance jumps", 0.02, 0.2),
    # The converter and the cell.
    "raw frozen": _from_any("raw frozen"),
    "all frozen": _from_any("all frozen"),
    "torque negative": _always("torque negative", -1.0),
    "gain": _always("gain", 0.1, 0.5, 0.7, 1.4, 2.0),
    "gain falls": _midway("gain falls", 0.3, 0.6),
    "saturated": _midway("saturated", lasts=(1.0, 9.0)),
    "end of range": _always("end of range", 0.4, 0.7, 0.9),
    "no data": _midway("no data", lasts=(1.0, 9.0)),
    "silent": _midway("silent", lasts=(1.0, 9.0)),
    # The zero: shares of the told peak, a minute for drifts.
    "zero drifts": _always("zero drifts", -0.06, -0.02, 0.02, 0.06),
    "zero steps": _midway("zero steps", -0.25, -0.1, 0.1, 0.25),
    "weight at tare": _always("weight at tare", -0.6, -0.25, 0.25, 0.6),
    "wound motor at tare": _between("wound motor at tare", 60.0, 250.0),
    # Turns.
    "turns in": _between("turns in", 20.0, 250.0),
    "pulses lost": _between("pulses lost", 0.3, 0.5),
    "double pulses": _between("double pulses", 0.3, 1.0),
    "pulses a turn": _always("pulses a turn", 2, 4),
    "many pulses at once": _midway("many pulses at once", 40),
    "crank sensor dies": _from_any("crank sensor dies"),
    # What was typed: factors on the truth.
    "ratio typed": _always("ratio typed", 10 / 16, 16 / 10, 10 / 15, 15 / 10),
    "mass typed": _always("mass typed", 0.7, 0.85, 1.2, 1.4),
    "loop typed": _always("loop typed", 0.75, 0.88, 1.12, 1.3),
    "strands typed": _always("strands typed", 2.0),
    # The link, the clock, the process.
    "backlog": _from_any("backlog", 0.92, 0.8, 0.97),
    "bursts": _from_any("bursts", 0.25, 0.7, 1.5),
    "clock frozen": _from_any("clock frozen"),
    "clock runs wrong": _always("clock runs wrong", 0.5, 0.9, 1.1, 2.0),
    "clock jumps": _midway("clock jumps", -20.0, -0.3, 0.3, 20.0, 2000.0),
    "sequence frozen": _from_any("sequence frozen"),
    "reset": _midway("reset", lasts=(0.3, 2.5)),
    "another board": _midway("another board", 0.5, 1.0, 2.0),
    "process stopped": _midway("process stopped", lasts=(2.0, 12.0)),
    # The hook.
    "slips off": _midway("slips off", 1.0, 0.9, 0.0),
    "breaks early": _midway("breaks early"),
}


def drawn(rng: Random) -> tuple[Untruth, ...]:
    """None in one of twenty, one in half of the rest, else two of different kinds."""
    if rng.random() < 0.05:
        return ()
    kinds = rng.sample(sorted(KINDS), 1 if rng.random() < 0.5 else 2)
    return tuple(KINDS[kind](rng) for kind in kinds)
