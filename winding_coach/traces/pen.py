"""Rows go to the file in a thread of its own: a disk that blocks in a write must not make the coach wait.

As a rule a row has been handed to the system when `put` returns; a disk that takes longer than `WAITS_S` is not waited
for any more until it has caught up.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable

KEPT_BYTES = 32 * 2**20
"""While the disk refuses or blocks, so much is kept in memory and written when it takes it again."""
AT_ONCE = 2**20
WAITS_S = 0.05
BLOCKED_S = 1.0
REFUSED = "The trace cannot be written ({why}): make room on the disk; coaching continues."
BLOCKED = "The disk does not take the trace at the moment: coaching continues, and new data are kept in memory."
CUT = "The trace was cut, the disk took nothing for too long: coaching continues; the rest of this wind is not kept."


class Pen:
    """Writes to one open file. `trouble` is what to say of it; `put` and `again` belong to one thread."""

    def __init__(self, file: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._file, self._clock = file, clock
        self._turn = threading.Condition()
        self._waiting = bytearray()
        self._asked = self._tried = 0
        self._behind = self._closing = self._cut = False
        self._refused: str | None = None
        self._begun_s: float | None = None
        threading.Thread(target=self._run, name="trace to file", daemon=True).start()

    @property
    def trouble(self) -> str | None:
        """One sentence on what is wrong, None when all is well; may be read from any thread."""
        begun_s = self._begun_s
        if self._cut:
            return CUT
        if self._refused is None and begun_s is not None and self._clock() - begun_s > BLOCKED_S:
            return BLOCKED
        return self._refused

    @property
    def blocked(self) -> bool:
        """Whether a write has not come back yet."""
        return self._begun_s is not None

    def put(self, data: bytes) -> None:
        """Write this after all before it. What comes after a row that could not be kept is not kept either."""
        with self._turn:
            if self._cut or len(self._waiting) + len(data) > KEPT_BYTES:
                self._cut = True
                return
            self._waiting += data
            if self._refused is None:
                self._ask()

    def again(self) -> None:
        """Try again what was refused."""
        with self._turn:
            self._ask()

    def close(self, within_s: float) -> bool:
        """Write what is left and end; return whether all was written in so long."""
        with self._turn:
            self._closing = True
            self._asked += 1
            self._turn.notify_all()
            return self._turn.wait_for(lambda: self._tried >= self._asked, within_s) and not self._waiting

    def _ask(self) -> None:
        self._asked += 1
        self._turn.notify_all()
        if not self._behind:
            self._behind = not self._turn.wait_for(lambda: self._tried >= self._asked, WAITS_S)

    def _run(self) -> None:
        closing = False
        while not closing:
            with self._turn:
                self._turn.wait_for(lambda: self._asked > self._tried)
                asked, data = self._asked, bytes(self._waiting[:AT_ONCE])
            written, refused = self._written(data)
            with self._turn:
                del self._waiting[:written]
                self._refused = refused
                if self._waiting and refused is None:
                    continue
                self._tried, closing = asked, self._closing and asked == self._asked
                self._behind = self._behind and self._asked > asked
                self._turn.notify_all()

    def _written(self, data: bytes) -> tuple[int, str | None]:
        """Return how many bytes the system took, and why no more."""
        written = 0
        self._begun_s = self._clock()
        try:
            while written < len(data):
                written += os.write(self._file, data[written:])
        except OSError as error:
            return written, REFUSED.format(why=error.strerror)
        finally:
            self._begun_s = None
        return written, None
