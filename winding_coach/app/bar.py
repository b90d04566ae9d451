"""A progress bar for work that takes a while."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol


class Bar(Protocol):
    """Takes how many of how many are done."""

    def __call__(self, done: int, of: int) -> None:
        """Show it."""


@contextmanager
def bar(what: str) -> Iterator[Bar]:
    """Lend a progress bar on stderr; where that is no terminal, a line for each tenth."""
    if sys.stderr.isatty():
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (TextColumn(what), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=Console(file=sys.__stderr__)) as progress:
            task = progress.add_task(what, total=None)
            yield lambda done, of: progress.update(task, completed=done, total=of)
        return
    tenths = [0]

    def told(done: int, of: int) -> None:
        if done * 10 // of > tenths[0]:
            tenths[0] = done * 10 // of
            print(f"{what} {done} of {of}", file=sys.stderr, flush=True)

    yield told
