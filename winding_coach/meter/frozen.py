"""Readings that cannot be: exactly equal raw values for longer than this meter's own noise makes possible. Pure.

A converter of 18 bits or more flickers in its last digits even at rest. How often it does is learnt from the meter
itself, from runs of equal values that have ended; a run that has not ended teaches nothing, for it may be the fault.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

REPEATS = "repeats"
"""Key of a calibration file: how often this meter repeats a value, as `Repeats` has it."""
CHANCE = 1e-9
"""A run so improbable is no chance: below once in a year of winding afternoons at 80 lines/s."""
MIN_RUN, MIN_S = 8, 0.25
"""No run of fewer lines, or shorter, is called frozen: a converter may repeat a value for several lines."""
USUAL_SHARE, USUAL_LINES = 0.90, 40
"""Pairs of equal lines of a meter that nothing is known of; assumed, and outweighed by as many lines of its own."""
MAX_SHARE = 0.995
"""A coarser meter rests for a minute without a change: only a crank that turns meanwhile shows that it is stuck."""
BLOCK, FEWEST_BLOCKS = 80, 4
"""Readings are looked at in blocks of so many pairs; fewer blocks tell too little to be kept."""
TURNS_WITHOUT_CHANGE = 3.0
"""While the crank turns so far torque changes, whatever the meter's steps; assumed."""


@dataclass(frozen=True, slots=True)
class Repeats:
    """How often a meter's line gives the raw value of the line before: `equal` of `pairs`. Kept with a calibration."""

    pairs: float = 0.0
    equal: float = 0.0

    @property
    def share(self) -> float:
        """Share of equal pairs, 0-1, cautious while few are known."""
        return min((self.equal + USUAL_SHARE * USUAL_LINES) / (self.pairs + USUAL_LINES), MAX_SHARE)

    @property
    def longest(self) -> int:
        """Longest run of equal pairs that chance makes, in lines."""
        return max(math.ceil(math.log(CHANCE) / math.log(max(self.share, 1e-6))), MIN_RUN)

    def as_json(self) -> dict[str, float]:
        """Return the JSON object that is kept with a calibration."""
        return {"pairs": self.pairs, "equal": self.equal}

    @staticmethod
    def from_json(found: Any) -> Repeats:
        """Return the repeats of a JSON object; nothing known where it is none."""
        try:
            pairs, equal = float(found["pairs"]), float(found["equal"])
        except (KeyError, TypeError, ValueError, OverflowError):
            return Repeats()
        return Repeats(pairs, equal) if 0.0 <= equal <= pairs < 1e12 else Repeats()


def learnt(raws: Sequence[int | None]) -> Repeats | None:
    """Return how often a meter repeats a value, by what it sent in a row; None where that is too little, or frozen.

    The half of it that repeats most counts: a load that swings hides repeats, and too many of them known costs half a
    second, too few a false alarm.
    """
    blocks: list[int] = []
    pairs = equal = run = longest = 0
    for before, raw in pairwise(raws):
        if raw is None or before is None:
            run = 0
            continue
        run = run + 1 if raw == before else 0
        longest = max(longest, run)
        pairs, equal = pairs + 1, equal + (raw == before)
        if pairs == BLOCK:
            blocks.append(equal)
            pairs = equal = 0
    if len(blocks) < FEWEST_BLOCKS:
        return None
    most = sorted(blocks)[len(blocks) // 2 :]
    found = Repeats(float(BLOCK * len(most)), float(sum(most)))
    return None if longest >= found.longest else found


class FrozenReadings:
    """`add` each line; `frozen` while the values have been equal for longer than chance allows.

    known: what is known of this meter already.
    """

    def __init__(self, known: Repeats | None = None) -> None:
        known = known or Repeats()
        self._pairs, self._equal = known.pairs, known.equal
        self.frozen = False
        self.longest_run = 0
        self._raw: int | None = None
        self._run = 0
        self._since_s = 0.0
        self._crank: float | None = None

    @property
    def repeats(self) -> Repeats:
        """What is known of this meter and what has been learnt since, frozen runs left out."""
        return Repeats(self._pairs, self._equal)

    def add(self, t_s: float, raw: int | None, crank_turns: float | None = None, *, at_end: bool = False) -> bool:
        """Take a line: device seconds, raw value, the crank's count. Returns whether the reading is frozen.

        at_end: the converter is at the end of its range, where equal values are no fault of their own.
        """
        if raw is None or at_end:
            self._begin(None, t_s, crank_turns)
            return self.frozen
        if raw != self._raw:
            # A run that has ended is the meter's own, unless it was too long to be.
            if self._raw is not None and not self.frozen:
                self._pairs, self._equal = self._pairs + self._run + 1.0, self._equal + self._run
            self._begin(raw, t_s, crank_turns)
            return False
        self._run += 1
        self.longest_run = max(self.longest_run, self._run)
        if self._run < MIN_RUN:
            self.frozen = False
            return False
        long = t_s - self._since_s >= MIN_S and self._run >= self.repeats.longest
        turned = None if crank_turns is None or self._crank is None else abs(crank_turns - self._crank)
        self.frozen = long or (turned is not None and turned >= TURNS_WITHOUT_CHANGE)
        return self.frozen

    def reset(self) -> None:
        """The meter started anew or the link was gone; what was learnt stays."""
        self._begin(None, 0.0, None)

    def _begin(self, raw: int | None, t_s: float, crank_turns: float | None) -> None:
        self._raw, self._run, self._since_s, self._crank = raw, 0, t_s, crank_turns
        self.frozen = False
