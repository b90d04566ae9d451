"""A trace that is being written as a source: its rows as they come, the passing of time while none do. Reads only."""

from __future__ import annotations

import time
from collections import deque
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from winding_coach.base.inputs import Ended, Input, KeyPressed, LinkDown, TimePassed
from winding_coach.live.sources.clock import Clock, Keys, Sleep
from winding_coach.traces.files import LONGEST_LINE
from winding_coach.traces.header import Header, header_from
from winding_coach.traces.rows import TraceError, input_from, is_input, load

POLL_S = 0.02
GRACE_S = 0.5
"""The file may lag behind the wind by so much; only longer silence is passed on as time."""
CHUNK = 2**18


class FollowSource:
    """Follows one trace; ends with its summary, or with the key `quit`. `header`: the trace's first line."""

    def __init__(self, path: Path, *, clock: Clock = time.monotonic, sleep: Sleep = time.sleep) -> None:
        """Open the trace and read its first line.

        Raises:
            TraceError: the file cannot be read or is no trace, or is packed.
        """
        self._path = path
        self._clock, self._sleep = clock, sleep
        try:
            self._file = path.open("rb")
        except OSError as error:
            raise TraceError(f"The trace '{path}' cannot be read ({error.strerror}): check the name.") from None
        self._rest = b""
        self._lines: deque[bytes] = deque()
        self._number = 0
        self._at_s = self._row_s = 0.0
        self._heard_s = clock()
        self._keys = Keys()
        self._over = False
        self._spoilt = False
        try:
            self._pour()
            if not self._lines:
                raise TraceError("has no complete first line")
            self.header: Header = header_from(load(self._next_line()))
        except (TraceError, UnicodeDecodeError) as error:
            self._file.close()
            why = "is not text" if isinstance(error, UnicodeDecodeError) else str(error)
            raise TraceError(f"'{path}' is not a trace that can be followed: it {why}.") from None

    @property
    def started(self) -> datetime:
        """When the wind began."""
        return self.header.started

    @property
    def over(self) -> bool:
        """Whether the wind was closed."""
        return self._over

    def press(self, name: str) -> None:
        """Only `quit` is heard: a follower changes nothing."""
        if name == "quit":
            self._keys.press(name)

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def read(self, timeout_s: float) -> Input:
        """Return the trace's next input; TimePassed if nothing came."""
        waited_s = 0.0
        while True:
            key = self._keys.take(self._at_s)
            if self._over or (isinstance(key, KeyPressed) and key.name == "quit") or isinstance(key, Ended):
                return Ended(self._at_s)
            event = self._event()
            if event is not None:
                return event
            if waited_s >= timeout_s:
                silent_s = max(self._clock() - self._heard_s - GRACE_S, 0.0)
                self._at_s = max(self._at_s, round(self._row_s + silent_s, 6))
                return TimePassed(self._at_s)
            self._sleep(POLL_S)
            waited_s += POLL_S

    def _event(self) -> Input | None:
        if not self._lines and not self._spoilt:
            self._pour()
        while self._lines:
            self._heard_s = self._clock()
            try:
                found = load(self._next_line())
                if not is_input(found):
                    if not isinstance(found, dict):
                        raise TraceError("is neither an input nor something said")
                    self._over = found.get("event") == "summary"
                    if self._over:
                        return Ended(self._at_s)
                    continue
                event = input_from(found)
            except (TraceError, UnicodeDecodeError) as error:
                self._spoilt = True
                self._lines.clear()
                why = "is not text" if isinstance(error, UnicodeDecodeError) else str(error)
                return LinkDown(self._at_s, f"the trace cannot be read on: line {self._number} {why}")
            # Time that passed here may have run ahead of a file that lagged.
            self._row_s = event.at_s
            self._at_s = max(event.at_s, self._at_s)
            return replace(event, at_s=self._at_s)
        return None

    def _next_line(self) -> str:
        self._number += 1
        return self._lines.popleft().decode("utf-8")

    def _pour(self) -> None:
        """Take what was written since; a line that has not ended waits for its end."""
        data = self._file.read(CHUNK)
        *lines, self._rest = (self._rest + data).split(b"\n")
        self._lines.extend(line if len(line) <= LONGEST_LINE else b"!" for line in lines)
        if len(self._rest) > LONGEST_LINE:
            self._rest = b"!"  # Refused as a line when its end comes, and no more kept of it.
