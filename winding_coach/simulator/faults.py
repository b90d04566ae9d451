"""A bench whose lead, lines or meter go wrong: the same bytes, spoilt as asked for. Deterministic by seed.

Faults are written `KIND@SECONDS`, `KIND@SECONDS:FOR` or `KIND=SHARE`; see `KINDS`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from winding_coach.base.errors import WrongFigures
from winding_coach.simulator.bench import Bench, Truth

KINDS: dict[str, tuple[str, float]] = {
    "reset": ("the meter restarts (1.5 s without lines; clock, sequence and crank count begin again)", 1.5),
    "unplug": ("the lead is pulled and comes back under another name", 3.0),
    "power": ("the lead that feeds the meter is pulled: as unplug, and the meter restarts when it is back", 3.0),
    "silent": ("the meter sends nothing", 3.0),
    "garbage": ("lines are replaced by rubbish", 1.0),
    "crank": ("the crank sensor gives no pulse", 600.0),
    "radio": ("nothing comes from the crank sender", 4.0),
    "noise": ("readings scatter by 0.5 mN·m", 1.0),
    "lost": ("lines are missing (a share of all)", 0.0),
    "cut": ("lines lose some of their bytes (a share of all)", 0.0),
    "flip": ("single bits are flipped (a share of all bytes)", 0.0),
    "double": ("lines come twice (a share of all)", 0.0),
    "spike": ("readings jump for one line (a share of all)", 0.0),
    "nodata": ("the converter gives nothing for a line (a share of all)", 0.0),
    "radiolost": ("lines of the crank sender are missing (a share of all)", 0.0),
    "radiolate": ("lines of the crank sender come 0.3 to 0.9 s late (a share of all)", 0.0),
    "drop": ("the meter itself drops a line and says so in the next (a share of all)", 0.0),
}
"""Kind: what happens, and for how many seconds where no time is given; kinds with 0 s take a share."""

RESTARTING = {"reset": "ext", "power": "por"}
"""Kinds after which the meter restarts, and the cause it then gives."""
NOISE_NM = 5e-4
TICK_S = 0.0125

_AT = re.compile(r"([a-z]+)@(\d{1,6}(?:\.\d{1,6})?)(?::(\d{1,4}(?:\.\d{1,6})?))?", re.ASCII)
_SHARE = re.compile(r"([a-z]+)=(0(?:\.\d{1,8})?|1(?:\.0{1,8})?)", re.ASCII)


class FaultError(WrongFigures):
    """A fault that was not written as one; the message is one sentence."""


@dataclass(frozen=True, slots=True)
class Fault:
    """at_s, for_s: when, in seconds of the bench; share: 0-1, of lines or bytes, all the time."""

    kind: str
    at_s: float = 0.0
    for_s: float = 0.0
    share: float = 0.0


def parse_fault(text: str) -> Fault:
    """Return the fault that a text such as `reset@40`, `unplug@55:4` or `lost=0.01` describes.

    Raises:
        FaultError: it describes none.
    """
    at = _AT.fullmatch(text)
    if at is not None and KINDS.get(at[1], ("", 0.0))[1] > 0:
        for_s = float(at[3]) if at[3] else KINDS[at[1]][1]
        if for_s > 0:
            return Fault(at[1], float(at[2]), for_s)
    share = _SHARE.fullmatch(text)
    if share is not None and KINDS.get(share[1], ("", 1.0))[1] == 0:
        return Fault(share[1], share=float(share[2]))
    timed = ", ".join(kind for kind, (_, seconds) in KINDS.items() if seconds)
    shared = ", ".join(kind for kind, (_, seconds) in KINDS.items() if not seconds)
    shown = "".join(c if c.isprintable() else "?" for c in text[:40])
    raise FaultError(
        f"'{shown}' is no fault: write KIND@SECONDS or KIND@SECONDS:FOR ({timed}), or KIND=SHARE ({shared})."
    )


class FaultyBench:
    """Wraps a bench; `plugged` is false while the lead is out."""

    def __init__(self, bench: Bench, faults: tuple[Fault, ...], rng: np.random.Generator) -> None:
        self.bench = bench
        self._timed = [fault for fault in faults if fault.for_s > 0]
        self._shares = {fault.kind: fault.share for fault in faults if fault.for_s == 0}
        self._restarts = [fault for fault in self._timed if fault.kind in RESTARTING]
        self._on_the_line = any(self._shares.get(kind) for kind in ("lost", "cut", "flip", "double"))
        self._rng = rng
        bench.spike_share = self._shares.get("spike", 0.0)
        bench.no_data_share = self._shares.get("nodata", 0.0)
        bench.drop_share = self._shares.get("drop", 0.0)

    @property
    def done(self) -> bool:
        """Whether the hands have finished."""
        return self.bench.done

    @property
    def truth(self) -> Truth:
        """What is so now, whatever the meter says."""
        return self.bench.truth

    @property
    def plugged(self) -> bool:
        """Whether the lead is in."""
        return not (self._now("unplug") or self._now("power"))

    def answer(self, data: bytes) -> None:
        """Take what the host sent."""
        self.bench.answer(data)

    def crank_sent(self) -> bytes:
        """Return what has come from the crank sender."""
        return self.bench.crank_sent()

    def _now(self, kind: str) -> bool:
        if not self._timed:
            return False
        at_s = self.bench.at_s
        return any(fault.kind == kind and fault.at_s <= at_s < fault.at_s + fault.for_s for fault in self._timed)

    def advance(self, dt_s: float) -> bytes:
        """Let time pass; return the bytes that arrive. Faults begin and end within `TICK_S` of their times."""
        arrived: list[bytes] = []
        while dt_s > 0.0:
            arrived.append(self._tick(min(dt_s, TICK_S)))
            dt_s -= TICK_S
        return b"".join(arrived)

    def _tick(self, dt_s: float) -> bytes:
        for fault in [fault for fault in self._restarts if self.bench.at_s >= fault.at_s]:
            self._restarts.remove(fault)
            self.bench.reset_meter(fault.for_s, RESTARTING[fault.kind])
        self.bench.crank_dead = self._now("crank")
        self.bench.scatter_Nm = NOISE_NM if self._now("noise") else 0.0
        if self.bench.sender is not None:
            radio = self.bench.sender.radio
            radio.silent = self._now("radio")
            radio.lost, radio.late = (self._shares.get(kind, 0.0) for kind in ("radiolost", "radiolate"))
        data = self.bench.advance(dt_s)
        if self._now("silent") or not self.plugged:
            return b""
        if self._now("garbage"):
            return bytes(self._rng.integers(0, 256, len(data), dtype=np.uint8))
        if not self._on_the_line:
            return data
        return b"".join(self._spoilt(line) for line in data.splitlines(keepends=True))

    def _spoilt(self, line: bytes) -> bytes:
        if self._hits("lost"):
            return b""
        if self._hits("cut"):
            keep = int(self._rng.integers(0, len(line)))
            line = line[:keep] if self._rng.random() < 0.5 else line[keep:]
        if self._hits("double"):
            line = line * 2
        share = self._shares.get("flip", 0.0)
        if share:
            spoilt = bytearray(line)
            for i in np.flatnonzero(self._rng.random(len(line)) < share):
                spoilt[i] ^= 1 << int(self._rng.integers(0, 8))
            line = bytes(spoilt)
        return line

    def _hits(self, kind: str) -> bool:
        share = self._shares.get(kind, 0.0)
        return share > 0 and bool(self._rng.random() < share)
