"""Lines for whoever reads our output, written in a thread of its own: a pipe or terminal that is not read must not make
the coach wait. What waited too long is left out, and said; an output that was closed is told at once."""

from __future__ import annotations

import io
import os
import threading
import time
from collections import deque
from collections.abc import Callable
from typing import TextIO

from winding_coach.cli.output.plain import plain, written_in

BLOCKED_S = 1.0
OLD_S = 2.0
"""A sentence that had to wait longer is out of date."""
MOST_LINES = 10_000
WAITING_LINES = 100
CLOSES_WITHIN_S = 5.0
BLOCKED = "The output is not being read: coaching continues; lines that wait too long are dropped."


class LinesOut:
    """Writes lines to a text stream. `put` never waits; a stream that is no file of the system's is written at once."""

    def __init__(
        self,
        stream: TextIO,
        *,
        drops_old: Callable[[int], str] | None = None,
        closed: Callable[[], None] = lambda: None,
        waits: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """drops_old: sentences are for now, so old ones are left out, and this words how many; None keeps all that
        there is room for. closed: called once, when it turns out that no one can read on.
        waits: `put` does, where nothing is live and each line is wanted."""
        self._stream, self._drops_old, self._on_closed, self._clock = stream, drops_old, closed, clock
        self._turn = threading.Condition()
        self._lines: deque[tuple[str, float, bool]] = deque()
        self._begun_s: float | None = None
        self._left_out = 0
        self._waits = waits
        self._ending = self._busy = False
        self.closed = False
        self._file = _file_of(stream)
        if self._file is not None:
            stream.flush()
            threading.Thread(target=self._run, name="lines out", daemon=True).start()

    @property
    def trouble(self) -> str | None:
        """One sentence while the output is not being read, else None; may be read from any thread."""
        begun_s = self._begun_s
        return BLOCKED if begun_s is not None and self._clock() - begun_s > BLOCKED_S else None

    def put(self, line: str, *, lasting: bool = False) -> None:
        """Write a line after those before. lasting: it is worth reading however late."""
        if self._file is None:
            self._stream.write(line + "\n")
            self._stream.flush()
            return
        with self._turn:
            if self._waits:
                self._turn.wait_for(lambda: self.closed or len(self._lines) < WAITING_LINES)
            elif len(self._lines) >= MOST_LINES:
                self._lines.popleft()
                self._left_out += 1
            self._lines.append((line, self._clock(), lasting))
            self._turn.notify_all()

    def close(self, within_s: float = CLOSES_WITHIN_S) -> bool:
        """Write what is left and end; return whether all was taken in so long."""
        with self._turn:
            self._ending = True
            self._turn.notify_all()
            return self._turn.wait_for(lambda: self._file is None or not (self._lines or self._busy), within_s)

    def _run(self) -> None:
        while True:
            with self._turn:
                self._busy = False
                self._turn.notify_all()
                self._turn.wait_for(lambda: self._lines or self._ending)
                if not self._lines:
                    return
                text = self._next()
                self._busy = True
            if not (self.closed or self._written(text)):
                with self._turn:
                    self.closed = True
                    self._turn.notify_all()
                self._on_closed()

    def _next(self) -> str:
        """Return the next line with its end, after a word on those left out before it."""
        now_s = self._clock()
        while (
            self._drops_old is not None
            and len(self._lines) > 1
            and not self._lines[0][2]
            and now_s - self._lines[0][1] > OLD_S
        ):
            self._lines.popleft()
            self._left_out += 1
        line = self._lines.popleft()[0]
        count, self._left_out = self._left_out, 0
        said = f"{self._drops_old(count)}\n" if count and self._drops_old is not None else ""
        return f"{said}{line}\n"

    def _written(self, text: str) -> bool:
        """Write, however long that takes; return whether it could be."""
        assert self._file is not None
        encoding = self._stream.encoding or "utf-8"
        data = written_in(plain(text), encoding).encode(encoding, "backslashreplace")
        self._begun_s = self._clock()
        try:
            while data:
                data = data[os.write(self._file, data) :]
        except OSError:
            return False
        finally:
            self._begun_s = None
        return True


def _file_of(stream: TextIO) -> int | None:
    """Return the system's number of the file that a stream writes to, None where it has none."""
    try:
        return stream.fileno()
    except (OSError, ValueError, AttributeError, io.UnsupportedOperation):
        return None
