"""A simulated crank sender: the handle's way in, bytes of a radio link out, some lost or late. Figures invented."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from winding_coach.meter.frames import U16, U32, CrankLine, encode_crank

EVERY_S, APART_S = 0.1, 0.02
BOOTED_S, CLOCK_PPM = 37.0, -55.0
"""It was on before the meter, and its clock is its own."""
USUAL_DELAY_S, LATE_S = 0.008, (0.3, 0.9)
OLDEST_MS = U16 - 1


@dataclass(slots=True)
class Radio:
    """lost, late: shares of lines. silent: nothing comes through now. A late one holds up the next, as by TCP."""

    lost: float = 0.0
    late: float = 0.0
    silent: bool = False


class SimulatedSender:
    """`move` takes the handle's way in revolutions at a time; `arrived` returns the bytes that have come by then."""

    def __init__(self, pulses_per_turn: int, two_sensors: bool, rng: np.random.Generator) -> None:
        self.radio = Radio()
        self.dead = False
        """Its sensor gives no pulse."""
        self._per_turn = pulses_per_turn
        self._two = two_sensors
        self._rng = rng
        self._at_s, self._rev = 0.0, 0.0
        self._count = int(rng.integers(0, U16))
        self._counted_s: float | None = None
        self._sent_s = 0.0
        self._due = False
        self._seq = int(rng.integers(0, U16))
        self._on_the_way: list[tuple[float, bytes]] = []

    def move(self, at_s: float, rev: float) -> None:
        """The handle has come to `rev` by now, evenly since the last call."""
        before, now = self._rev * self._per_turn, rev * self._per_turn
        for whole in range(math.floor(min(before, now)) + 1, math.floor(max(before, now)) + 1):
            if not self.dead:
                self._counted_s = self._at_s + (at_s - self._at_s) * (whole - before) / (now - before)
                self._count += 1 if now > before or not self._two else -1
                self._due = True
        self._at_s, self._rev = at_s, rev
        if at_s - self._sent_s >= (APART_S if self._due else EVERY_S) - 1e-9:
            self._send()

    def _send(self) -> None:
        self._sent_s, self._due = self._at_s, False
        up_s = BOOTED_S + self._at_s * (1.0 + 1e-6 * CLOCK_PPM)
        age = None if self._counted_s is None else min(round(1e3 * (self._at_s - self._counted_s)), OLDEST_MS)
        line = CrankLine(self._seq, round(1e6 * up_s) % U32, self._count % U16, age, 0, self._per_turn, self._two)
        self._seq = (self._seq + 1) % U16
        if self.radio.silent or self._rng.random() < self.radio.lost:
            return
        delay_s = USUAL_DELAY_S * (1.0 + float(self._rng.exponential()))
        if self._rng.random() < self.radio.late:
            delay_s += float(self._rng.uniform(*LATE_S))
        behind_s = self._on_the_way[-1][0] if self._on_the_way else 0.0
        self._on_the_way.append((max(self._at_s + delay_s, behind_s), encode_crank(line)))

    def arrived(self) -> bytes:
        """Return the bytes that have come by now."""
        there = [data for at_s, data in self._on_the_way if at_s <= self._at_s]
        self._on_the_way = self._on_the_way[len(there) :]
        return b"".join(there)
