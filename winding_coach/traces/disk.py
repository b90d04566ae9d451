"""Rows that the system has taken go to the disk beside the wind: a disk that is slow must not make the coach wait."""

from __future__ import annotations

import errno
import os
import threading
import time
from collections.abc import Callable

from winding_coach.base.system import onto_disk

CANNOT_SYNC = (errno.EINVAL, errno.ENOTSUP)
SLOW_S = 2.0
GONE = "The trace's file is gone: put its disk back or start again with another --home; coaching continues."
SLOW = "The disk takes long to store the trace: coaching continues; a power cut now would lose more than a second."


class Disk:
    """Syncs one open file in a thread of its own, as often as it is asked to; `trouble` is what to say of it."""

    def __init__(self, file: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._file = file
        self._clock = clock
        self._turn = threading.Condition()
        self._asked = self._done = 0
        self._closing = False
        self._begun_s: float | None = None
        self._refused: str | None = None
        threading.Thread(target=self._run, name="trace to disk", daemon=True).start()

    @property
    def trouble(self) -> str | None:
        """One sentence on what is wrong, None when all is well; may be read from any thread."""
        begun_s = self._begun_s
        if self._refused is None and begun_s is not None and self._clock() - begun_s > SLOW_S:
            return SLOW
        return self._refused

    def sync(self) -> None:
        """Ask for all so far to be put on the disk; returns at once."""
        with self._turn:
            self._asked += 1
            self._turn.notify_all()

    def settle(self, within_s: float) -> bool:
        """Wait until what was asked for is done; return whether it is."""
        with self._turn:
            return self._turn.wait_for(lambda: self._done >= self._asked, within_s)

    def close(self, within_s: float) -> None:
        """Sync once more, end the thread and close the file, in so long at most; later if the disk hangs."""
        self._closing = True
        self.sync()
        self.settle(within_s)

    def _run(self) -> None:
        closing = False
        while not closing:
            with self._turn:
                self._turn.wait_for(lambda: self._asked > self._done)
                asked, closing = self._asked, self._closing
            self._begun_s = self._clock()
            self._refused = self._synced()
            self._begun_s = None
            if closing:
                # Only here, so that the number is no one else's while the disk still works on it.
                os.close(self._file)
            with self._turn:
                self._done = asked
                self._turn.notify_all()

    def _synced(self) -> str | None:
        try:
            onto_disk(self._file)
        except OSError as error:
            # Some file systems cannot sync; the rows have been handed over all the same.
            if error.errno not in CANNOT_SYNC:
                return f"The trace may not reach the disk ({error.strerror}): save to another disk."
        try:
            return GONE if os.fstat(self._file).st_nlink == 0 else None
        except OSError as error:
            return f"The trace may not reach the disk ({error.strerror}): save to another disk."
