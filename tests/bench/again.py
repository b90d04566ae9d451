"""What coaching a season again costs: `python -m tests.bench.again [WINDS...]` (50 100 200). Asserts nothing.

Copies of the recordings, each a wind of its own, are coached again by two processes, as `shelf recompute` does.
"""

from __future__ import annotations

import gzip
import json
import math
import resource
import sys
import tempfile
import time
import uuid
from pathlib import Path

from winding_coach.keeping.indexing import look
from winding_coach.keeping.recomputing import coach_id, left_to_do, recompute
from winding_coach.shelf.store import Shelf

RECORDINGS = sorted((Path(__file__).parents[2] / "recordings").glob("*.gz"))
PROCESSES = 2
SEASON = 10_000


def used_s() -> float:
    """Seconds of the processor that ended processes took."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def fill(folder: Path, count: int) -> None:
    """Write so many traces, the recordings in turn, each with an id of its own."""
    for number in range(count):
        lines = gzip.decompress(RECORDINGS[number % len(RECORDINGS)].read_bytes()).split(b"\n", 1)
        header = json.loads(lines[0]) | {"id": str(uuid.uuid5(uuid.NAMESPACE_OID, str(number)))}
        text = json.dumps(header, ensure_ascii=False).encode() + b"\n" + lines[1]
        (folder / f"{number:05d}.wind.jsonl.gz").write_bytes(gzip.compress(text, 1))


def coached(count: int) -> tuple[float, float]:
    """Coach so many winds again; return seconds by the clock and of the processor."""
    with tempfile.TemporaryDirectory() as folder, Shelf(Path(folder) / "shelf.sqlite") as shelf:
        traces = Path(folder) / "traces"
        traces.mkdir()
        fill(traces, count)
        look(traces, shelf)
        coach = coach_id()
        todo = left_to_do(shelf, coach, shelf.winds())
        begun_s, before_s = time.monotonic(), used_s()
        done = recompute(traces, shelf, todo, coach, processes=PROCESSES)
        if done != count or left_to_do(shelf, coach, shelf.winds()):
            raise SystemExit(f"{done} of {count} winds were coached again")
        return time.monotonic() - begun_s, used_s() - before_s


def main() -> None:
    """Print a row for each size, and by which power of the size the processor's time grows."""
    sizes = [int(word) for word in sys.argv[1:]] or [50, 100, 200]
    found = []
    for count in sizes:
        clock_s, cpu_s = coached(count)
        found.append(cpu_s)
        season = SEASON * cpu_s / count / PROCESSES / 60.0
        print(
            f"{count:6d} winds: {clock_s:7.1f} s by the clock, {cpu_s:7.1f} s of the processor,"
            f" {1e3 * cpu_s / count:6.0f} ms a wind; {SEASON:,} on two free cores: {season:.0f} min",
            flush=True,
        )
    if len(sizes) > 1:
        power = math.log(found[-1] / found[0]) / math.log(sizes[-1] / sizes[0])
        print(f"grows by the power {power:.2f}")


if __name__ == "__main__":
    main()
