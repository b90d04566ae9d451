"""The meter, written from the line protocol: true torque, crank and place in, lines out, with what is untrue in them.

It shares no code with the program. Each line comes with what the judge must know of it: when it was converted.
"""

from __future__ import annotations

import math
from binascii import crc_hqx
from dataclasses import dataclass
from random import Random

from tests.trust.truth.untruths import Untruth
from tests.trust.truth.world import NM_PER_COUNT, ZERO_COUNTS, World

RAW_MAX = 2**23 - 1
SATURATED, NO_DATA, SETTLING = 1, 2, 8
HELLO_EVERY_S = 5.0
BOARD_AWAY_S = 1.0
TWO_PI = 2.0 * math.pi


def _line(body: str) -> bytes:
    inside = body.encode("ascii")
    return b"$%b*%04X\r\n" % (inside, crc_hqx(inside, 0xFFFF))


@dataclass(frozen=True, slots=True)
class Hand:
    """What is so at a moment: size of the torque at the hook, the crank, the place, and whether something hangs on."""

    at_s: float
    torque_Nm: float
    revolutions: float
    distance_m: float
    loaded: str


@dataclass(frozen=True, slots=True)
class Sent:
    """A line. converted_s: when; torque_Nm: what it says by the calibration's own zero, None if it says nothing;
    counted: crank turns sent so far, without those
    that no hand can turn, None without a sensor; frozen: the reading is an old one."""

    data: bytes
    converted_s: float
    torque_Nm: float | None
    counted: int | None
    frozen: bool
    stranger: bool


class Sender:
    """Lines of one wind. `begun` holds the untruths that have begun, with the moment."""

    def __init__(self, world: World, peak_Nm: float, rng: Random) -> None:
        self.world, self._peak_Nm, self._rng = world, peak_Nm, rng
        self.begun: dict[str, float] = {}
        self.over: set[str] = set()
        self._boot_s = 0.0
        self._lines_from_s = 0.05
        self._next_s = 0.05
        self._hello_s = 0.0
        self._seq, self._settling = 0, 4
        self._jump_us = 0
        self._sent_count = 0
        self._impossible = 0
        self._seen_pulses = 0
        self._frozen_raw: int | None = None
        self._frozen_count: int | None = None
        self._stuck_mm: int | None = None
        self._frozen_us: int | None = None
        self._phase = rng.uniform(0.0, TWO_PI)
        self._pulses = round(world.amount("pulses a turn", 1.0))
        self._board = "invented"
        self._board_zero = 0.0
        self._counts_from = 0

    def begin(self, untruth: Untruth, at_s: float) -> None:
        """An untruth begins."""
        kind = untruth.kind
        self.begun[kind] = at_s
        if kind == "reset":
            self._boot(at_s + untruth.lasts_s)
        elif kind == "another board":
            self._boot(at_s + BOARD_AWAY_S)
            self._board = "another"
            self._board_zero = self._rng.choice((-0.3, 0.2, 0.5)) * self._peak_Nm
        elif kind == "many pulses at once":
            self._sent_count += round(untruth.amount)
            self._impossible += round(untruth.amount)
        elif kind == "clock jumps":
            self._jump_us += round(untruth.amount * 1e6)

    def _boot(self, at_s: float) -> None:
        self._boot_s, self._next_s, self._hello_s = at_s, at_s + 0.05, at_s
        self._seq, self._settling, self._jump_us = 0, 4, 0
        self._counts_from = self._sent_count

    def active(self, kind: str, at_s: float) -> Untruth | None:
        """Return the untruth of a kind while it lasts."""
        begun_s = self.begun.get(kind)
        if begun_s is None:
            return None
        untruth = self.world.untruth(kind)
        return untruth if untruth is not None and at_s <= begun_s + untruth.lasts_s else None

    def lines(self, before: Hand, now: Hand) -> list[Sent]:
        """Return the lines converted between two moments."""
        sent: list[Sent] = []
        span = now.at_s - before.at_s
        while self._next_s <= now.at_s + 1e-9:
            at_s = self._next_s
            self._next_s += 1.0 / self.world.lines_per_s
            part = min(1.0, max(0.0, (at_s - before.at_s) / span))
            hand = Hand(
                at_s,
                before.torque_Nm + part * (now.torque_Nm - before.torque_Nm),
                before.revolutions + part * (now.revolutions - before.revolutions),
                before.distance_m + part * (now.distance_m - before.distance_m),
                now.loaded,
            )
            self._count(hand.revolutions)
            if self.active("silent", at_s) is None:
                sent.append(self._sample(hand))
        return sent

    def _count(self, revolutions: float) -> None:
        whole = math.floor(revolutions * self._pulses)
        pulses = abs(whole - self._seen_pulses)
        sign = 1 if whole > self._seen_pulses or "q" not in self.world.channels else -1
        self._seen_pulses = whole
        if "crank sensor dies" in self.begun:
            return
        lost, double = self.world.amount("pulses lost", 0.0), self.world.amount("double pulses", 0.0)
        for _ in range(pulses):
            if lost and self._rng.random() < lost:
                continue
            self._sent_count += sign * (2 if double and self._rng.random() < double else 1)

    def _torque(self, hand: Hand) -> float:
        world, begun = self.world, self.begun
        torque = hand.torque_Nm
        if world.ripple:
            angle = TWO_PI * hand.revolutions
            torque *= 1.0 + world.ripple * (math.sin(angle + self._phase) + 0.4 * math.sin(2.0 * angle))
        torque *= world.amount("gain", 1.0) * world.amount("torque negative", 1.0)
        if "gain falls" in begun:
            torque *= world.amount("gain falls", 1.0)
        off = world.zero_off + world.amount("zero drifts", 0.0) * hand.at_s / 60.0
        if "zero steps" in begun:
            off += world.amount("zero steps", 0.0)
        if hand.loaded == "weight":
            off += world.amount("weight at tare", 0.0)
        torque += off * self._peak_Nm + world.noise_Nm * self._rng.gauss(0.0, 1.0)
        if self._board == "another":
            torque = torque * world.amount("another board", 1.0) + self._board_zero
        return torque

    def _raw(self, hand: Hand) -> tuple[int | None, int]:
        torque = self._torque(hand)
        flags = 0
        if self._settling:
            self._settling -= 1
            flags |= SETTLING
        if self.active("no data", hand.at_s):
            return None, flags | NO_DATA
        end = self.world.untruth("end of range")
        past = end is not None and abs(torque) > end.amount * self._peak_Nm
        if past or self.active("saturated", hand.at_s):
            return (RAW_MAX if torque > 0 else -RAW_MAX - 1), flags | SATURATED
        return round(ZERO_COUNTS + torque / NM_PER_COUNT), flags

    def _sample(self, hand: Hand) -> Sent:
        world, begun, at_s = self.world, self.begun, hand.at_s
        raw, flags = self._raw(hand)
        frozen = False
        if "raw frozen" in begun or "all frozen" in begun:
            if self._frozen_raw is None:
                self._frozen_raw = raw
            raw, frozen = self._frozen_raw, True
        body = f"D,{self._sequence()},{self._clock(at_s)},{'' if raw is None else raw},{flags:02X}"
        counted: int | None = None
        if {"c", "q"} & set(world.channels):
            count = self._sent_count
            if "all frozen" in begun:
                self._frozen_count = count if self._frozen_count is None else self._frozen_count
                count = self._frozen_count
            counted = count - self._impossible
            body += f",c={(count - self._counts_from) % 65_536}"
        distance_mm = self._distance_mm(hand)
        if distance_mm is not None:
            body += f",d={distance_mm}"
        data = _line(body)
        if at_s >= self._hello_s:
            self._hello_s = at_s + HELLO_EVERY_S
            hello = f"H,1,board={self._board},rate={world.lines_per_s:.0f},ch={world.channels}"
            data = _line(hello + ",rst=por") + data
        says = None if raw is None or flags else (raw - ZERO_COUNTS) * NM_PER_COUNT
        return Sent(data, at_s, says, counted, frozen, self._board == "another")

    def _sequence(self) -> int:
        seq = self._seq
        if "sequence frozen" not in self.begun:
            self._seq = (seq + 1) % 65_536
        return seq

    def _clock(self, at_s: float) -> int:
        up_us = (at_s - self._boot_s) * 1e6 * self.world.amount("clock runs wrong", 1.0)
        t_us = round(up_us + 8.0 * self._rng.random()) + self._jump_us
        if "clock frozen" in self.begun:
            self._frozen_us = t_us if self._frozen_us is None else self._frozen_us
            t_us = self._frozen_us
        return t_us % 2**32

    def _distance_mm(self, hand: Hand) -> int | None:
        if "d" not in self.world.channels:
            return None
        true_mm = round(1e3 * hand.distance_m + 4.0 * self._rng.gauss(0.0, 1.0))
        absurd = self.active("absurd distance", hand.at_s)
        if absurd is not None:
            return round(absurd.amount)
        if "distance dead" in self.begun:
            return round(self.world.amount("distance dead", 0.0))
        if "distance stuck" in self.begun:
            self._stuck_mm = true_mm if self._stuck_mm is None else self._stuck_mm
            return self._stuck_mm
        if "distance jumps" in self.begun and self._rng.random() < self.world.amount("distance jumps", 0.0):
            return true_mm + round(self._rng.choice((-1.0, 1.0)) * self._rng.uniform(300.0, 3000.0))
        return true_mm


class Link:
    """The way from the meter to the computer: at once, in bursts, or slower than the lines come."""

    def __init__(self, sender: Sender) -> None:
        self._sender = sender
        self._waiting: list[Sent] = []
        self._paid = 0.0
        self._burst_s = 0.0

    def carry(self, sent: list[Sent], at_s: float, dt_s: float) -> list[Sent]:
        """Take lines in; return those that arrive now, in order."""
        begun, world = self._sender.begun, self._sender.world
        self._waiting += sent
        if "backlog" in begun:
            self._paid += world.amount("backlog", 1.0) * world.lines_per_s * dt_s
            number = min(int(self._paid), len(self._waiting))
            self._paid = min(self._paid - number, 1.0)
            return self._take(number)
        if "bursts" in begun:
            if at_s < self._burst_s:
                return []
            self._burst_s = at_s + world.amount("bursts", 0.0)
        return self._take(len(self._waiting))

    def _take(self, number: int) -> list[Sent]:
        arrived, self._waiting = self._waiting[:number], self._waiting[number:]
        return arrived
