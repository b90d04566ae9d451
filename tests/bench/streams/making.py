"""One invented stream: what a meter sends of an invented wind, with the truth of every line beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tests.bench.streams.drawing import Draw, draw
from tests.bench.streams.motion import FINE_HZ, Floats, Motion, move
from tests.bench.streams.rubber import torque_of
from winding_coach.meter.frames import Hello, Sample, encode_hello, encode_sample

Bools = NDArray[np.bool_]
Sensor = Literal["none", "1 pulse", "4 pulses", "quadrature"]
SENSORS: tuple[Sensor, ...] = ("none", "1 pulse", "4 pulses", "quadrature")
PER_TURN: dict[Sensor, int] = {"none": 1, "1 pulse": 1, "4 pulses": 4, "quadrature": 4}
STANDS_REV_PER_S, TURNS_REV_PER_S = 0.15, 0.20
"""Slower than the first for at least `STANDS_S` is standing, faster than the second turning, between is not scored."""
STANDS_S = 0.25
MAGNET_SD = 0.01
"""Turns by which each magnet sits off its place."""
COUNTS_AT_PEAK = 800_000
ZERO_COUNTS = 84_000
TURNING, GREY, STANDING = 0, 1, 2


@dataclass(frozen=True)
class Stream:
    """Lines that arrive, and the truth at each. torque_Nm: as measured; true_Nm: without ripple and noise.

    angle: turns of the crank; label: TURNING, GREY or STANDING; stands: every time the crank stood (from, to);
    feet: hooks move; slips_s: times of slips; ripple_size: factor on the ripple's amplitudes, N·m.
    """

    draw: Draw
    t_s: Floats
    torque_Nm: Floats
    true_Nm: Floats
    angle: Floats
    speed: Floats
    label: NDArray[np.int8]
    stands: tuple[tuple[float, float], ...]
    feet: Bools
    slips_s: Floats
    ripple_size: Floats
    peak_Nm: float
    motion: Motion

    def count(self, sensor: Sensor) -> NDArray[np.int64] | None:
        """Return the sensor's count at each line, None without one; `PER_TURN` counts make a turn."""
        if sensor == "none":
            return None
        return counted(self.draw, self.motion, sensor, self.t_s)

    def wire(self, sensor: Sensor) -> list[bytes]:
        """Return the lines as a meter sends them, a hello first; the calibration is `COUNTS_AT_PEAK`."""
        count = self.count(sensor)
        channel = {"none": "", "1 pulse": "c", "4 pulses": "c", "quadrature": "q"}[sensor]
        fields = [("rate", f"{self.draw.lines_per_s:.0f}"), ("ch", channel)]
        if PER_TURN[sensor] > 1:
            fields.append(("ppr", str(PER_TURN[sensor])))
        raw = ZERO_COUNTS + np.rint(self.torque_Nm / self.draw.expected_Nm * COUNTS_AT_PEAK).astype(np.int64)
        seq = np.rint(self.t_s * self.draw.lines_per_s).astype(np.int64)
        lines = [encode_hello(Hello(1, tuple(fields)))]
        for i, (now, value) in enumerate(zip(self.t_s.tolist(), raw.tolist(), strict=True)):
            crank = None if count is None else int(count[i]) % 65536
            lines.append(encode_sample(Sample(int(seq[i]) % 65536, round(now * 1e6), value, 0, crank)))
        return lines


def counted(draw: Draw, motion: Motion, sensor: Sensor, at_s: Floats) -> NDArray[np.int64]:
    """Count passing magnets: one sensor up whichever way, two down in reverse; some are lost, some count twice."""
    random = np.random.default_rng([draw.seed, round(draw.lines_per_s), 3, PER_TURN[sensor], sensor == "quadrature"])
    magnets = PER_TURN[sensor]
    off = random.normal(0.0, MAGNET_SD, magnets) if magnets > 1 else np.zeros(1)
    first = random.uniform(0.0, 1.0)
    change = np.zeros(len(motion.t_s), dtype=np.int64)
    for magnet in range(magnets):
        passed = np.floor(motion.angle - first - magnet / magnets - off[magnet])
        change[1:] += np.diff(passed).astype(np.int64)
    where = np.flatnonzero(change)
    sign = np.sign(change[where]) if sensor == "quadrature" else np.ones(len(where), dtype=np.int64)
    chance = random.random(len(where))
    times = np.where(chance < draw.lost, 0, np.where(chance > 1.0 - draw.doubled, 2, 1))
    total = np.concatenate([[0], np.cumsum(sign * times)])
    return total[np.searchsorted(motion.t_s[where], at_s, side="right")]


def labels(motion: Motion) -> tuple[NDArray[np.int8], tuple[tuple[float, float], ...]]:
    """Return the truth on the fine grid, and every stand."""
    slow = np.abs(motion.speed) < STANDS_REV_PER_S
    edges = np.flatnonzero(np.diff(np.concatenate([[0], slow.astype(np.int8), [0]])))
    label = np.where(np.abs(motion.speed) > TURNS_REV_PER_S, TURNING, GREY).astype(np.int8)
    stands = []
    for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if end - begin >= STANDS_S * FINE_HZ:
            label[begin:end] = STANDING
            stands.append((begin / FINE_HZ, end / FINE_HZ))
    return label, tuple(stands)


def ripple_at(draw: Draw, angle: Floats) -> Floats:
    """Return the ripple at crank angles, in shares of the expected peak at the expected peak."""
    total = np.zeros_like(angle)
    for k, (size, phase) in enumerate(zip(draw.ripple.amplitudes, draw.ripple.phases, strict=True), 1):
        if size:
            total += size * np.cos(2.0 * math.pi * (k * angle + phase))
    return total


def times_of(draw: Draw, last_s: float, random: np.random.Generator) -> Floats:
    """Return the device times of the lines that arrive: a jitter of 1 % of a period, some dropped, some in bursts."""
    t_s = np.arange(1.0 / draw.lines_per_s, last_s, 1.0 / draw.lines_per_s)
    t_s = t_s + random.uniform(-0.01, 0.01, len(t_s)) / draw.lines_per_s
    kept = random.random(len(t_s)) >= draw.dropped
    for begun in random.uniform(0.0, last_s, random.poisson(draw.gaps_per_min * last_s / 60.0)).tolist():
        kept &= (t_s < begun) | (t_s > begun + random.uniform(0.05, 0.45))
    return t_s[kept]


def stream(seed: int, lines_per_s: float) -> Stream:
    """Make the stream of a seed."""
    return made(draw(seed, lines_per_s))


def made(one: Draw, motion: Motion | None = None) -> Stream:
    """Make the stream of a draw, with its own motion or another."""
    motion = motion or move(one)
    true, slips_s = torque_of(one, motion)
    size = one.expected_Nm * (one.ripple.fixed + (1.0 - one.ripple.fixed) * np.maximum(true, 0.0) / one.expected_Nm)
    whole = true + size * ripple_at(one, motion.angle)
    random = np.random.default_rng([one.seed, round(one.lines_per_s), 4])
    t_s = times_of(one, float(motion.t_s[-1]), random)
    # A converter gives the mean over its period.
    total = np.concatenate([[0.0], np.cumsum(whole)]) / FINE_HZ
    grid = np.arange(len(total)) / FINE_HZ
    period = 1.0 / one.lines_per_s
    mean = (np.interp(t_s, grid, total) - np.interp(t_s - period, grid, total)) / np.minimum(period, t_s)
    label, stands = labels(motion)
    here = np.clip(np.rint(t_s * FINE_HZ).astype(np.int64), 0, len(label) - 1)
    return Stream(
        draw=one,
        t_s=t_s,
        torque_Nm=mean + random.normal(0.0, one.noise * one.expected_Nm, len(t_s)),
        true_Nm=true[here],
        angle=motion.angle[here],
        speed=motion.speed[here],
        label=label[here],
        stands=stands,
        feet=motion.moves[here],
        slips_s=slips_s,
        ripple_size=size[here],
        peak_Nm=float(true.max()),
        motion=motion,
    )
