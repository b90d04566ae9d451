"""One piece of work for each of many paths in, the results in their order out: on all cores where it pays."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

from winding_coach.app.bar import bar
from winding_coach.base.system import leave_keys_to_the_first

Result = TypeVar("Result")
PAYS_FROM = 4
"""Fresh processes take half a second to start."""
SHOWN_FROM = 8
"""From so many on it is shown how far the work is."""


def side_by_side(work: Callable[[Path], Result], paths: Sequence[Path], what: str) -> list[Result]:
    """Return what `work` makes of each path; it must be a function of a module. what: named beside the progress."""
    with bar(what) if len(paths) >= SHOWN_FROM else nullcontext() as shown:
        results = []
        for result in _results(work, paths):
            results.append(result)
            if shown is not None:
                shown(len(results), len(paths))
        return results


def _results(work: Callable[[Path], Result], paths: Sequence[Path]) -> Iterator[Result]:
    processes = min(len(paths), os.cpu_count() or 1)
    if len(paths) < PAYS_FROM or processes == 1:
        yield from map(work, paths)
        return
    # No thread or open file of this process goes with the fresh ones; a key that stops us is for us alone.
    fresh = get_context("spawn")
    pool = ProcessPoolExecutor(processes, fresh, initializer=leave_keys_to_the_first)
    try:
        yield from pool.map(work, paths)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
