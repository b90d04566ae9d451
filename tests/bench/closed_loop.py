"""The table of the closed loop: `python -m tests.bench.closed_loop --winds N [--workers 2] [--rows FILE] [--write]`.

Winds are drawn by seed; each is a row of FILE (JSON Lines), so that a run can be broken off and taken up again. Rows of
other sources than these are not counted, unless `--same-as MARK` says that those wind the same (show it first, by
winding some of them again). `--write` puts the table into closed_loop.md beside this file.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import math
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict, dataclass
from itertools import islice
from pathlib import Path

import numpy as np

from tests.bench.people import Cell, Result, wind
from winding_coach.simulator.bench import MeterModel

SEED = 3_000_000
"""Of the first wind. What the coach was tuned with began at 700 000."""
FEWER = 0.2
"""Of the winds of the cells that matter most, for the others."""
ROOT = Path(__file__).parents[2]
OUT = Path(__file__).with_suffix(".md")
SOURCES = ("coach", "simulator", "signals", "rubber", "meter")

MAIN: dict[str, Cell] = {
    "beginner alone": Cell("beginner", False),
    "practised alone": Cell("practised", False),
    "expert alone": Cell("expert", False),
    "beginner coached": Cell("beginner", True),
    "practised coached": Cell("practised", True),
    "expert coached": Cell("expert", True),
}
OTHER: dict[str, Cell] = {
    "no crank sensor": Cell("beginner", True, MeterModel(channels="d")),
    "no distance sensor": Cell("beginner", True, MeterModel(channels="c")),
    "10 lines/s": Cell("beginner", True, MeterModel(channels="cd", lines_per_s=10.0)),
    "1 % noise": Cell("beginner", True, MeterModel(channels="cd", noise_Nm=68e-6)),
    "no sound": Cell("beginner", True, hears=False),
    "no distance prompts": Cell("beginner", True, marks=False),
    "no live scale": Cell("beginner", True, live=False),
    "a reminder does nothing": Cell("beginner", True, no_reminder=True),
    "steps no smaller than 3 cm": Cell("beginner", True, least_m=0.03),
    "any step stops the crank": Cell("beginner", True, stalls_alike=True),
}
"""A beginner coached, each time with one thing else. The last three try assumptions about people."""
CELLS = MAIN | OTHER
SHARES = dict.fromkeys(CELLS, FEWER) | dict.fromkeys(list(MAIN)[:4], 1.0)


Row = dict[str, float | None]


def fingerprint() -> str:
    """Return a short hash of the sources that decide about a wind."""
    told = hashlib.sha256()
    files = [path for room in SOURCES for path in sorted((ROOT / "winding_coach" / room).glob("*.py"))]
    files += [ROOT / "winding_coach/sound/hearing.py", Path(__file__).with_name("people.py")]
    for path in files:
        if path.exists():
            told.update(path.read_bytes())
    return told.hexdigest()[:12]


def one(name: str, seed: int) -> tuple[str, int, Result]:
    """Wind one motor of a cell."""
    return name, seed, wind(CELLS[name], seed)


def wanted(names: list[str], winds: int, seed: int) -> Iterator[tuple[str, int]]:
    """Give cells and seeds so that all cells grow together."""
    for number in range(winds):
        for name in names:
            share = SHARES[name]
            if math.floor((number + 1) * share) > math.floor(number * share):
                yield name, seed + math.floor(number * share)


def kept(path: Path | None, marks: set[str]) -> dict[tuple[str, int], Row]:
    """Return the rows of a file that come from these sources, the later of two for one wind."""
    found: dict[tuple[str, int], Row] = {}
    if path is not None and path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            if row.pop("sources") in marks:
                found[row.pop("cell"), row.pop("seed")] = row
    return found


def run(
    names: list[str],
    winds: int,
    seed: int,
    workers: int,
    path: Path | None,
    until: float,
    same_as: tuple[str, ...] = (),
) -> list[tuple[str, Row]]:
    """Wind what is not there yet, a few at a time; stop at `until` (seconds from now)."""
    mark = fingerprint()
    rows = kept(path, {mark, *same_as})
    todo = (job for job in wanted(names, winds, seed) if job not in rows)
    ends = time.monotonic() + until
    with ProcessPoolExecutor(workers) as pool:
        waiting = {pool.submit(one, *job) for job in islice(todo, 2 * workers)}
        while waiting:
            done = next(as_completed(waiting))
            waiting.discard(done)
            name, drawn, result = done.result()
            rows[name, drawn] = {key: None if value is None else float(value) for key, value in asdict(result).items()}
            if path is not None:
                with path.open("a", encoding="utf-8") as file:
                    file.write(json.dumps({"sources": mark, "cell": name, "seed": drawn} | rows[name, drawn]) + "\n")
            if time.monotonic() < ends:
                waiting |= {pool.submit(one, *job) for job in islice(todo, 1)}
    first = range(seed, seed + winds)
    return [(name, row) for (name, drawn), row in sorted(rows.items()) if drawn in first]


@dataclass(frozen=True)
class Estimate:
    """A figure with its 95 % confidence interval."""

    value: float
    low: float
    high: float


def share(hits: list[bool]) -> Estimate:
    """A share with its interval by Wilson's score (1927)."""
    n, p, z = len(hits), sum(hits) / len(hits), 1.96
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return Estimate(p, middle - half, middle + half)


def resampled(values: list[float], of: Callable[[np.ndarray], np.ndarray]) -> Estimate:
    """A figure of a sample with its interval by the bootstrap (1000 resamples, one seed)."""
    drawn = np.random.default_rng(1).choice(np.array(values), (1000, len(values)))
    low, high = np.quantile(of(drawn), (0.025, 0.975))
    return Estimate(float(of(np.array([values]))[0]), float(low), float(high))


def mean(values: list[float]) -> Estimate:
    """The mean, by the bootstrap."""
    return resampled(values, lambda drawn: drawn.mean(axis=1)) if values else Estimate(math.nan, math.nan, math.nan)


def median(values: list[float]) -> Estimate:
    """The median, by the bootstrap."""
    return resampled(values, lambda drawn: np.median(drawn, axis=1))


def _near(rows: list[Row], name: str, by: float) -> list[bool]:
    return [row[name] is not None and abs((row[name] or 0.0) - 1.0) <= by for row in rows]


def _known(rows: list[Row], name: str) -> list[float]:
    return [value for row in rows if (value := row[name]) is not None]


FIGURES: dict[str, tuple[str, Callable[[list[Row]], Estimate]]] = {
    "peak ±3 %": ("%", lambda rows: share(_near(rows, "peak", 0.03))),
    "broken beyond own risk": ("%", lambda rows: mean([(r["broken"] or 0.0) - (r["risk"] or 0.0) for r in rows])),
    "stalled, median": ("s", lambda rows: median(_known(rows, "stalled_s"))),
    "in rate band": ("%", lambda rows: mean(_known(rows, "in_band"))),
    "turns held": ("%", lambda rows: mean(_known(rows, "held"))),
    "launch ±5 %": ("%", lambda rows: share(_near(rows, "launch", 0.05))),
}
AIMS = {
    "peak ±3 %": "≥ 95 %",
    "broken beyond own risk": "≤ 1 %",
    "stalled, median": "≤ 1 s",
    "in rate band": "≥ 85 %",
    "turns held": "≥ 98 %",
    "launch ±5 %": "≥ 95 %",
}


def _cell(figure: Estimate, unit: str) -> str:
    if math.isnan(figure.value):
        return "-"
    if unit == "s":
        return f"{figure.value:.2f} s ({figure.low:.2f}-{figure.high:.2f})"
    return f"{100 * figure.value:.1f} % ({100 * figure.low:.1f}-{100 * figure.high:.1f})"


def table(rows: list[tuple[str, Row]], names: list[str]) -> list[str]:
    """Return the table of some cells as Markdown."""
    lines = [
        "| | winds | " + " | ".join(FIGURES) + " | broken, own risk | stalled, mean |",
        "|---|---|" + "---|" * (len(FIGURES) + 2),
        "| aim, beginner coached | | " + " | ".join(AIMS.values()) + " | | |",
    ]
    for name in names:
        mine = [row for cell, row in rows if cell == name]
        if not mine:
            continue
        figures = " | ".join(_cell(of(mine), unit) for unit, of in FIGURES.values())
        broken = statistics.fmean(row["broken"] or 0.0 for row in mine)
        risk = statistics.fmean(row["risk"] or 0.0 for row in mine)
        stalled = _cell(mean(_known(mine, "stalled_s")), "s")
        lines.append(f"| {name} | {len(mine)} | {figures} | {broken:.1%}, {risk:.1%} | {stalled} |")
    return lines


def page(rows: list[tuple[str, Row]], seed: int, same_as: tuple[str, ...] = ()) -> str:
    """Return the whole page."""
    others = f" and {', '.join(same_as)}, which wind the same" if same_as else ""
    return "\n".join(
        [
            "# The closed loop, as printed",
            "",
            f"`python -m tests.bench.closed_loop`, seeds from {seed}, sources {fingerprint()}{others}. In brackets 95 %"
            " confidence intervals (Wilson for shares, bootstrap otherwise). What the figures mean and how to read"
            " them: docs/evidence/coaching.md. People, motors and the meter are simulated, their figures assumed.",
            "",
            "## People",
            "",
            *table(rows, list(MAIN)),
            "",
            "## A beginner coached, with one thing else",
            "",
            *table(rows, ["beginner coached", *OTHER]),
            "",
        ]
    )


def main() -> None:
    """Wind, then print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--winds", type=int, default=20, help="of the cells that matter most; the others get a share of them"
    )
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--cells", default=",".join(CELLS))
    parser.add_argument("--rows", type=Path, help="file of rows to go on with")
    parser.add_argument(
        "--same-as", metavar="MARK", action="append", default=[], help="count rows of these sources too"
    )
    parser.add_argument("--minutes", type=float, default=1e6, help="stop beginning winds after so long")
    parser.add_argument("--write", action="store_true", help=f"write {OUT.name}")
    args = parser.parse_args()
    names = [name.strip() for name in args.cells.split(",")]
    unknown = [name for name in names if name not in CELLS]
    if unknown:
        sys.exit(f"No such cell: {unknown[0]}. There are: {', '.join(CELLS)}.")
    rows = run(names, args.winds, args.seed, args.workers, args.rows, 60.0 * args.minutes, tuple(args.same_as))
    text = page(rows, args.seed, tuple(args.same_as))
    print(text)
    if args.write:
        OUT.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
