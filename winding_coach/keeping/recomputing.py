"""Traces in, what the present coach makes of them out, one process a core; what is done is kept at once.

Broken off and started again it goes on where it was: what counts as done is this coach's word on this very file.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool as BrokenProcessPool
from contextlib import contextmanager
from itertools import islice
from multiprocessing import get_context
from pathlib import Path

import winding_coach
from winding_coach.base.system import leave_keys_to_the_first
from winding_coach.base.wind_values import VALUES, lacking
from winding_coach.keeping.replaying import summary_again
from winding_coach.shelf.records import Again, Wind
from winding_coach.shelf.store import Shelf
from winding_coach.traces.files import read_trace
from winding_coach.traces.rows import TraceError

ROOMS = ("meter", "signals", "rubber", "coach")
"""What decides on what the coach says to given inputs."""
AHEAD = 4
"""Tasks that wait for each process, so that none is idle and few are lost."""


def coach_id() -> str:
    """Return a name for the present coach that changes when its code does."""
    made = hashlib.sha256()
    root = Path(winding_coach.__file__).parent
    for room in ROOMS:
        for file in sorted((root / room).glob("*.py")):
            made.update(f"{room}/{file.name}".encode() + b"\0" + file.read_bytes() + b"\0")
    return f"{winding_coach.__version__}-{made.hexdigest()[:12]}"


def left_to_do(shelf: Shelf, coach: str, winds: Iterable[Wind]) -> list[Wind]:
    """Return the winds that this coach has not made anything of, the newest first.

    Raises:
        ShelfError: the shelf cannot be read.
    """
    done = shelf.again()
    return [
        wind
        for wind in winds
        if (again := done.get(wind.id)) is None or again.coach != coach or again.trace_sha256 != wind.trace_sha256
    ]


def recompute(
    folder: Path,
    shelf: Shelf,
    winds: list[Wind],
    coach: str,
    *,
    processes: int | None = None,
    told: Callable[[Again], None] | None = None,
) -> int:
    """Coach winds again and keep what comes of it; return how many were done.

    processes: as many as there are cores if None. told: hears each result after it is kept.

    Raises:
        ShelfError: the shelf cannot be written; what was kept before stays.
        BrokenProcessPool: a process was ended from outside; likewise.
    """
    count = 0
    for again in _made(folder, winds, coach, processes or os.cpu_count() or 1):
        shelf.log_again(again)
        count += 1
        if told is not None:
            told(again)
    return count


def again_of(path: Path, wind_id: str, sha256: str | None, coach: str) -> Again:
    """Return what the present coach makes of one trace; its trouble if it can make nothing of it."""
    try:
        trace = read_trace(path)
        summary = summary_again(trace)
    except TraceError as error:
        return Again(wind_id, coach, sha256, trouble=str(error))
    except Exception as error:
        # One trace that a coach stumbles over must not stop the others; it is told with the rest.
        return Again(wind_id, coach, sha256, trouble=f"The coach stumbled over '{path}' ({error!r}): report it.")
    lacks = ",".join(lacking(trace.summary)) or None
    values = {value.name: value.of(summary) for value in VALUES}
    return Again(wind_id, coach, sha256, summary.outcome, trace_lacks=lacks, **values)


def _made(folder: Path, winds: list[Wind], coach: str, processes: int) -> Iterator[Again]:
    tasks = ((folder / wind.trace, wind.id, wind.trace_sha256, coach) for wind in winds)
    if processes == 1 or len(winds) <= 1:
        for task in tasks:
            yield again_of(*task)
        return
    with _pool(min(processes, len(winds))) as pool:
        waiting: set[Future[Again]] = {pool.submit(again_of, *task) for task in islice(tasks, AHEAD * processes)}
        while waiting:
            done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            waiting |= {pool.submit(again_of, *task) for task in islice(tasks, len(done))}
            for future in done:
                yield future.result()


@contextmanager
def _pool(processes: int) -> Iterator[ProcessPoolExecutor]:
    """Lend fresh processes: no thread or open file of this one goes with them."""
    pool = ProcessPoolExecutor(processes, mp_context=get_context("spawn"), initializer=leave_keys_to_the_first)
    try:
        yield pool
    finally:
        # Broken off, what runs is let end and what waits is dropped.
        pool.shutdown(wait=True, cancel_futures=True)
