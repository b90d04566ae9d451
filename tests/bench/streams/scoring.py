"""What one stream's answers are worth: false stalls, delays, misses, stated chances, counts, reversal, peak.

Scored are lines from `SETTLED_S` on. Nothing is scored where the truth is grey.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.bench.streams.making import (
    GREY,
    PER_TURN,
    STANDING,
    TURNING,
    TURNS_REV_PER_S,
    Bools,
    Sensor,
    Stream,
)
from tests.bench.streams.motion import FINE_HZ, Floats
from tests.bench.streams.watching import CANNOT_TELL, REVERSES, STANDS, Watched

SETTLED_S = 6.0
SCORED_STAND_S = 1.0
"""Shorter stands are in the stream and in the stated chances, but no delay is taken of them."""
TURNED_BEFORE_S = 1.0
"""A stand is scored for its delay if the crank turned for so long before it."""
AFTERMATH_S = 1.0
"""Said within this after a true stand: late, not false. With pulses also until a pulse's worth has been cranked."""
ALARM_S = 0.3
"""The alarm wants the state for so long."""
KEPT_HZ = 10.0
"""Stated chances are looked at so often."""


@dataclass(frozen=True, slots=True)
class Stand:
    """One true stand. delay_s: until it was said, None if never; turn_s: of a crank turn before it."""

    from_s: float
    lasted_s: float
    turn_s: float
    delay_s: float | None
    alarm_s: float | None


@dataclass
class Score:
    """Of one stream and sensor. Hours of turning crank; false: stands said at a turning crank, and alarms of them.

    stated, stood: chances that were stated, and the truth (1 stands). cannot_tell: share of scored lines.
    counts: error of the count at the peak and at the end (turns). reversal_s: delays. peak_error: share.
    """

    turning_h: float = 0.0
    false: int = 0
    false_alarms: int = 0
    stands: list[Stand] = field(default_factory=list)
    stated: Floats = field(default_factory=lambda: np.zeros(0))
    stood: Floats = field(default_factory=lambda: np.zeros(0))
    looked_at: int = 0
    cannot_tell: float = 0.0
    count_at_peak: float | None = None
    count_at_end: float | None = None
    reversal_s: list[float | None] = field(default_factory=list)
    peak_error: float = 0.0
    cleared_s: list[float] = field(default_factory=list)
    cpu_s: float = 0.0
    lines: int = 0


def runs(here: Bools) -> list[tuple[int, int]]:
    """Return first and one past last of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], here.astype(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def false_onsets(t_s: Floats, said: Bools, label: Floats, aftermath: Bools) -> list[int]:
    """Return where a stand begins to be said while the crank turns and has turned for a while.

    Said again within `AFTERMATH_S` is the same call.
    """
    found: list[int] = []
    last_end = -np.inf
    for begin, end in runs(said):
        again = t_s[begin] - last_end < AFTERMATH_S
        last_end = t_s[end - 1]
        if label[begin] == TURNING and t_s[begin] > SETTLED_S and not again and not aftermath[begin]:
            found.append(begin)
    return found


def aftermath_of(one: Stream, t_s: Floats, sensor: Sensor) -> Bools:
    """Return the lines at which a stand, or a crank slower than `TURNS_REV_PER_S`, is hardly over."""
    slow = (np.abs(one.motion.speed) < TURNS_REV_PER_S).astype(np.float64)
    lately = smoothed_back(slow, AFTERMATH_S) > 0.0
    out: Bools = lately[np.clip(np.rint(t_s * FINE_HZ).astype(np.int64), 0, len(slow) - 1)]
    angle = one.motion.angle
    for _, to_s in one.stands:
        begin = min(round(to_s * FINE_HZ), len(angle) - 1)
        moved = np.flatnonzero(np.abs(angle[begin:] - angle[begin]) > 1.0 / PER_TURN[sensor])
        if sensor != "none" and len(moved):
            out |= (t_s >= to_s) & (t_s < to_s + float(moved[0]) / FINE_HZ)
    return out


def smoothed_back(values: Floats, seconds: float) -> Floats:
    """Return the mean of fine values over a time before each."""
    total = np.concatenate([np.zeros(round(seconds * FINE_HZ)), np.cumsum(values)])
    return np.asarray(total[-len(values) :] - total[: len(values)])


def lasting(t_s: Floats, said: Bools, seconds: float) -> Bools:
    """Return where something has been said for so long without a break."""
    out = np.zeros(len(said), dtype=np.bool_)
    for begin, end in runs(said):
        out[begin:end] = t_s[begin:end] - t_s[begin] >= seconds
    return out


def first_said(t_s: Floats, said: Bools, from_s: float, to_s: float) -> float | None:
    """Return how long after from_s something is said, None if not before to_s."""
    here = np.flatnonzero(said & (t_s >= from_s) & (t_s < to_s))
    return float(t_s[here[0]]) - from_s if len(here) else None


def turn_before(one: Stream, from_s: float) -> float | None:
    """Return seconds of a crank turn over the second before a stand, None if it did not turn for all of it."""
    motion = one.motion
    hz = 1.0 / (motion.t_s[1] - motion.t_s[0])
    end = round((from_s - one.draw.ramp_s) * hz)
    begin = end - round(TURNED_BEFORE_S * hz)
    if begin < 0 or np.abs(motion.speed[begin:end]).min() < 0.2:
        return None
    return float(1.0 / np.abs(motion.speed[begin:end]).mean())


def stands_of(one: Stream, t_s: Floats, said: Bools, alarm: Bools) -> list[Stand]:
    """Return the true stands that are scored."""
    found = []
    for from_s, to_s in one.stands:
        turn_s = turn_before(one, from_s) if from_s > SETTLED_S else None
        if turn_s is None or to_s - from_s < SCORED_STAND_S:
            continue
        seen, rung = first_said(t_s, said, from_s, to_s), first_said(t_s, alarm, from_s, to_s)
        found.append(Stand(from_s, to_s - from_s, turn_s, seen, rung))
    return found


def cleared(one: Stream, t_s: Floats, said: Bools) -> list[float]:
    """Return how long a stand is still said after the crank turns again (within 5 s)."""
    out = []
    for _, to_s in one.stands[:-1]:
        here = np.flatnonzero((t_s >= to_s) & (t_s < to_s + 5.0))
        if to_s > SETTLED_S and len(here) and said[here[0]]:
            quiet = np.flatnonzero(~said[here])
            out.append(float(t_s[here[quiet[0]]]) - to_s if len(quiet) else 5.0)
    return out


def reversals(one: Stream, t_s: Floats, says: Floats) -> list[float | None]:
    """Return, for each time the crank goes back, how long until it is said."""
    motion = one.motion
    return [
        first_said(t_s, says == REVERSES, float(motion.t_s[begin]), float(motion.t_s[end - 1]) + 0.5)
        for begin, end in runs(motion.speed < -0.15)
        if end - begin > 0.3 / (motion.t_s[1] - motion.t_s[0])
    ]


def scored(one: Stream, seen: Watched, sensor: Sensor) -> Score:
    """Judge what was said of a stream."""
    t_s, label = one.t_s[seen.where], one.label[seen.where].astype(np.float64)
    said = seen.says == STANDS
    alarm = lasting(t_s, said, ALARM_S)
    step = np.minimum(np.diff(t_s, prepend=t_s[0]), 0.5)
    settled = t_s > SETTLED_S
    score = Score(cpu_s=seen.cpu_s, lines=len(one.t_s))
    score.turning_h = float(np.sum(step[settled & (label == TURNING)])) / 3600.0
    aftermath = aftermath_of(one, t_s, sensor)
    score.false = len(false_onsets(t_s, said, label, aftermath))
    score.false_alarms = len(false_onsets(t_s, alarm, label, aftermath))
    score.stands = stands_of(one, t_s, said, alarm)
    score.cleared_s = cleared(one, t_s, said)
    looked = settled & (label != GREY)
    looked &= np.diff(np.floor(t_s * KEPT_HZ), prepend=-1.0) > 0
    stated = looked & np.isfinite(seen.p)
    score.stated, score.stood = seen.p[stated], (label[stated] == STANDING).astype(np.float64)
    score.looked_at = int(looked.sum())
    score.cannot_tell = float(np.sum(looked & (seen.says == CANNOT_TELL)))
    back = np.flatnonzero(one.motion.speed < -0.15)
    peak = int(np.searchsorted(t_s, one.motion.t_s[back[0]] if len(back) else one.t_s[-1])) - 1
    off = seen.turns - (one.angle[seen.where] - one.angle[0])
    score.count_at_peak = float(off[peak]) if np.isfinite(off[peak]) else None
    score.count_at_end = float(off[-1]) if np.isfinite(off[-1]) else None
    score.reversal_s = reversals(one, t_s, seen.says.astype(np.float64))
    known = settled & np.isfinite(seen.torque_Nm)
    score.peak_error = float(seen.torque_Nm[known].max() / one.peak_Nm - 1.0) if known.any() else float("nan")
    return score
