"""Wind, print the tables: `python -m tests.bench.walkers --winds N [--cells PATTERNS] [--rows FILE] [--write]`.

A cell is LED/EQUIPMENT/WHO: coach, alone or oracle; meter, crank or distance; any, a kind of feet or a will. Patterns
take `*`, several stand between commas, `=N` behind one gives its number of winds. FILE keeps a row a wind (JSON Lines),
so that a run can be broken off and taken up; rows of other sources do not count.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from tests.bench.walkers.cells import SEEDS, named, run
from tests.bench.walkers.judging import even_risk
from tests.bench.walkers.table import aims, table

OUT = Path(__file__).parent.with_suffix(".md")
PRINTED = "## As printed\n"
"""What follows this line of the page is written anew."""
USUAL = "coach/meter/walks,coach/*/any,alone/*/any,oracle/*/any"


def page(rows: list[dict[str, object]], names: list[str], seeds: str) -> str:
    """Return all tables."""
    marks = sorted({str(row["mark"]) for row in rows})
    even = ", ".join(f"{law} {100 * risk:.1f} %" for law, risk in even_risk().items())
    return "\n".join(
        [
            f"Seeds {seeds} ({SEEDS[seeds]:,} on), sources {', '.join(marks)}. Figures in per cent, in brackets 95 %"
            f" intervals. Chance to break on the even path: {even}.",
            "",
            *aims(rows),
            "",
            *table(rows, names),
            "",
        ]
    )


def main() -> None:
    """Wind, then print."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.walkers", description=__doc__)
    parser.add_argument("--winds", type=int, default=12, help="a cell (12)")
    parser.add_argument("--cells", default=USUAL)
    parser.add_argument("--seeds", choices=SEEDS, default="tuning")
    parser.add_argument("--rows", type=Path, help="file of rows to go on with")
    parser.add_argument(
        "--same-as", metavar="MARK", action="append", default=[], help="count rows of these sources too"
    )
    parser.add_argument("--minutes", type=float, default=1e6, help="begin no wind after so long")
    parser.add_argument(
        "--piped", action="store_true", help="the coach as a process of its own (slower, the same words)"
    )
    parser.add_argument("--write", action="store_true", help=f"write the end of {OUT.name}")
    args = parser.parse_args()
    jobs: dict[str, int] = {}
    for pattern in args.cells.split(","):
        cells, _, count = pattern.partition("=")
        found = named(cells)
        if not found:
            sys.exit(f"No cell is named {cells}.")
        for name in found:
            jobs.setdefault(name, int(count) if count else args.winds)
    rows = list(
        run(
            jobs,
            SEEDS[args.seeds],
            args.rows,
            until_s=60.0 * args.minutes,
            same_as=tuple(args.same_as),
            piped=args.piped,
        )
    )
    text = page(rows, list(jobs), args.seeds)
    print(text)
    if args.write:
        words = OUT.read_text(encoding="utf-8").partition(PRINTED)[0]
        OUT.write_text(f"{words}{PRINTED}\n{text}", encoding="utf-8")


if __name__ == "__main__":
    main()
