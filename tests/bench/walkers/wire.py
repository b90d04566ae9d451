"""The meter of the bench: torque, handle and distance in, the wire's bytes out (docs/reference/meter-protocol.md)."""

from __future__ import annotations

import math
from binascii import crc_hqx

import numpy as np

from tests.bench.walkers.people import Drawn
from winding_coach.meter.calibration import SIMULATED

FIRST_LINE_S, HELLO_EVERY_S = 0.05, 5.0
SETTLING_LINES = 4
SECOND_SHARE, GEAR_SHARE = 0.4, 0.1
SLIPS_PER_KNOTTING, SLIP_FADES_S = 4.0, 0.7
DISTANCE_SD_M, ABSURD = 0.004, 0.001
ZERO_OFF_NM = 60e-6
SMOOTHED_S = 0.15


def line(body: str) -> bytes:
    """Return a line of the protocol."""
    inside = body.encode("ascii")
    return b"$%b*%04X\r\n" % (inside, crc_hqx(inside, 0xFFFF))


class Wire:
    """A meter that sends. channels: "", "c" or "cd". `shown_Nm`: what a screen would show of torque, without its sign,
    as far as ripple and noise go: the readings of the last moments, smoothed."""

    def __init__(self, drawn: Drawn, channels: str, ratio: float, peak_Nm: float, rng: np.random.Generator) -> None:
        self._drawn, self._channels, self._ratio, self._rng = drawn, channels, ratio, rng
        self._noise_Nm = drawn.noise * peak_Nm
        self._noise = rng.standard_normal(4096).tolist()
        self._next_noise = 0
        self._phase = float(rng.uniform(0.0, 2.0 * math.pi))
        self._at_s = 0.0
        self._next_s = FIRST_LINE_S
        self._next_hello_s = 0.0
        self._seq = 0
        self._slip = 0.0
        self._knotted = 0.0
        self._pulses = self._counted = 0
        self._torque_Nm = self._rev = 0.0
        self.shown_Nm = 0.0

    def advance(self, dt_s: float, torque_Nm: float, rev: float, distance_m: float, knotted: float) -> bytes:
        """Let time pass up to a moment with these truths; return the lines that became due in it."""
        before_Nm, before_s, before_rev = self._torque_Nm, self._at_s, self._rev
        self._torque_Nm, self._at_s, self._rev = torque_Nm, before_s + dt_s, rev
        self._slips(knotted, dt_s)
        if self._channels:
            self._count(rev)
        sent = b""
        while self._next_s <= self._at_s + 1e-9:
            share = (self._next_s - before_s) / dt_s
            sent += self._line(
                before_Nm + share * (torque_Nm - before_Nm), before_rev + share * (rev - before_rev), distance_m
            )
            self._next_s += 1.0 / self._drawn.lines_per_s
        return sent

    def _slips(self, knotted: float, dt_s: float) -> None:
        if knotted > self._knotted and self._rng.random() < SLIPS_PER_KNOTTING * (knotted - self._knotted):
            self._slip += self._drawn.slip
        self._knotted = max(self._knotted, knotted)
        self._slip *= 1.0 - dt_s / SLIP_FADES_S

    def _count(self, rev: float) -> None:
        pulses = math.floor(rev * self._drawn.pulses)
        for _ in range(abs(pulses - self._pulses)):
            # One sensor sees a pulse whichever way it goes by, and misses some.
            if self._rng.random() >= self._drawn.pulses_lost:
                self._counted += 1
        self._pulses = pulses

    def _line(self, torque_Nm: float, rev: float, distance_m: float) -> bytes:
        drawn = self._drawn
        angle = 2.0 * math.pi * rev
        wave = math.sin(angle + self._phase) + SECOND_SHARE * math.sin(2.0 * angle + 2.0 * self._phase)
        wave += GEAR_SHARE * math.sin(self._ratio * angle)
        self._next_noise = (self._next_noise + 1) % 4096
        seen_Nm = torque_Nm * (1.0 - self._slip) * (1.0 + drawn.ripple * wave)
        seen_Nm += self._noise_Nm * self._noise[self._next_noise]
        share = 1.0 / (1.0 + SMOOTHED_S * drawn.lines_per_s)
        self.shown_Nm += share * (abs(seen_Nm) - self.shown_Nm)
        raw = round(SIMULATED.zero_counts + (seen_Nm + ZERO_OFF_NM) / SIMULATED.Nm_per_count)
        hello = b""
        if self._at_s >= self._next_hello_s:
            self._next_hello_s = self._at_s + HELLO_EVERY_S
            crank = f",ppr={drawn.pulses}" if self._channels and drawn.pulses != 1 else ""
            hello = line(f"H,1,board=bench,rate={drawn.lines_per_s:.0f},ch={self._channels}{crank}")
        flags = "08" if self._seq < SETTLING_LINES else "00"
        body = f"D,{self._seq % 65536},{round(self._next_s * 1e6)},{raw},{flags}"
        self._seq += 1
        if self._channels:
            body += f",c={self._counted % 65536}"
        if "d" in self._channels:
            shown_m = distance_m + DISTANCE_SD_M * self._noise[-self._next_noise]
            if self._rng.random() < ABSURD:
                shown_m = float(self._rng.uniform(0.0, 4.0))
            body += f",d={max(round(1e3 * shown_m), 0)}"
        return hello + line(body)
