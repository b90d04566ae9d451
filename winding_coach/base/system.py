"""What differs from system to system, one small seam each: signals, the way onto the disk, replacing a file.

Linux is what the tests run on; the semantics of the other two are put in its place by `tests/trust/test_platforms.py`.
Speech is in `sound.speaker`, names and errors of ports in `live.sources.ports`, the letters of the console in
`cli.output.plain`.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

BINARY: int = getattr(os, "O_BINARY", 0)
"""Without it Windows writes other line ends into a file opened by its number."""
ENDING = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
"""What asks a program to end: a key, another program, a terminal that hangs up, a console window that is closed.
Windows has no SIGHUP, the others no SIGBREAK (Python's library reference, `signal`)."""
OPEN_ELSEWHERE = frozenset({5, 32, 33})
"""Windows' errors where somebody has the file open: access denied, sharing violation, lock violation (Microsoft, System
Error Codes)."""
WAITS_S = (0.01, 0.02, 0.05, 0.1, 0.2, 0.4)
"""A scanner or an index looks into a new file for about so long."""

Handler = Callable[[int, FrameType | None], Any]


@contextmanager
def ended_by(handler: Handler, names: tuple[str, ...] = ENDING) -> Iterator[None]:
    """Let `handler` take those of the signals that the system has; afterwards they are what they were."""
    before = take_signals(handler, names)
    try:
        yield
    finally:
        for number, was in before.items():
            signal.signal(number, was)


def take_signals(handler: Handler, names: tuple[str, ...] = ENDING) -> dict[int, Any]:
    """Let `handler` take those of the signals that the system has; return what took them before."""
    numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
    return {number: signal.signal(number, handler) for number in numbers}


def leave_keys_to_the_first() -> None:
    """In a process that another one started: Ctrl-C reaches every process of a terminal, and is for that one."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def onto_disk(file: int) -> None:
    """Wait until what was written to an open file is on the disk.

    macOS leaves it in the drive's own memory unless it is asked for more (Apple, manual page of fsync(2)); file systems
    that cannot do more get the usual.

    Raises:
        OSError: it cannot.
    """
    try:
        import fcntl

        more = getattr(fcntl, "F_FULLFSYNC", None)
        if more is not None:
            fcntl.fcntl(file, more)
            return
    except (ImportError, OSError):
        pass
    os.fsync(file)


def put_in_place(fresh: Path, path: Path, sleep: Callable[[float], None] = time.sleep) -> None:
    """Let a file take another's place, or that of none.

    Where a file that somebody has open cannot be replaced (Windows), it is tried again for a second or so.

    Raises:
        OSError: it cannot.
    """
    for wait_s in WAITS_S:
        try:
            os.replace(fresh, path)
            return
        except PermissionError as error:
            if getattr(error, "winerror", None) not in OPEN_ELSEWHERE:
                raise
            sleep(wait_s)
    os.replace(fresh, path)
