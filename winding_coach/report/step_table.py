"""The steps of a walk-in: a table, a picture of depth and recovery, and one sentence. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from winding_coach.coach.steps_seen import GOOD_DEPTH, LONG_DEPTH, SeenStep
from winding_coach.report.chart import Chart, Level, Mark
from winding_coach.report.page import Section, Table

MOST_ROWS = 30
"""The table keeps the deepest steps where there are more."""
WAS = {"good": "good", "long": "too long", "crank_stopped": "crank stopped", None: ""}
LEGEND = (
    "Dots: the crank turned; triangles: it stopped. "
    f"Below {GOOD_DEPTH:.0%} a step is good; above {LONG_DEPTH:.0%} it is too long (limits of our own)."
)


def steps_section(steps: Sequence[SeenStep], walk_s: float | None) -> Section | None:
    """Return what there is to tell of the steps, None where torque showed none. walk_s: when the walk-in began."""
    if not steps:
        return None
    begun_s = steps[0].at_s if walk_s is None else walk_s
    return Section(
        "Steps of the walk-in",
        (sentence(steps),),
        (_picture(steps, begun_s),),
        LEGEND,
        table=_table(steps, begun_s),
    )


def sentence(steps: Sequence[SeenStep]) -> str:
    """Return how deep torque fell at the steps, and what to do about it."""
    deep = [one for one in steps if one.depth >= LONG_DEPTH]
    stood = [one for one in steps if one.crank_turned is False]
    told = f"{len(steps)} falls of torque; in the middle {median(one.depth for one in steps):.0%} deep"
    told += f", the deepest {max(one.depth for one in steps):.0%}."
    if stood and len(stood) * 3 > len(steps):
        return f"{told} The crank stopped at {len(stood)} of them: keep it turning while you step."
    if deep:
        return f"{told} {len(deep)} {'was' if len(deep) == 1 else 'were'} too long: shorter steps, or a slow walk."
    return f"{told} None was too long."


def _picture(steps: Sequence[SeenStep], begun_s: float) -> Chart:
    marks = tuple(
        Mark(one.at_s - begun_s, 100.0 * one.depth, shape="triangle" if one.crank_turned is False else "dot")
        for one in steps
    )
    return Chart(
        title="Depth of each step",
        about=sentence(steps),
        x_label="s since the walk-in began",
        y_label="% of torque lost",
        marks=marks,
        levels=(Level(100.0 * LONG_DEPTH, "too long"),),
        height=200.0,
    )


def _table(steps: Sequence[SeenStep], begun_s: float) -> Table:
    shown = sorted(sorted(steps, key=lambda one: -one.depth)[:MOST_ROWS], key=lambda one: one.at_s)
    rows = []
    for one in shown:
        back = "-" if one.recover_s is None else f"{one.recover_s:.1f} s"
        length = "-" if one.from_m is None or one.to_m is None else f"{100.0 * max(one.from_m - one.to_m, 0.0):.0f} cm"
        crank = "-" if one.crank_turned is None else "turned" if one.crank_turned else "stood"
        rows.append((f"{one.at_s - begun_s:.0f} s", f"{one.depth:.0%}", back, length, crank, WAS[one.was]))
    return Table(("at", "torque lost", "back after", "way", "crank", ""), tuple(rows))
