"""Pulses of the crank that are missing, by their rhythm at full stretch: a gap of two or three turns among single ones.

A sequential test (Wald 1945): each gap weighs for or against lost pulses, until the evidence is beyond doubt. A hand
that pauses makes gaps too, but few, and hardly between two quick turns.
"""

from __future__ import annotations

import math
from collections import deque

LOST_FROM, LONGEST = 1.6, 5.0
"""A gap so many times that of its neighbours may hide pulses; a longer one is a rest."""
HONEST, LOSSY = 0.04, 0.30
"""Share of such gaps among those of an honest crank, and where a third of the pulses is lost; assumed."""
SURE, LEAST = 5.0, -3.0
"""Log of the odds from which pulses are lost, and below which it does not sink: a sensor may begin to lose them."""
BOUNCE = 0.4
"""A pulse so soon after another, in usual gaps, is the same one."""
NEIGHBOURS = 2
"""A gap is held against the one before and the one after it: a hand that slows down for some turns does it from turn to
turn, and is twice as slow as three turns ago, but hardly as one ago."""
LINES_A_GAP = 4.0
"""Where lines are as far apart as pulses, their rhythm is that of the lines."""
RECENT = 24


class Rhythm:
    """`add` each line's count at full stretch. `lost`: the share of the pulses that is missing, None while not sure."""

    def __init__(self) -> None:
        self.lost: float | None = None
        self._odds = 0.0
        self._line_s = 1.0
        self._before_s: float | None = None
        self._count: float | None = None
        self._pulse_s: float | None = None
        self._gaps: deque[float] = deque(maxlen=NEIGHBOURS + 1)
        self._missing: deque[int] = deque(maxlen=RECENT)

    def add(self, t_s: float, crank_turns: float | None) -> None:
        """Take a line: device seconds and the crank's count."""
        before, self._count = self._count, crank_turns
        if self._before_s is not None and t_s > self._before_s:
            self._line_s = min(self._line_s, t_s - self._before_s)
        self._before_s = t_s
        if crank_turns is None or before is None:
            self.pause()
            return
        change = abs(crank_turns - before)
        if change == 0.0:
            return
        if self._pulse_s is not None:
            gap_s = t_s - self._pulse_s
            if gap_s < BOUNCE * min(self._gaps, default=0.0):
                return
            self._gap(gap_s)
        self._pulse_s = t_s

    def pause(self) -> None:
        """The hand, or the link, rests: the next gap says nothing."""
        self._pulse_s = None

    def given_up_but_alive(self) -> None:
        """A sensor that was given up, since torque went on without it, gives pulses all the same: it loses them."""
        self.lost = self.lost or LOSSY

    def _gap(self, seconds: float) -> None:
        gaps = self._gaps
        gaps.append(seconds)
        if len(gaps) <= NEIGHBOURS:
            return
        before, middle, after = gaps
        shortest = min(before, after)
        times = middle / max(shortest, 1e-3)
        if times > LONGEST or shortest < LINES_A_GAP * self._line_s:
            return
        odd = times >= LOST_FROM
        self._missing.append(round(times) - 1 if odd else 0)
        self._odds += math.log(LOSSY / HONEST) if odd else math.log((1.0 - LOSSY) / (1.0 - HONEST))
        self._odds = max(self._odds, LEAST)
        if self._odds > SURE:
            missing = sum(self._missing)
            self.lost = missing / (missing + len(self._missing))
