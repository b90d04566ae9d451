"""Times of the shelf's commands over many winds, as processes of their own: `python -m tests.bench.shelf 3000 10000`.

The winds are invented rows with small traces, so that the folder is walked as in life; half of them were flown.
"""

from __future__ import annotations

import dataclasses
import resource
import subprocess
import sys
import time
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from unittest.mock import patch

import numpy as np

from tests.shelf.examples import ALL, a_wind
from tests.test_indexing import SUMMARY, make_trace
from winding_coach.keeping.indexing import look, rebuild
from winding_coach.shelf.records import Flight, Motor, Person
from winding_coach.shelf.store import Shelf

RUNS = 5
COMMANDS: tuple[tuple[str, ...], ...] = (
    ("shelf", "winds", "--newest", "20"),
    ("shelf", "winds", "--all", "--json"),
    ("shelf", "winds", "--person", "p-07", "--all"),
    ("shelf", "season", "--by", "person"),
    ("shelf", "season", "--by", "motor"),
    ("motor", "list"),
    ("flight", "list"),
    ("--version",),
)


def fill(home: Path, count: int) -> None:
    """Make a shelf of so many winds of twenty people and a tenth as many motors."""
    rng = np.random.default_rng(8)
    model = make_trace(home / "one", 1, SUMMARY).read_bytes()
    (home / "traces").mkdir()
    with patch("winding_coach.shelf.schema.SYNCHRONOUS", "OFF"), Shelf(home / "shelf.sqlite") as shelf:
        for record in ALL:
            shelf.add(record)
        with shelf.writing():
            for i in range(20):
                shelf.add(Person(f"p-{i:02d}"))
            for i in range(count // 10):
                shelf.add(Motor(f"m-{i:04d}", 0.30, 1.40e-3, 0.08e-3))
        winds = []
        for i in range(count):
            wind = a_wind(i, f"m-{i % (count // 10):04d}", person=f"p-{i % 20:02d}", breaking_turns=1637.0)
            content = model.replace(b"00000001-0000", f"{i:08x}-0000".encode())
            (home / "traces" / wind.trace).write_bytes(content)
            winds.append(dataclasses.replace(wind, trace_bytes=len(content), peak_turns=float(rng.normal(1310, 40))))
        shelf.log(*winds)
        with shelf.writing():
            for wind in winds[::2]:
                flown = Flight(f"f-{wind.id}", wind.id, wind.started, float(rng.normal(400, 30)), 180.0)
                shelf.fly(flown)


def seconds(home: Path, words: tuple[str, ...]) -> tuple[float, float]:
    """Run a command and return how long it took from start to end, and the processor's time."""
    began, used = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-m", "winding_coach", *words, *(("--home", str(home)) if len(words) > 1 else ())]
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
    now = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.perf_counter() - began, now.ru_utime - used.ru_utime + now.ru_stime - used.ru_stime


def main() -> None:
    """Print a table: for each count the medians of a command's time and of the processor's time in it."""
    counts = [int(word) for word in sys.argv[1:]] or [3000, 10_000]
    times: dict[tuple[str, ...], list[tuple[float, float]]] = {words: [] for words in COMMANDS}
    indexed = []
    for count in counts:
        with TemporaryDirectory() as place:
            home = Path(place)
            fill(home, count)
            for words in COMMANDS:
                took, used = zip(*(seconds(home, words) for _ in range(RUNS)), strict=True)
                times[words].append((median(took), median(used)))
            with Shelf(home / "shelf.sqlite") as shelf:
                began = time.perf_counter()
                look(home / "traces", shelf)
                looked_s = time.perf_counter() - began
                began = time.perf_counter()
                rebuild(home / "traces", shelf)
                indexed.append((looked_s, time.perf_counter() - began))
    print(f"winds {counts}, {RUNS} runs each: medians of time and of processor time, s")
    for words, medians in times.items():
        print(f"{' '.join(words):<40}" + "   ".join(f"{took:.2f} {used:.2f}" for took, used in medians))
    for name, i in (("look for new traces", 0), ("rebuild (small traces)", 1)):
        print(f"{name:<40}" + "   ".join(f"{both[i]:.2f}     " for both in indexed))


if __name__ == "__main__":
    main()
