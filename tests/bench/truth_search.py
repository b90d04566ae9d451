"""Winds in which something is untrue, against rules that know the truth.

    python -m tests.bench.truth_search --winds N [--seed S] [--rows FILE] [--minutes M]
    python -m tests.bench.truth_search table | planted | turns-in | ideal [--winds N] [--seed S]

Each wind is a row of FILE (JSON Lines), so a run can be broken off and taken up again. A wind in which a rule was
broken is wound again with fewer untruths, to say which of them it takes.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from tests.trust.truth.wind import MakeCoach, Outcome, wound
from tests.trust.truth.world import World, world
from winding_coach.coach.step import Coach

SEED = 5_000_000
"""Of the first wind of a report; what rules and robots were tried with began at 1 000 000."""
ROOT = Path(__file__).parents[2]
ROOMS = ("winding_coach/coach", "winding_coach/signals", "winding_coach/meter", "winding_coach/rubber")
WHAT = ("search", "table", "planted", "turns-in", "ideal")
Row = dict[str, Any]


def fingerprint() -> str:
    """Return a short hash of the sources that decide about a wind."""
    told = hashlib.sha256()
    for room in (*ROOMS, "winding_coach/simulator", "tests/trust/truth"):
        for path in sorted((ROOT / room).glob("*.py")):
            told.update(path.read_bytes())
    return told.hexdigest()[:12]


class Shrinker:
    """Winds a world with fewer untruths, each set once."""

    def __init__(self, make: MakeCoach = Coach) -> None:
        self._make = make
        self._rules: dict[World, set[str]] = {}

    def shrunk(self, drawn: World, rule: str) -> World:
        """Return the world with as few untruths as still break the rule."""
        for untruth in drawn.untruths:
            less = drawn.without(untruth)
            if less not in self._rules:
                self._rules[less] = set(wound(less, self._make).broken_rules)
            if rule in self._rules[less]:
                return self.shrunk(less, rule)
        return drawn


def row_of(drawn: World, outcome: Outcome) -> Row:
    """Return a wind as a row: its untruths, what became of it, and what each broken rule takes."""
    found: Row = {"seed": drawn.seed, "untruths": [str(one) for one in drawn.untruths]}
    found |= asdict(outcome)
    found["kinds"] = sorted(one.kind for one in drawn.untruths)
    found["person"], found["channels"] = drawn.person, drawn.channels
    smaller = Shrinker()
    found["takes"] = {rule: [str(one) for one in smaller.shrunk(drawn, rule).untruths] for rule in outcome.broken_rules}
    return found


def kept(path: Path | None, mark: str) -> dict[int, Row]:
    """Return the rows of a file that come from these sources, by seed."""
    rows: dict[int, Row] = {}
    if path is not None and path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            if row["sources"] == mark:
                rows[row["seed"]] = row
    return rows


def search(winds: int, seed: int, path: Path | None, minutes: float) -> Iterator[Row]:
    """Wind what is not in the file yet; give every row."""
    mark, ends = fingerprint(), time.monotonic() + 60.0 * minutes
    rows = kept(path, mark)
    for number in range(seed, seed + winds):
        if number not in rows:
            if time.monotonic() > ends:
                continue
            drawn = world(number)
            rows[number] = row_of(drawn, wound(drawn))
            if path is not None:
                with path.open("a", encoding="utf-8") as file:
                    file.write(json.dumps({"sources": mark} | rows[number]) + "\n")
        yield rows[number]


def share(hits: Iterable[bool]) -> str:
    """A share with its number."""
    told = list(hits)
    return f"{sum(told)} of {len(told)} ({sum(told) / max(1, len(told)):.1%})"


def report(rows: list[Row]) -> str:
    """Return the figures of a search."""
    failing = [row for row in rows if row["broken_rules"]]
    lines = [
        f"{len(rows)} winds; in {len(failing)} a rule was broken",
        f"past the true target by 3 %, in turns: {share(row['most_turns'] > 1.03 for row in rows)}",
        f"in turns or in strand stretch: {share(row['most'] > 1.03 for row in rows)}",
        f"broken beyond own risk: {share(row['broke'] and not row['risk'] and not early(row) for row in rows)}",
        f"asked for more past the target where no program could know: {share(row['unknown_past'] for row in rows)}",
        f"honest winds without anything untrue: {sum(not row['untruths'] for row in rows)}",
        "",
    ]
    takes = Counter((rule, " + ".join(kinds(took))) for row in failing for rule, took in row["takes"].items())
    lines += [f"{number:5d}  {rule}: {what or 'nothing untrue'}" for (rule, what), number in takes.most_common()]
    return "\n".join(lines)


def early(row: Row) -> bool:
    """Whether the motor was made to break, which is chance's doing."""
    return "breaks early" in row["kinds"]


def kinds(untruths: list[str]) -> list[str]:
    """Return the kinds of untruths as printed."""
    return sorted({one.rsplit(" from ", 1)[0].rsplit(" ", 1)[0] for one in untruths})


def told(row: Row) -> str:
    """Return a failing wind in some lines."""
    head = f"seed {row['seed']}, {row['person']}, channels {row['channels'] or 'none'}, untrue: {row['untruths']}"
    return "\n".join(
        [head, *(f"  {rule} {text}; takes {row['takes'][rule]}" for rule, text in row["broken_rules"].items())]
    )


def main() -> None:
    """Search, and print what was found."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", nargs="?", default="search", choices=WHAT)
    parser.add_argument("--winds", type=int, default=100)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--rows", type=Path, help="file of rows to go on with")
    parser.add_argument("--minutes", type=float, default=1e6, help="begin no wind after so long")
    parser.add_argument("--quiet", action="store_true", help="only the figures")
    args = parser.parse_args()
    if args.what != "search":
        from tests.bench import truth_tables

        truth_tables.show(args.what, args.winds, args.seed, args.rows)
        return
    rows = []
    for row in search(args.winds, args.seed, args.rows, args.minutes):
        rows.append(row)
        if row["broken_rules"] and not args.quiet:
            print(told(row), flush=True)
    print(report(rows))
    if any(row["broken_rules"] for row in rows):
        sys.exit(1)


if __name__ == "__main__":
    main()
