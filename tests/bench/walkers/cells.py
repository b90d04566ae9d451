"""The cells of the table by name, and winding them: rows in a file, so that a run can be broken off and taken up."""

from __future__ import annotations

import fnmatch
import hashlib
import json
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from tests.bench.walkers.judging import Row, judged
from tests.bench.walkers.people import FEET, WILLS
from tests.bench.walkers.piped import Piped
from tests.bench.walkers.winding import SETTINGS, Cell, Wound, wind

ROOT = Path(__file__).parents[3]
COACH = ("coach", "signals", "rubber", "meter")
SEEDS = {"tuning": 1_000_000, "report": 5_000_000, "unseen": 9_000_000}
EQUIPMENT = {"meter": "", "crank": "c", "distance": "cd"}
"""Meter alone; with crank pulses; with a distance sensor too."""
LED = ("coach", "alone", "oracle")
WITHOUT = {"unled": "led_by_torque", "unlearning": "learns"}
"""The coach without one thing, to compare with: steps led by torque, what it learns of a person."""
OTHER: dict[str, Cell] = {"10 lines": Cell(lines_per_s=10.0), "320 lines": Cell(lines_per_s=320.0)}
"""Any walker, with another meter."""
WHO = ("any", *FEET, *WILLS, *OTHER)


def _cells() -> dict[str, Cell]:
    found: dict[str, Cell] = {}
    for led in (*LED, *WITHOUT):
        for equipment in ("crank",) if led in ("alone", "oracle") else EQUIPMENT:
            for who in WHO:
                feet, will = (who if who in FEET else None), (who if who in WILLS else None)
                cell = replace(OTHER.get(who, Cell()), channels=EQUIPMENT[equipment], feet=feet, will=will)
                cell = replace(cell, led="coach" if led in WITHOUT else led, without=WITHOUT.get(led, ""))
                found[f"{led}/{equipment}/{who}"] = cell
    return found


CELLS = _cells()
"""LED/EQUIPMENT/WHO, such as `coach/meter/walks`; LED may be one of WITHOUT. Alone or with the oracle the
equipment makes no difference."""


def named(patterns: str) -> list[str]:
    """Return the names of cells that match patterns with `*`, separated by commas, in the patterns' order."""
    names = [name for one in patterns.split(",") for name in CELLS if fnmatch.fnmatch(name, one.strip())]
    return list(dict.fromkeys(names))


def mark_of(cell: Cell) -> str:
    """Return a short hash of the sources that decide about a cell's winds."""
    told = hashlib.sha256()
    folders = [ROOT / "winding_coach" / room for room in (COACH if cell.led == "coach" else ("rubber",))]
    for path in sorted(path for folder in (*folders, Path(__file__).parent) for path in folder.glob("*.py")):
        if path.name not in ("cells.py", "table.py", "__main__.py", "drawing.py", "piped.py"):
            told.update(path.read_bytes())
    return told.hexdigest()[:10]


def kept(path: Path | None, same_as: tuple[str, ...] = ()) -> dict[tuple[str, int], Row]:
    """Return the rows of a file that come from these sources, or from those with a mark of `same_as`."""
    found: dict[tuple[str, int], Row] = {}
    if path is None or not path.exists():
        return found
    marks = {led: mark_of(Cell("coach" if led in WITHOUT else led)) for led in (*LED, *WITHOUT)}
    for line in path.read_text(encoding="utf-8").splitlines():
        row = json.loads(line)
        if row["mark"] in (marks[row["cell"].split("/")[0]], *same_as):
            found[row["cell"], row["seed"]] = row
    return found


def _led(name: str, seed: int, *, piped: bool) -> Wound:
    """Wind one motor of a cell; piped: the coach is a process of its own, at the other end of a pipe."""
    if not piped or CELLS[name].led != "coach":
        return wind(CELLS[name], seed)
    leader = Piped(SETTINGS)
    try:
        return wind(CELLS[name], seed, leader=leader)
    finally:
        leader.close()


def run(
    jobs: dict[str, int],
    seed: int,
    path: Path | None = None,
    *,
    until_s: float = 1e9,
    same_as: tuple[str, ...] = (),
    piped: bool = False,
) -> Iterator[Row]:
    """Wind what is not there yet, all cells growing together; give every row that is wanted. jobs: winds a cell.

    until_s: no wind is begun after so long. same_as: marks of other sources whose rows count too.
    """
    rows = kept(path, same_as)
    marks = {led: mark_of(Cell(led)) for led in LED}
    ends = time.monotonic() + until_s
    for number in range(max(jobs.values(), default=0)):
        for name, winds in jobs.items():
            if number >= winds:
                continue
            row = rows.get((name, seed + number))
            if row is None:
                if time.monotonic() > ends:
                    continue
                row = judged(_led(name, seed + number, piped=piped))
                row = {"mark": marks[CELLS[name].led], "cell": name, "seed": seed + number} | row
                if path is not None:
                    with path.open("a", encoding="utf-8") as file:
                        file.write(json.dumps(row) + "\n")
            yield row
