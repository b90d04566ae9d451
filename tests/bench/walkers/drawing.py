"""Winds as pictures: `python -m tests.bench.walkers.drawing CELL SEED --save FILE` winds one and keeps its points.

`--draw FILE SVG TITLE` draws them, so that a wind of an older coach can stand beside one of today's.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from tests.bench.walkers.cells import CELLS
from tests.bench.walkers.judging import judged
from tests.bench.walkers.winding import LABELLED, PLAN, Truth, wind
from winding_coach.report.svg import PALE, SECOND, curve, line, page, words
from winding_coach.rubber.path import PlanPath

WIDE, HIGH, LEFT, TOP, TALL, GAP = 180.0, 140.0, 16.0, 20.0, 46.0, 12.0
MOST_TURNS, MOST_NM, MOST_M = 1600.0, 9e-3, 2.1
EVERY = 4
ORDERS = ("walk_on", "walk_slower", "walk_quicker", "wait_here", "hold_distance", "step_now", "walk_in_to")
_PATH = PlanPath(PLAN, LABELLED)


def points(cell: str, seed: int) -> dict[str, Any]:
    """Wind once; return its points (turns, torque in Nm, distance in m), the words for the feet, and its figures."""
    seen: list[tuple[float, float, float]] = []
    moments = 0

    def looked(truth: Truth, _coach: Any, _motor: Any) -> None:
        nonlocal moments
        moments += 1
        if truth.hooked and moments % EVERY == 0:
            seen.append((round(truth.turns, 1), round(truth.torque_Nm, 6), round(truth.distance_m, 3)))

    wound = wind(CELLS[cell], seed, looked=looked)
    told = [round(truth.turns, 1) for word, truth in wound.heard if word.get("code") in ORDERS]
    return {"cell": cell, "seed": seed, "points": seen, "told": told, "scale": wound.drawn.scale} | {
        "figures": judged(wound)
    }


def across(turns: float) -> float:
    """Return where so many turns are, in mm."""
    return LEFT + (WIDE - LEFT - 6.0) * turns / MOST_TURNS


def up(value: float, most: float, top: float) -> float:
    """Return the height of a value in the chart that begins at `top`, in mm."""
    return top + TALL * (1.0 - min(value, most) / most)


def _frame(top: float, most: float, step: float, unit: str, scale: float) -> list[str]:
    parts = [line(LEFT, top + TALL, WIDE - 6.0, top + TALL), line(LEFT, top, LEFT, top + TALL)]
    for number in range(int(most / step + 1e-9) + 1):
        value = number * step
        parts.append(words(LEFT - 1.5, up(value, most, top) + 1.2, f"{value * scale:g}", 3.2, anchor="end"))
    return [*parts, words(LEFT, top - 2.0, unit, 3.2)]


def picture(found: dict[str, Any], title: str) -> str:
    """Return the picture of a wind."""
    scale, seen, second = found["scale"], found["points"], TOP + TALL + GAP
    figures = found["figures"]
    planned = [10.0 * number for number in range(int(PLAN.target_turns / 10) + 1)]
    peak = up(scale * PLAN.peak_torque_Nm, MOST_NM, TOP)
    launch = "not reached" if figures["launch"] is None else f"{figures['launch']:.1%}"
    told = (
        f"chance to break {figures['risk A']:.1%} (law A), turns at the peak {figures['turns']:.1%} of the target,"
        f" launch torque {launch}"
    )
    parts = [
        words(LEFT, 7.0, title, 5.0, bold=True),
        words(LEFT, 12.5, told, 3.3),
        *_frame(TOP, MOST_NM, 2e-3, "torque, mN·m", 1e3),
        *_frame(second, MOST_M, 0.5, "distance between the hooks, m", 1.0),
        line(LEFT, peak, WIDE - 6.0, peak, stroke=PALE, dashes="1 1"),
        words(WIDE - 6.0, peak - 1.0, "this motor's own peak", 3.0, anchor="end", fill=PALE),
        curve([(across(n), up(scale * _PATH.torque_at(n), MOST_NM, TOP)) for n in planned], stroke=PALE, width=0.5),
        curve([(across(n), up(_PATH.distance_at(n), MOST_M, second)) for n in planned], stroke=PALE, width=0.5),
        curve([(across(n), up(torque, MOST_NM, TOP)) for n, torque, _ in seen], stroke=SECOND, width=0.5),
        curve([(across(n), up(at_m, MOST_M, second)) for n, _, at_m in seen], stroke=SECOND, width=0.5),
        *(line(across(n), second + TALL, across(n), second + TALL - 2.5) for n in found["told"]),
        *(
            words(across(n), second + TALL + 5.0, f"{n:.0f}", 3.2, anchor="middle")
            for n in range(0, int(MOST_TURNS) + 1, 400)
        ),
        words(
            WIDE - 6.0,
            second + TALL + 10.0,
            "turns of the motor (grey: the plan; ticks: a word for the feet)",
            3.2,
            anchor="end",
        ),
    ]
    return page(WIDE, HIGH, title, parts)


def main() -> None:
    """Keep a wind's points, or draw those that were kept."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.walkers.drawing", description=__doc__)
    parser.add_argument("cell", nargs="?")
    parser.add_argument("seed", nargs="?", type=int)
    parser.add_argument("--save", type=Path, metavar="FILE")
    parser.add_argument("--draw", nargs=3, metavar=("FILE", "SVG", "TITLE"))
    args = parser.parse_args()
    if args.draw:
        kept, out, title = args.draw
        Path(out).write_text(picture(json.loads(Path(kept).read_text(encoding="utf-8")), title), encoding="utf-8")
    elif args.save and args.cell in CELLS and args.seed is not None:
        args.save.write_text(json.dumps(points(args.cell, args.seed), separators=(",", ":")), encoding="utf-8")
    else:
        parser.error("name a cell, a seed and --save FILE, or --draw FILE SVG TITLE")


if __name__ == "__main__":
    main()
