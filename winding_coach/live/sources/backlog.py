"""Bytes of a meter and when they came in; how late its lines are and how many bytes may pass out. Pure.

The device's clock is compared with ours: the least lag seen is taken for none, and one that grows faster than clocks
differ is a backlog on the way. A meter sends a few kilobytes a second; what comes faster, or is no line at all, may
not fill a trace.
"""

from __future__ import annotations

from winding_coach.meter.clock import DeviceClock
from winding_coach.meter.frames import FrameParser, Sample

LATE_S = 0.5
"""Lines older than this are not of now; the same as what may be shown as live."""
STOPPED_S = 1.0
"""The loop looks twenty times per second. When it has not for so long, the program or the computer stood still."""
NEWEST_BYTES = 512
"""So much of a backlog is passed on: about ten lines, an eighth of a second at 80 lines/s."""
MANY_BYTES = 256
"""A look that finds more than this at once may have found a backlog."""
BYTES_PER_S, BYTES_AT_ONCE = 32_768, 65_536
"""Twice what a meter at 320 lines/s sends, and two seconds of it at once."""
JUNK_PER_S, JUNK_AT_ONCE = 1024, 4096
"""The same for bytes in which there is not one line."""
CLOCKS_DIFFER = 0.01
"""A board's clock may be off by so much (a ceramic resonator: 0.5 %, with temperature; manufacturers' data sheets)."""


class _Bucket:
    """Lets `rate` bytes a second pass, and `most` at once."""

    def __init__(self, rate: float, most: float) -> None:
        self._rate, self._most = rate, most
        self._left, self._at_s = most, 0.0

    def passes(self, at_s: float, count: int) -> bool:
        """Whether so many bytes may pass now; if so, they are taken off."""
        self._left = min(self._left + self._rate * max(at_s - self._at_s, 0.0), self._most)
        self._at_s = at_s
        if count > self._left:
            return False
        self._left -= count
        return True


class Backlog:
    """Takes all bytes of one link, in the order they came."""

    def __init__(self) -> None:
        self._parser = FrameParser()
        self._clock = DeviceClock()
        self._lines = _Bucket(BYTES_PER_S, BYTES_AT_ONCE)
        self._junk = _Bucket(JUNK_PER_S, JUNK_AT_ONCE)
        self._least_s: float | None = None
        self._newest_s = 0.0
        self._ahead_s = 0.0
        self._device_s = 0.0

    def late_s(self, at_s: float, data: bytes) -> float | None:
        """Return how late the newest line in these bytes is; None where there is no line in them."""
        late_s = None
        before_s, newest_s = self._newest_s, self._device_s
        for frame in self._parser.feed(data):
            if not isinstance(frame, Sample):
                continue
            found = self._clock.add(frame, quadrature=True)
            if found is None:
                continue
            if found.restarted:
                self._least_s = None
            newest_s = found.device_s
            late_s = self._lag(at_s, found.device_s)
        self._ahead_s += max(newest_s - self._device_s - max(at_s - before_s, 0.0), 0.0)
        self._device_s = newest_s
        return late_s

    def _lag(self, at_s: float, device_s: float) -> float:
        lag_s = at_s - device_s
        grown_s = CLOCKS_DIFFER * max(at_s - self._newest_s, 0.0)
        self._least_s = lag_s if self._least_s is None else min(self._least_s + grown_s, lag_s)
        self._newest_s = at_s
        return lag_s - self._least_s

    def passes(self, at_s: float, count: int, *, lines: bool) -> bool:
        """Whether so many bytes may pass. lines: there is a line in them.

        A simulated meter may run faster than time: by its own clock it sends no more than a meter does.
        """
        return self._lines.passes(at_s + self._ahead_s, count) and (lines or self._junk.passes(at_s, count))
