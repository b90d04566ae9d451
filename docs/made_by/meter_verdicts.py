"""Makes the tables of docs/evidence/meter-verdicts.md: each planted defect, what was said. Run this file.

The defects are those of tests/meter/, where each is tried with three seeds; the sentences here are those of the first.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

DOCS = Path(__file__).parents[1]
sys.path.insert(0, str(DOCS.parent))

from tests.meter.defects import DEFECTS, GOOD  # noqa: E402
from tests.meter.spoilt_sets import GOOD_BENCHES, LONG_G, SETS, SHORT_G  # noqa: E402
from tests.meter.test_verdicts import SEEDS, calibrated, checked, said_of  # noqa: E402

FIT = "Meter OK."


def _row(*cells: str) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def checks() -> list[tuple[str, tuple[str, ...]]]:
    """Each defect of a meter, and the sentences of `meter check`."""
    return [(one.name, checked(one.chunks(SEEDS[0]), one.stream.seconds).verdict) for one in DEFECTS]


def sets() -> list[tuple[str, tuple[str, ...]]]:
    """Each defect of a calibration, and the sentences of `meter calibrate`."""
    return [(one.name, said_of(one.bench.points(one.masses_g, SEEDS[0]))) for one in SETS]


def accused() -> tuple[int, int, int, int]:
    """Good meters and good sets: how many were tried, and how many of them were accused."""
    meters = [checked(stream.chunks(seed), stream.seconds).verdict for stream in GOOD.values() for seed in SEEDS]
    benches = [
        calibrated(bench.points(masses, seed)).faults
        for bench in GOOD_BENCHES.values()
        for masses in (SHORT_G, LONG_G)
        for seed in SEEDS
    ]
    return len(meters), sum(words != (FIT,) for words in meters), len(benches), sum(bool(words) for words in benches)


def tables() -> dict[str, str]:
    """The parts of the page by name."""
    meters, wrong_meters, benches, wrong_benches = accused()
    of_meters, of_sets = checks(), sets()
    head = ["| planted | said |", "|---|---|"]
    return {
        "count": (
            f"{len(of_meters)} defects of a meter and {len(of_sets)} of a calibration, each with {len(SEEDS)} seeds:"
            f" all named, with status 1. {meters} streams of good meters: {wrong_meters} accused. {benches} good"
            f" calibrations: {wrong_benches} accused."
        ),
        "checks": "\n".join([*head, *(_row(name, " ".join(words)) for name, words in of_meters)]),
        "sets": "\n".join([*head, *(_row(name, words[0]) for name, words in of_sets)]),
    }


def filled(text: str) -> str:
    """The page with its tables made anew."""
    for name, made in tables().items():
        marks = re.compile(rf"(<!-- {name} -->\n).*?(<!-- end -->)", re.DOTALL)
        text = marks.sub(lambda found, made=made: f"{found[1]}{made}\n{found[2]}", text)  # type: ignore[misc]
    return text


if __name__ == "__main__":
    page = DOCS / "evidence" / "meter-verdicts.md"
    page.write_text(filled(page.read_text(encoding="utf-8")), encoding="utf-8")
