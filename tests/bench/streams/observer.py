"""An ideal observer of the torque: it knows each stream's ripple, noise and habits, and gives the chance of standing.

It is given what no real program has: the amplitudes and phases of the ripple, the noise, how the crank's mean speed
goes with time, how much and how slowly the speed wanders, how often this person stops, the angle at the start, when
feet move and when knots slip (never by how much). It is not given the torque without ripple: that is a level with a
slope, both unknown, and torque that rises or relaxes is no sign of anything to it. Nor does it see pulses.

A particle filter over crank angle and speed (bootstrap, Gordon, Salmond & Smith 1993) with the level and slope carried
by a Kalman filter in each particle (Rao-Blackwell; Doucet & al. 2000). All streams of a batch run at once. Changes of
what the hand does are proposed more often than they happen and weighed down. It is ideal but for its finite number of
particles and the simple form of its stops: bounds from it are a little too kind.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.bench.streams.making import STANDS_REV_PER_S, Stream
from tests.bench.streams.motion import Floats
from tests.bench.streams.scoring import runs
from tests.bench.streams.watching import STANDS, TURNS, Watched

HZ = 40.0
"""It looks so often at most: 320 and 80 lines a second are averaged to this (ripple ends at 9 Hz)."""
PARTICLES = 400
OFTEN, SLOW_OFTEN = 12.0, 30.0
"""Stops, and turns to a slow crank, are proposed so many times too often."""
RESTART_PER_S = 0.7
BACK_SHARE, SLOW_STARTS = 0.25, 0.25
"""Of the restarts those that go back; of those that go forward those that are slow at first."""
RAMP, SHAKY = 0.4, 0.06
"""Time constant of the speed when the hand starts or stops, over the person's own ramp; what shakes it meanwhile, a
look, in shares of the usual speed."""
DRIFTS = 0.03
"""What the factor of a slow or backward hand wanders by a look."""
QUIET, WALKING, SLIPPED = 1e-4, 0.15, 0.02
"""Of the background in shares of the peak: variance that its slope gains in a second, at rest and while feet move (and
half a second after); standard deviation of a slip."""
STOOD_S = 0.5
SURE, SURE_S = 0.97, 0.1
"""It says that the crank stands when it is so sure, for so long, that it stands or did within the last `STOOD_S`: a
crank that may have started again a moment ago is no false call. Set on tuning seeds for few false calls an
hour."""
LEAST_NOISE = 0.05
"""The noise it believes in is at least this share of the ripple: its own model of speed is no better."""


@dataclass(frozen=True)
class Looks:
    """Streams of one rate on a common clock. One row a stream; nan where no line came.

    y: torque over expected peak, mean over a tick; sd: its noise; size: factor on the ripple; speed: mean speed of
    turning; walks: feet move; slips: a slip in this tick.
    """

    hz: float
    y: Floats
    sd: Floats
    size: Floats
    speed: Floats
    walks: NDArray[np.bool_]
    slips: NDArray[np.bool_]


@dataclass
class _Hand:
    """Particles, one row a stream: angle, speed (rev/s), factor (what the hand wants of the usual speed), wander;
    level and slope of the background; seconds since it stood."""

    angle: Floats
    speed: Floats
    factor: Floats
    wander: Floats
    level: Floats
    slope: Floats
    stood: Floats
    weight: Floats

    def taken(self, rows: NDArray[np.int64], which: NDArray[np.int64]) -> None:
        for name in ("angle", "speed", "factor", "wander", "level", "slope", "stood"):
            values = getattr(self, name)
            values[rows] = np.take_along_axis(values[rows], which, axis=1)
        self.weight[rows] = 1.0 / self.weight.shape[1]


def ticks(one: Stream, hz: float) -> NDArray[np.int64]:
    """Return the tick of each line: that in which the middle of its conversion falls."""
    return np.asarray((np.maximum(one.t_s - 0.5 / one.draw.lines_per_s, 0.0) * hz).astype(np.int64))


def looks(streams: list[Stream]) -> Looks:
    """Return streams of one rate on a common clock."""
    rate = streams[0].draw.lines_per_s
    hz = min(rate, HZ)
    n = max(int(one.t_s[-1] * hz) for one in streams) + 1
    shape = (len(streams), n)
    y, size, speed = np.full(shape, np.nan), np.ones(shape), np.ones(shape)
    sd, walks, slips = np.ones(shape), np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    for i, one in enumerate(streams):
        tick = np.minimum(ticks(one, hz), n - 1)
        lines = np.bincount(tick, minlength=n).astype(np.float64)
        here = lines > 0
        total = np.bincount(tick, weights=one.torque_Nm, minlength=n)
        y[i, here] = total[here] / lines[here] / one.draw.expected_Nm
        sd[i, here] = one.draw.noise / np.sqrt(lines[here])
        middle = (np.arange(n) + 0.5) / hz
        size[i] = np.interp(middle, one.t_s, one.ripple_size / one.draw.expected_Nm)
        tired = 1.0 - one.draw.tired * np.clip(one.motion.share - 0.5, 0.0, 0.5) / 0.5
        speed[i] = one.draw.rev_per_s * np.interp(middle, one.motion.t_s, tired)
        feet = np.interp(middle, one.t_s, one.feet.astype(np.float64)) > 0.0
        after = np.convolve(feet, np.ones(round(0.5 * hz) + 1))[:n] > 0.0
        walks[i] = after
        slips[i, np.minimum((one.slips_s * hz).astype(np.int64), n - 1)] = True
    return Looks(hz, y, sd, size, speed, walks, slips)


class Observer:
    """Watches a batch of streams of one rate. `standing` gives its chance after each tick, one row a stream."""

    def __init__(self, streams: list[Stream], particles: int = PARTICLES, seed: int = 0) -> None:
        self._random = np.random.default_rng(seed)
        self._looks = looks(streams)
        self.hz = self._looks.hz
        self._p = particles
        self._amplitudes = np.array([[*one.draw.ripple.amplitudes, 0.0, 0.0, 0.0, 0.0][:4] for one in streams])
        phases = np.array([[*one.draw.ripple.phases, 0.0, 0.0, 0.0, 0.0][:4] for one in streams])
        self._cos = self._amplitudes * np.cos(2.0 * math.pi * phases)
        self._sin = self._amplitudes * np.sin(2.0 * math.pi * phases)
        self._least = LEAST_NOISE * np.sqrt(np.sum(self._amplitudes**2, axis=1))
        self._uneven = np.array([[one.draw.uneven] for one in streams])
        self._uneven_phase = np.array([[one.draw.uneven_phase] for one in streams])
        self._wander = np.array([[one.draw.wander] for one in streams])
        self._keep = np.exp(-1.0 / (np.array([[one.draw.wander_s] for one in streams]) * self.hz))
        stops = np.array([one.draw.stalls_per_min + 4.0 * one.draw.stops_at_steps for one in streams])
        self._stop = ((stops / 60.0 + 1.0 / 60.0) / self.hz)[:, None]
        self._ramp = np.exp(-1.0 / (self.hz * (RAMP * np.array([[one.draw.ramp_s] for one in streams]) + 0.02)))
        self._slow = np.array([[one.draw.slow_per_min + 0.2] for one in streams]) / 60.0 / self.hz
        s = len(streams)
        self._first = np.array([[one.draw.angle] for one in streams])
        zero = np.zeros((s, particles))
        self._hand = _Hand(
            zero.copy(),
            zero.copy(),
            zero.copy(),
            self._normal(),
            zero.copy(),
            zero.copy(),
            zero.copy(),
            np.full_like(zero, 1 / particles),
        )
        first = np.nanmean(self._looks.y[:, : max(round(self.hz), 2)], axis=1)
        ripple = self._ripple(self._looks.size[:, :1])
        self._hand.level += first[:, None] - ripple
        self._var = np.zeros((s, 3)) + np.array([1e-4, 0.0, 1e-4])

    def _normal(self) -> Floats:
        return self._random.standard_normal((len(self._cos), self._p))

    def _ripple(self, size: Floats) -> Floats:
        """Return each particle's ripple, blurred by the time that a look takes."""
        hand = self._hand
        within = np.sin(2.0 * math.pi * (hand.angle + self._uneven_phase))
        turn = 2.0 * math.pi * (self._first + hand.angle) + self._uneven * within
        c, s = np.cos(turn), np.sin(turn)
        square = (math.pi * hand.speed / self.hz) ** 2
        total = np.zeros_like(c)
        ck, sk = c, s
        for k in range(4):
            if k:
                ck, sk = ck * c - sk * s, sk * c + ck * s
            x2 = (k + 1) ** 2 * square
            blur = 1.0 - x2 / 6.0 + x2 * x2 / 120.0
            total += blur * (self._cos[:, k, None] * ck - self._sin[:, k, None] * sk)
        return np.asarray(total * size)

    def _move(self, speed: Floats) -> None:
        """Let every hand go on by a tick, and change its mind now and then."""
        hand, random = self._hand, self._random
        shape = hand.angle.shape
        self._change(random.random(shape), random.random(shape))
        hand.wander = self._keep * hand.wander + np.sqrt(1.0 - self._keep**2) * self._normal()
        wanted = hand.factor * speed * (1.0 + self._wander * np.clip(hand.wander, -2.5, 2.5))
        before = hand.speed
        on_the_way = np.abs(before - wanted) > 0.1 * speed
        hand.speed = wanted + (before - wanted) * self._ramp
        some = np.nonzero(on_the_way)
        hand.speed[some] += SHAKY * speed[some[0], 0] * random.standard_normal(len(some[0]))
        # The middle of the tick that is looked at.
        hand.angle = hand.angle + 0.5 * (before + hand.speed) / self.hz

    def _change(self, u: Floats, drawn: Floats) -> None:
        """Change some minds: proposed more often than it happens, and weighed down."""
        hand = self._hand
        turning, standing = hand.factor == 1.0, hand.factor == 0.0
        other = ~turning & ~standing
        stop, slow = self._stop * OFTEN, self._slow * SLOW_OFTEN
        again = min(RESTART_PER_S / self.hz, 0.3)
        leaves = 3.0 * again
        new_stop = (turning & (u < stop)) | (other & (u < again))
        new_slow = turning & (u >= stop) & (u < stop + slow)
        new_back = standing & (u < leaves / 2.0)
        new_turn = (standing & (u >= leaves / 2.0) & (u < leaves)) | (other & (u > 1.0 - again))
        stays = np.where(turning, (1.0 - self._stop - self._slow) / (1.0 - stop - slow), 1.0)
        stays = np.where(standing, (1.0 - again) / (1.0 - leaves), stays)
        ratio = np.where(turning & new_stop, 1.0 / OFTEN, np.where(new_slow, 1.0 / SLOW_OFTEN, stays))
        ratio = np.where(new_back, BACK_SHARE * 2.0 / 3.0, ratio)
        hand.weight *= np.where(standing & new_turn, (1.0 - BACK_SHARE) * 2.0 / 3.0, ratio)
        hand.factor[other] += DRIFTS * self._random.standard_normal(int(other.sum()))
        hand.factor[new_stop] = 0.0
        hand.factor[new_slow] = 0.2 + 0.5 * drawn[new_slow]
        hand.factor[new_back] = -(0.6 + 0.5 * drawn[new_back])
        hand.factor[new_turn] = np.where(drawn < SLOW_STARTS, 0.2 + 0.5 * drawn / SLOW_STARTS, 1.0)[new_turn]

    def _background(self, j: int) -> None:
        """Predict level and slope: their spread is the same for all particles of a stream."""
        now, dt = self._looks, 1.0 / self.hz
        gains = np.where(now.walks[:, j], WALKING, QUIET) * dt
        a, b, c = self._var.T
        a = a + 2.0 * dt * b + dt * dt * c + gains * dt * dt / 3.0 + np.where(now.slips[:, j], SLIPPED**2, 0.0)
        b = b + dt * c + gains * dt / 2.0
        self._var = np.stack([a, b, c + gains], axis=1)
        self._hand.level = self._hand.level + dt * self._hand.slope

    def _weigh(self, j: int) -> None:
        """Weigh by what was seen, and correct level and slope."""
        now, hand = self._looks, self._hand
        seen = np.isfinite(now.y[:, j])
        if not seen.any():
            return
        miss = np.where(seen, now.y[:, j], 0.0)[:, None] - hand.level - self._ripple(now.size[:, j, None])
        noise = np.maximum(now.sd[:, j], self._least * now.size[:, j]) ** 2
        a, b, c = self._var.T
        total = a + noise
        worth = np.where(seen[:, None], -0.5 * miss**2 / total[:, None], 0.0)
        hand.weight *= np.exp(worth - worth.max(axis=1, keepdims=True))
        gain0, gain1 = np.where(seen, a / total, 0.0), np.where(seen, b / total, 0.0)
        hand.level = hand.level + gain0[:, None] * miss
        hand.slope = hand.slope + gain1[:, None] * miss
        self._var = np.stack([a - gain0 * a, b - gain0 * b, c - gain1 * b], axis=1)

    def _resample(self) -> None:
        hand = self._hand
        hand.weight /= hand.weight.sum(axis=1, keepdims=True)
        few = np.flatnonzero(1.0 / np.sum(hand.weight**2, axis=1) < 0.5 * self._p)
        if not len(few):
            return
        total = np.cumsum(hand.weight[few], axis=1)
        total /= total[:, -1:]
        rows = np.arange(len(few))[:, None]
        want = (np.arange(self._p) + self._random.random((len(few), 1))) / self._p
        which = np.searchsorted((total + rows).ravel(), (want + rows).ravel()).reshape(want.shape) - rows * self._p
        hand.taken(few, np.clip(which, 0, self._p - 1))

    def run(self) -> tuple[Floats, Floats]:
        """Return the chances, after each tick, that the crank stands, and that it stood within `STOOD_S`."""
        now, hand = self._looks, self._hand
        stands, stood = np.zeros(now.y.shape), np.zeros(now.y.shape)
        for j in range(now.y.shape[1]):
            self._move(now.speed[:, j, None])
            self._background(j)
            self._weigh(j)
            self._resample()
            slow = np.abs(hand.speed) < STANDS_REV_PER_S
            hand.stood = np.where(slow, 0.0, hand.stood + 1.0 / self.hz)
            stands[:, j] = np.sum(hand.weight * slow, axis=1)
            stood[:, j] = np.sum(hand.weight * (hand.stood < STOOD_S), axis=1)
        return stands, stood


def observed(streams: list[Stream], *, particles: int = PARTICLES, batch: int = 40, seed: int = 0) -> list[Watched]:
    """Return what the ideal observer says of each stream at the stream's own lines."""
    by_length = sorted(range(len(streams)), key=lambda i: float(streams[i].t_s[-1]))
    found: dict[int, Watched] = {}
    for first in range(0, len(streams), batch):
        rows = by_length[first : first + batch]
        began = time.process_time()
        observer = Observer([streams[i] for i in rows], particles, seed)
        chances = observer.run()
        took = (time.process_time() - began) / len(rows)
        for row, i in enumerate(rows):
            found[i] = said(streams[i], observer.hz, chances[0][row], chances[1][row], took)
    return [found[i] for i in range(len(streams))]


def said(one: Stream, hz: float, stands: Floats, stood: Floats, took: float) -> Watched:
    """Return the observer's words at the stream's lines: a tick is known when its last line has come."""
    sure = np.zeros(len(stood), dtype=bool)
    for begin, end in runs(stood >= SURE):
        sure[begin + round(SURE_S * hz) : end] = True
    tick = ticks(one, hz)
    known = tick + np.append(np.diff(tick) > 0, True)
    says = np.where(np.concatenate([[True], sure])[known], STANDS, TURNS).astype(np.int8)
    nan = np.full(len(tick), np.nan)
    return Watched(np.arange(len(tick)), says, np.concatenate([[1.0], stands])[known], nan, nan, took)


def kept(streams: list[Stream], folder: Path, batch: int = 20) -> list[Watched]:
    """Return the same from files in a folder, one a stream, made where they are missing: no estimator changes them."""
    folder.mkdir(parents=True, exist_ok=True)
    names = [folder / f"{one.draw.seed}-{one.draw.lines_per_s:g}.npz" for one in streams]
    missing = [i for i, name in enumerate(names) if not name.exists()]
    missing.sort(key=lambda i: float(streams[i].t_s[-1]))
    for first in range(0, len(missing), batch):
        rows = missing[first : first + batch]
        for i, seen in zip(rows, observed([streams[i] for i in rows]), strict=True):
            np.savez(names[i], says=seen.says, p=seen.p, cpu_s=seen.cpu_s)
    out = []
    for name in names:
        with np.load(name) as held:
            says, p = held["says"], held["p"]
            nan = np.full(len(says), np.nan)
            out.append(Watched(np.arange(len(says)), says, p, nan, nan, float(held["cpu_s"])))
    return out
