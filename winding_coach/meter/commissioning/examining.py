"""A meter's readings at rest in; noise, hum, spikes, jumps, stuck bits, repeats and frozen values out. Pure.

What is looked for first hides the rest: repeated and frozen values before bits, hum before noise and jumps. All in
counts and device seconds. Thresholds are for white noise of any size, so that a good meter is hardly ever accused.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from winding_coach.meter.frozen import FrozenReadings

NEWEST = 4096
"""Readings that are looked at: the newest, so that a check of an hour costs no more than one of a minute."""
ENOUGH = 64
"""Fewer readings show no hum, bits or repeats."""
MAINS_HZ = (50.0, 60.0)
MAINS_OFF_HZ = 0.35
"""A board's ceramic clock may be 0.5 % off."""
LINE_RATIO = 1.5
"""A line is believed if its root mean square is so many times what is left without it."""
LINE_POWER = 20.0
"""And if white noise makes one as strong less often than e^-20 times the frequencies looked at."""
SLOWEST_HZ, FEWEST_PERIODS = 0.4, 3.0
SPIKE_SDS = 9.0
JUMP_SDS = 8.0
JUMP_READINGS = 8
"""A jump is between the medians of so many readings before and after."""
FEW_COUNTS = 3.0
"""Readings that scatter less than this repeat by themselves."""


@dataclass(frozen=True, slots=True)
class Line:
    """A hum or swing: its frequency as seen, that of the mains which it is (None if neither), and its strength."""

    hz: float
    mains_hz: float | None
    rms_counts: float


@dataclass(frozen=True, slots=True)
class Signal:
    """What readings at rest show. noise_counts: standard deviation without line, spikes, jumps and slow movement; None
    where there are too few. repeats: how often each value comes in a row. stuck_bits: from 0, with their value.
    jumps: how many, and the largest of them in counts."""

    noise_counts: float | None
    line: Line | None
    spikes: int
    jumps: int
    largest_jump: float
    stuck_bits: tuple[tuple[int, int], ...]
    step_counts: int
    repeats: int
    frozen: bool


def examine(times_s: Sequence[float], raws: Sequence[int]) -> Signal:
    """Return what these readings show; the times are the device's."""
    import numpy as np

    t = np.asarray(times_s[-NEWEST:], dtype=float)
    x = np.asarray(raws[-NEWEST:], dtype=float)
    frozen = _frozen(times_s, raws)
    if x.size < 8:
        return Signal(None, None, 0, 0, 0.0, (), 1, 1, frozen)
    repeats = _repeats(x)
    if repeats > 1:
        # Each value once: what is left is what the converter really did.
        fresh = np.concatenate([[True], np.diff(x) != 0.0])
        t, x = t[fresh], x[fresh]
    line = None if x.size < ENOUGH or repeats > 1 else _line(t, x)
    rest = x if line is None else x - _sinusoid(t, x, line.hz)
    spikes = 0 if frozen or repeats > 1 else _spikes(rest)
    jumps, largest = (0, 0.0) if frozen or repeats > 1 else _jumps(rest)
    noise = noise_of(rest.tolist()) if x.size >= 8 else None
    bits, step = ((), 1) if frozen or x.size < ENOUGH else _stuck_bits(x, noise or 0.0)
    return Signal(noise, line, spikes, jumps, largest, bits, step, repeats, frozen)


def noise_of(values: Sequence[float]) -> float:
    """Return the standard deviation from the median of absolute second differences, which no straight line changes.

    A second difference of white noise has √6 times its deviation; a normal median is 0.6745 deviations.
    """
    second = sorted(abs(a - 2 * b + c) for a, b, c in zip(values, values[1:], values[2:], strict=False))
    return second[len(second) // 2] / 0.6745 / math.sqrt(6.0)


def _frozen(times_s: Sequence[float], raws: Sequence[int]) -> bool:
    watch = FrozenReadings()
    found = False
    for at_s, raw in zip(times_s, raws, strict=True):
        found = watch.add(at_s, raw) or found
    return found


def _repeats(x: Any) -> int:
    """How often each value comes in a row; 1 where values change as noise does."""
    import numpy as np

    ends = np.flatnonzero(np.diff(x) != 0.0)
    runs = np.diff(ends)
    # Values that scatter little repeat by chance; a run that was cut by a lost line is shorter.
    if runs.size < 6 or float(np.std(x)) < FEW_COUNTS or np.mean(runs < 2) > 0.1:
        return 1
    return int(np.median(runs))


def _line(t: Any, x: Any) -> Line | None:
    """The strongest frequency, if it stands far above the rest."""
    import numpy as np

    seconds = float(t[-1] - t[0])
    if seconds <= 0.0:
        return None
    rate = (t.size - 1) / seconds
    lowest, highest = max(SLOWEST_HZ, FEWEST_PERIODS / seconds), 0.5 * rate
    if lowest >= highest:
        return None
    flat = x - np.polyval(np.polyfit(t - t[0], x, 2), t - t[0])
    # Even steps for the transform; where lines are missing the straight line between is taken.
    even = np.interp(np.linspace(t[0], t[-1], t.size), t, flat)
    power = np.abs(np.fft.rfft(even, 4 * t.size)) ** 2
    frequencies = np.arange(power.size) * rate / (4 * t.size)
    power[(frequencies < lowest) | (frequencies > highest)] = 0.0
    peak = int(np.argmax(power))
    total = float(flat @ flat)
    if total <= 0.0 or float(power[peak]) / total < LINE_POWER:
        return None
    hz = float(frequencies[peak])
    wave = _sinusoid(t, flat, hz)
    left = flat - wave
    if float(wave @ wave) < LINE_RATIO**2 * float(left @ left):
        return None
    return Line(hz, _mains(hz, rate), float(np.sqrt(np.mean(wave**2))))


def _sinusoid(t: Any, x: Any, hz: float) -> Any:
    """The sinusoid of this frequency that fits best, without its mean."""
    import numpy as np

    phase = 2.0 * np.pi * hz * (t - t[0])
    design = np.column_stack([np.cos(phase), np.sin(phase), np.ones(t.size), t - t[0]])
    fitted = np.linalg.lstsq(design, x, rcond=None)[0]
    return design[:, :2] @ fitted[:2]


def _mains(hz: float, rate_hz: float) -> float | None:
    """The mains whose hum shows at this frequency when it is sampled so often; None if neither's does."""
    away = [(abs(hz - abs(mains - rate_hz * round(mains / rate_hz))), mains) for mains in MAINS_HZ]
    nearest, mains = min(away)
    return mains if nearest <= MAINS_OFF_HZ else None


def _spikes(x: Any) -> int:
    """Single readings far from the median of themselves and two on either side."""
    import numpy as np

    if x.size < ENOUGH:
        return 0
    windows = np.lib.stride_tricks.sliding_window_view(x, 5)
    off = np.abs(x[2:-2] - np.median(windows, axis=1))
    sd = max(float(np.median(off)) / 0.6745, 0.5)
    # The median of five follows the middle reading, so that what is left is narrower than the noise.
    return int(np.sum(off > SPIKE_SDS * max(sd, noise_of(x.tolist()))))


def _jumps(x: Any) -> tuple[int, float]:
    """How often the level changes at once and stays, and by how much at most."""
    import numpy as np

    n = JUMP_READINGS
    if x.size < 4 * n:
        return 0, 0.0
    medians = np.median(np.lib.stride_tricks.sliding_window_view(x, n), axis=1)
    steps = medians[n:] - medians[:-n]
    limit = JUMP_SDS * max(noise_of(x.tolist()), 1.0)
    above = np.abs(steps) > limit
    count = int(np.sum(above[1:] & ~above[:-1])) + int(above[0])
    return count, float(np.max(np.abs(steps))) if count else 0.0


def _stuck_bits(x: Any, noise: float) -> tuple[tuple[tuple[int, int], ...], int]:
    """Bits that never change though the noise is larger than they are; and the step between values.

    Low bits that are always 0, all from bit 0 up, are a coarser converter: no fault while the step is below the noise.
    """
    import numpy as np

    whole = x.astype(np.int64)
    scatter = max(noise, 0.0)
    found = []
    for bit in range(16):
        if 2.0**bit > scatter:
            break
        ones = int(np.sum((whole >> bit) & 1))
        if ones in (0, whole.size):
            found.append((bit, 1 if ones else 0))
    step = 1
    while found and found[0] == (step.bit_length() - 1, 0):
        found.pop(0)
        step *= 2
    return tuple(found), step
