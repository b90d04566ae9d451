"""A simulated meter as a source: its wire bytes in real time, faster, or without waiting. Keys as for a real one."""

from __future__ import annotations

import math
import queue
import time
from collections.abc import Callable
from typing import Protocol

from winding_coach.base.inputs import BytesArrived, Ended, Input, KeyPressed, LinkUp, TimePassed
from winding_coach.live.sources.clock import Clock, Keys, Sleep, started_now
from winding_coach.live.sources.pace import Pace

CHUNK_S = 0.0125
POLL_S = 0.05
"""A key is noticed within this, however slowly time passes."""
PORT = "simulated meter"
SAYS_BROKE_AFTER_S = 5.0
"""A practised motor that broke is said to have, by the key that someone at a real one would press."""


class Simulated(Protocol):
    """What `simulator.bench.Bench` offers."""

    def advance(self, dt_s: float) -> bytes:
        """Let time pass and return the bytes sent meanwhile."""

    @property
    def done(self) -> bool:
        """Whether the hands have finished."""


class PracticeSource:
    """Plays a bench; `speed` None does not wait. Ends with the bench's hands."""

    def __init__(
        self,
        bench: Simulated,
        speed: float | None = 1.0,
        *,
        hands: Callable[[str], None] | None = None,
        hurries: Callable[[], bool] = lambda: False,
        waits: bool = False,
        clock: Clock = time.monotonic,
        sleep: Sleep = time.sleep,
    ) -> None:
        """hands: takes commands such as `crank_faster` (`simulator.hands.KeyboardHands.command`), if they take any.
        hurries: while it is true nothing is waited for (the part of a lesson before the learner takes over).
        waits: time then stands still until the first command to the hands."""
        self.started = started_now()
        self._bench = bench
        self._hands = hands
        self._commands: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._pace = None if speed is None else Pace(speed, clock)
        self._hurries = hurries
        self._hurried = False
        self._waits = waits
        self._sleep = sleep
        self._keys = Keys()
        self._up = False
        self._at_s = 0.0
        self._broke_at_s: float | None = None

    def press(self, name: str) -> None:
        """Queue a key of the coach, from any thread."""
        self._keys.press(name)

    def hand(self, command: str) -> None:
        """Queue a command to the hands, from any thread. It is no input: the coach sees what comes of it."""
        self._commands.put(command)

    def close(self) -> None:
        """Nothing is held."""

    def read(self, timeout_s: float) -> Input:
        """Return the next bytes, key, or the passing of time; `timeout_s` is of simulated time."""
        if not self._up:
            self._up = True
            return LinkUp(0.0, PORT)
        end_s = self._at_s + timeout_s
        waited_s = 0.0
        while True:
            key = self._keys.take(self._at_s)
            if key is not None:
                return key
            if self._bench.done:
                return Ended(self._at_s)
            if self._says_broke():
                return KeyPressed(self._at_s, "broke")
            if self._at_s >= end_s or waited_s >= timeout_s:
                return TimePassed(self._at_s)
            hurries = self._hurries()
            if self._waits and not hurries and self._commands.empty():
                self._sleep(POLL_S)
                waited_s += POLL_S
                continue
            if self._pace is not None and (self._hurried or self._waits):
                self._pace.go_on_from(self._at_s)
            self._hurried, self._waits = hurries, self._waits and hurries
            next_s = round(self._at_s + CHUNK_S, 6)
            if self._pace is not None and not hurries and (wait_s := self._pace.wait_s(next_s)) > 0:
                self._sleep(min(wait_s, POLL_S))
                continue
            self._tell_hands()
            self._at_s = next_s
            data = self._bench.advance(CHUNK_S)
            if data:
                return BytesArrived(self._at_s, data)

    def _says_broke(self) -> bool:
        """Whether to say now, once, that the motor broke: no one else can see it."""
        truth = getattr(self._bench, "truth", None)
        if truth is None or not truth.broken or self._broke_at_s == math.inf:
            return False
        if self._broke_at_s is None:
            self._broke_at_s = self._at_s
        if self._at_s - self._broke_at_s < SAYS_BROKE_AFTER_S:
            return False
        self._broke_at_s = math.inf
        return True

    def _tell_hands(self) -> None:
        while self._hands is not None:
            try:
                self._hands(self._commands.get_nowait())
            except queue.Empty:
                return
