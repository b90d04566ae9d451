"""Rows of winds in, the tables and aims out, each figure with its 95 % interval."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from tests.bench.walkers.judging import Row
from tests.bench.walkers.motor import LAWS


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its 95 % confidence interval, from so many winds."""

    value: float
    low: float
    high: float
    winds: int

    def per_cent(self) -> str:
        """As text."""
        if not self.winds:
            return "-"
        return f"{100 * self.value:.1f} ({100 * self.low:.1f}-{100 * self.high:.1f})"


def share(hits: Iterable[bool]) -> Estimate:
    """A share with its interval by Wilson's score (1927)."""
    found = list(hits)
    n, z = len(found), 1.96
    if not n:
        return Estimate(math.nan, math.nan, math.nan, 0)
    p = sum(found) / n
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return Estimate(p, max(middle - half, 0.0), min(middle + half, 1.0), n)


def mean(values: Iterable[float]) -> Estimate:
    """A mean with its interval by the bootstrap (1000 resamples, one seed)."""
    found = np.array(list(values))
    if not len(found):
        return Estimate(math.nan, math.nan, math.nan, 0)
    drawn = np.random.default_rng(1).choice(found, (1000, len(found))).mean(axis=1)
    low, high = np.quantile(drawn, (0.025, 0.975))
    return Estimate(float(found.mean()), float(low), float(high), len(found))


def to_target(rows: Iterable[Row]) -> list[Row]:
    """Winds of people who meant to wind to the target."""
    return [row for row in rows if not row["meant"] and "winds past" not in row["wills"]]


def as_labelled(rows: Iterable[Row]) -> list[Row]:
    """Those with a motor that is what its label says within 6 %, empty and wound the usual way."""
    return [row for row in to_target(rows) if row["label_right"]]


def _within(rows: list[Row], by: float) -> Estimate:
    return share(abs(row["turns"] - 1.0) <= by for row in rows)


def launched(rows: list[Row]) -> Estimate:
    """Launch torque within 5 %, of those who backed off from the target."""
    return share(row["launch"] is not None and abs(row["launch"] - 1.0) <= 0.05 for row in to_target(rows))


def followed_early(rows: list[Row]) -> Estimate:
    """Ends that people made themselves, followed to ready with the right figures."""
    return share(bool(row["followed"]) for row in rows if row["meant"] and row["followed"] is not None)


FIGURES: dict[str, Callable[[list[Row]], Estimate]] = {
    "risk A": lambda rows: mean(row["risk A"] for row in to_target(rows)),
    "risk B": lambda rows: mean(row["risk B"] for row in to_target(rows)),
    "risk C": lambda rows: mean(row["risk C"] for row in to_target(rows)),
    "risk A, label right": lambda rows: mean(row["risk A"] for row in as_labelled(rows)),
    "risk B, label right": lambda rows: mean(row["risk B"] for row in as_labelled(rows)),
    "risk C, label right": lambda rows: mean(row["risk C"] for row in as_labelled(rows)),
    "turns ±2 %": lambda rows: _within(to_target(rows), 0.02),
    "±3 %, label right": lambda rows: _within(as_labelled(rows), 0.03),
    "±5 %": lambda rows: _within(to_target(rows), 0.05),
    "launch ±5 %": launched,
    "phases without cause": lambda rows: share(bool(row["causeless"]) for row in rows),
    "early ends followed": followed_early,
    "all followed": lambda rows: share(bool(row["followed"]) for row in rows if row["followed"] is not None),
    "warned though all was right": lambda rows: share(bool(row["warned"]) for row in rows if row["fine"]),
    "off the path": lambda rows: mean(row["off_path"] for row in to_target(rows) if row["off_path"] is not None),
}
HEADS = ("cell", "winds", *FIGURES)


def table(rows: list[Row], names: list[str]) -> list[str]:
    """Return the table of some cells as Markdown, figures in per cent."""
    lines = [f"| {' | '.join(HEADS)} |", "|---|" + "---:|" * (len(HEADS) - 1)]
    for name in names:
        mine = [row for row in rows if row["cell"] == name]
        if mine:
            cells = (of(mine).per_cent() for of in FIGURES.values())
            lines.append(f"| {name} | {len(mine)} | {' | '.join(cells)} |")
    return lines


def _of(rows: list[Row], name: str, figure: str) -> Estimate:
    return FIGURES[figure]([row for row in rows if row["cell"] == name])


def _people_of(rows: list[Row], name: str) -> list[Row]:
    """The rows of the people that a cell has wound, whoever led them; all where it has none."""
    seeds = {row["seed"] for row in rows if row["cell"] == name}
    return [row for row in rows if row["seed"] in seeds] if seeds else rows


def _most_risk(rows: list[Row], law: str) -> str:
    """What the aim allows: under A by what the same people do with a needle and with the oracle."""
    even = mean(row[f"even {law}"] for row in rows).value
    rows = _people_of(rows, "coach/crank/any")
    if law != "A":
        return f"≤ {100 * even + (2 if law == 'B' else 1):.1f}"
    alone, oracle = (_of(rows, f"{led}/crank/any", "risk A").value for led in ("alone", "oracle"))
    half, fifth = even + 0.5 * (alone - even), even + 1.2 * (oracle - even)
    return (
        f"≤ {100 * half:.1f} (half of the needle's beyond the even path) and {100 * fifth:.1f} (oracle's and a fifth)"
    )


def aims(rows: list[Row]) -> list[str]:
    """Return the aims with what came out, the oracle's and the needle's figures beside."""
    lines = ["| aim | wanted | came out | same people with a needle | oracle |", "|---|---|---|---|---|"]

    def add(what: str, wanted: str, name: str, figure: str) -> None:
        who = name.split("/")[2]
        same = _people_of(rows, name)
        alone, oracle = (_of(same, f"{led}/crank/{who}", figure).per_cent() for led in ("alone", "oracle"))
        found = _of(rows, name, figure)
        lines.append(f"| {what} | {wanted} | {found.per_cent()}, {found.winds} winds | {alone} | {oracle} |")

    for law in LAWS:
        add(f"risk, any walker, crank sensor, law {law}", _most_risk(rows, law), "coach/crank/any", f"risk {law}")
    add("turns within 2 %, any walker, crank sensor", "≥ 97", "coach/crank/any", "turns ±2 %")
    for who in ("walks", "shuffles"):
        add(f"turns within 3 %, {who}, meter alone, label right", "≥ 95", f"coach/meter/{who}", "±3 %, label right")
    add("turns within 5 %, any walker, meter alone", "≥ 90", "coach/meter/any", "±5 %")
    for law, most in zip(LAWS, (10, 6, 6), strict=True):
        add(f"risk, walks, meter alone, law {law}", f"≤ {most}", "coach/meter/walks", f"risk {law}")
        add(f"the same, label right, law {law}", f"≤ {most}", "coach/meter/walks", f"risk {law}, label right")
    every = [row for row in rows if row["cell"].startswith("coach/")]
    for what, wanted, figure in (
        ("phases without cause, all coached winds", "≤ 0.5", "phases without cause"),
        ("early ends followed to ready with the right figures", "≥ 97", "early ends followed"),
        ("launch within 5 %", "≥ 95", "launch ±5 %"),
        ("warned though all was right", "≤ 2", "warned though all was right"),
    ):
        found = FIGURES[figure](every)
        lines.append(f"| {what} | {wanted} | {found.per_cent()}, {found.winds} winds | | |")
    return lines
