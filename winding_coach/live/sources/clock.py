"""The clock of a trace and the queue of keys that every source has; clock and sleep are arguments."""

from __future__ import annotations

import queue
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from winding_coach.base.inputs import Ended, Input, KeyPressed

Clock = Callable[[], float]
Sleep = Callable[[float], None]


def awake_or_not() -> float:
    """Return seconds of a clock that no one can set and that goes on while the computer sleeps, where there is one."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


class WindClock:
    """Seconds since the wind began, rounded to the microsecond, never going back whatever the clock does."""

    def __init__(self, clock: Clock = time.monotonic) -> None:
        self._clock = clock
        self._began = clock()
        self._newest = 0.0

    def now(self) -> float:
        """Return the trace's time."""
        self._newest = max(self._newest, round(self._clock() - self._began, 6))
        return self._newest


@dataclass
class Keys:
    """Keys pressed in any thread, taken out in the loop's."""

    _waiting: queue.SimpleQueue[str] = field(default_factory=queue.SimpleQueue)
    _ended: bool = False

    def press(self, name: str) -> None:
        """Queue a key."""
        self._waiting.put(name)

    def take(self, at_s: float) -> Input | None:
        """Return the next key as an input; after `quit`, Ended; None when there is nothing."""
        if self._ended:
            return Ended(at_s)
        if self._waiting.empty():
            return None
        try:
            name = self._waiting.get_nowait()
        except queue.Empty:
            return None
        self._ended = name == "quit"
        return KeyPressed(at_s, name)


def started_now() -> datetime:
    """Return the wall clock's time with its offset, for a trace's header."""
    return datetime.now().astimezone().replace(microsecond=0)
