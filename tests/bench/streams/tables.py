"""Scores of many streams as tables of text, every value with its 95 % interval."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from tests.bench.streams import intervals
from tests.bench.streams.drawing import Draw
from tests.bench.streams.scoring import Score, Stand

Rows = list[tuple[str, ...]]
Judged = list[tuple[Draw, Score]]
EDGES = (0.0, 0.01, 0.03, 0.07, 0.15, 0.3, 0.5, 0.7, 0.85, 0.93, 0.97, 0.99, 1.0)
"""Of stated chances."""


def as_text(title: str, head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    """Return a table."""
    widths = [max(len(row[i]) for row in [head, *rows]) for i in range(len(head))]
    lines = [title]
    lines += [
        "  " + "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip()
        for row in [head, tuple("-" * width for width in widths), *rows]
    ]
    return "\n".join(lines) + "\n"


def cell(found: tuple[float, float, float], digits: int = 2, times: float = 1.0) -> str:
    """Return value and interval; an infinite value was never seen."""
    if math.isnan(found[0]):
        return "-"
    value, low, high = ("never" if math.isinf(v) else f"{v * times:.{digits}f}" for v in found)
    return f"{value} ({low}-{high})" if digits and not low.startswith("-") else f"{value} ({low} to {high})"


def delays(stands: Sequence[Stand], *, alarm: bool = False) -> list[float]:
    """Return delays; never is infinite."""
    taken = [one.alarm_s if alarm else one.delay_s for one in stands]
    return [math.inf if delay is None else delay for delay in taken]


CRANK = {"0.4-0.7 rev/s": (0.4, 0.7), "0.7-1.2 rev/s": (0.7, 1.2), "1.2-2.2 rev/s": (1.2, 9.0)}
RIPPLE = {"ripple below 0.5 %": (-1.0, 0.005), "ripple 0.5-2 %": (0.005, 0.02), "ripple 2-6 %": (0.02, 1.0)}
NOISE = {"noise 0.05-0.2 %": (0.0, 0.002), "noise 0.2-0.6 %": (0.002, 0.006), "noise 0.6-1.5 %": (0.006, 1.0)}
BANDS: list[tuple[str, Callable[[Draw], float], float, float]] = [
    ("all", lambda one: 0.0, -1.0, 1.0),
    *((name, lambda one: one.rev_per_s, low, high) for name, (low, high) in CRANK.items()),
    *((name, lambda one: one.ripple.rms * math.sqrt(2.0), low, high) for name, (low, high) in RIPPLE.items()),
    *((name, lambda one: one.noise, low, high) for name, (low, high) in NOISE.items()),
]


def stall_row(name: str, judged: Judged) -> tuple[str, ...]:
    """Return false calls, delays and misses of some streams."""
    hours = sum(score.turning_h for _, score in judged)
    stands = [stand for _, score in judged for stand in score.stands]
    looked = sum(score.looked_at for _, score in judged)
    blind = sum(score.cannot_tell for _, score in judged)
    late = delays(stands)
    return (
        name,
        str(len(judged)),
        f"{hours:.1f}",
        cell(intervals.rate(sum(score.false for _, score in judged), hours)),
        cell(intervals.rate(sum(score.false_alarms for _, score in judged), hours)),
        str(len(stands)),
        cell(intervals.quantile(late, 0.5)),
        cell(intervals.quantile(late, 0.95)),
        cell(intervals.share(sum(delay <= 1.0 for delay in late), len(late)), 0, 100.0),
        f"{100.0 * blind / looked:.0f}" if looked else "-",
    )


STALL_HEAD = (
    "",
    "streams",
    "hours turning",
    "false/h",
    "false alarms/h",
    "stands",
    "median s",
    "95 % s",
    "seen in 1.0 s, %",
    "cannot tell, %",
)


def stall_table(title: str, judged: Judged) -> str:
    """Return the table of stands by bands."""
    rows = []
    for name, of, low, high in BANDS:
        here = [(one, score) for one, score in judged if low <= of(one) < high]
        if here:
            rows.append(stall_row(name, here))
    return as_text(title, STALL_HEAD, rows)


def pulse_row(name: str, judged: Judged, turns: float, plus_s: float, most_turns: float) -> tuple[str, ...]:
    """Return delays in crank turns against the aims of a sensor, of stands that last longer than these allow."""
    stands = [s for _, score in judged for s in score.stands if s.lasted_s > most_turns * s.turn_s + 0.3]
    late = delays(stands)
    over = [delay - turns * s.turn_s - plus_s for delay, s in zip(late, stands, strict=True)]
    in_turns = [delay / s.turn_s for delay, s in zip(late, stands, strict=True)]
    return (
        name,
        str(len(stands)),
        cell(intervals.quantile(in_turns, 0.5)),
        cell(intervals.quantile(in_turns, 0.95)),
        cell(intervals.quantile(over, 0.5)),
        cell(intervals.share(sum(t <= most_turns for t in in_turns), len(stands)), 0, 100.0),
    )


PULSE_HEAD = ("", "stands", "median turns", "95 % turns", "median s over the aim", "within aim's most, %")


def reliability(judged: Judged) -> tuple[Rows, list[tuple[float, float, float, float, float]]]:
    """Return the rows of stated chances against truth, and points: mean stated, share, low, high, weight."""
    rows: Rows = []
    points = []
    table = np.zeros((len(judged), len(EDGES) - 1, 3))
    for i, (_, score) in enumerate(judged):
        bins = np.clip(np.searchsorted(EDGES, score.stated, side="right") - 1, 0, len(EDGES) - 2)
        for k, values in enumerate((np.ones(len(bins)), score.stated, score.stood)):
            table[i, :, k] = np.bincount(bins, weights=values, minlength=len(EDGES) - 1)
    total = max(table[:, :, 0].sum(), 1.0)
    for b in range(len(EDGES) - 1):
        part = table[:, b, :]
        n = part[:, 0].sum()
        if not n:
            continue

        def stood(often: np.ndarray, part: np.ndarray = part) -> float:
            return float(often @ part[:, 2] / max(often @ part[:, 0], 1e-9))

        found = intervals.over_streams(len(judged), stood)
        mean = part[:, 1].sum() / n
        points.append((float(mean), *found, float(n / total)))
        rows.append(
            (f"{EDGES[b]:g}-{EDGES[b + 1]:g}", f"{100 * n / total:.1f}", f"{100 * mean:.1f}", cell(found, 1, 100.0))
        )
    return rows, points


RELIABILITY_HEAD = ("stated chance of standing", "share of lines, %", "mean stated, %", "stood, %")


def about_95(judged: Judged) -> str:
    """Return how often it is right where it says 93-97 % of either, with its interval."""
    stated = [
        (np.maximum(s.stated, 1.0 - s.stated), np.where(s.stated > 0.5, s.stood, 1.0 - s.stood)) for _, s in judged
    ]
    table = np.array([[np.sum(m), np.sum(p[m]), np.sum(r[m])] for p, r in stated for m in [(p >= 0.93) & (p < 0.97)]])

    def right(often: np.ndarray) -> float:
        return float(often @ table[:, 2] / max(often @ table[:, 0], 1e-9))

    if not table[:, 0].sum():
        return "nothing said with 93-97 %"
    mean = table[:, 1].sum() / table[:, 0].sum()
    found = cell(intervals.over_streams(len(judged), right), 1, 100.0)
    return f"says 93-97 % (mean {100 * mean:.1f}): right in {found} % of {int(table[:, 0].sum())} looks"


def other_row(name: str, judged: Judged) -> tuple[str, ...]:
    """Return count, reversal and peak of some streams."""
    at_peak = np.array([s.count_at_peak for _, s in judged if s.count_at_peak is not None])
    clean = [s.count_at_peak for one, s in judged if s.count_at_peak is not None and not one.lost]
    at_end = np.array([s.count_at_end for _, s in judged if s.count_at_end is not None])
    back = [np.inf if delay is None else delay for _, s in judged for delay in s.reversal_s]
    peaks = np.array([s.peak_error for _, s in judged])
    cleared = [delay for _, s in judged for delay in s.cleared_s]
    cpu = sum(s.cpu_s for _, s in judged) / max(sum(s.lines for _, s in judged), 1)

    def mean(often: np.ndarray) -> float:
        return float(often @ peaks / often.sum())

    def rms(often: np.ndarray) -> float:
        return float(np.sqrt(often @ peaks**2 / often.sum()))

    return (
        name,
        cell(intervals.quantile(np.abs(at_peak).tolist(), 0.95)),
        cell(intervals.share(int(np.sum(np.abs(at_peak) <= 0.25)), len(at_peak)), 0, 100.0),
        cell(intervals.share(sum(abs(off) <= 0.25 for off in clean), len(clean)), 0, 100.0),
        cell(intervals.quantile(np.abs(at_end).tolist(), 0.95)),
        cell(intervals.quantile(back, 0.5)),
        cell(intervals.quantile(back, 0.95)),
        cell(intervals.over_streams(len(judged), mean), 2, 100.0),
        cell(intervals.over_streams(len(judged), rms), 2, 100.0),
        cell(intervals.quantile(cleared, 0.95)),
        f"{1e6 * cpu:.0f}",
    )


OTHER_HEAD = (
    "sensor",
    "count at peak, 95 % turns",
    "within 0.25 turn, %",
    "with no pulse lost, %",
    "count at end, 95 % turns",
    "reversal, median s",
    "reversal, 95 % s",
    "peak, mean error %",
    "peak, rms %",
    "turns again, 95 % s",
    "µs a line",
)


def where_it_can(name: str, judged: Judged, ideal: Judged) -> tuple[str, ...]:
    """Return how many of the stands that the ideal observer sees within 1.0 s are seen within 1.0 s and later."""
    pairs = [
        (mine.delay_s, best.delay_s)
        for (_, score), (_, bound) in zip(judged, ideal, strict=True)
        for mine, best in zip(score.stands, bound.stands, strict=True)
    ]
    can = [mine for mine, best in pairs if best is not None and best <= 1.0]
    late = [math.inf if mine is None else mine for mine in can]
    return (
        name,
        str(len(pairs)),
        str(len(can)),
        cell(intervals.share(sum(delay <= 1.0 for delay in late), len(can)), 0, 100.0),
        cell(intervals.share(sum(delay <= 1.5 for delay in late), len(can)), 0, 100.0),
        cell(intervals.quantile(late, 0.5)),
    )


CAN_HEAD = ("", "stands", "observer sees in 1.0 s", "seen in 1.0 s, %", "seen in 1.5 s, %", "median s")
