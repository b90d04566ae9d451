"""What the tests of sources share: a clock that only sleeping moves, real pseudo-terminals, wires made of lists."""

from __future__ import annotations

import os
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from tests.support.source import Source
from winding_coach.base.inputs import Input
from winding_coach.meter.frames import Hello, Sample, encode_hello, encode_sample

DEADLINE_S = 20.0
"""Only a broken program waits so long; nothing is asserted about how long it really took."""
HELLO = encode_hello(Hello(1, (("board", "bench"), ("rate", "80"), ("ch", "c"))))
Wanted = TypeVar("Wanted", bound=Input)


def line(seq: int) -> bytes:
    """A line of data."""
    return encode_sample(Sample(seq, 50_000 + 12_500 * seq, 84_000 + seq, 0, crank=0))


class FakeClock:
    """Time that passes only when somebody sleeps."""

    def __init__(self) -> None:
        self.now_s = 1000.0
        self.slept: list[float] = []

    def __call__(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.now_s += seconds


class Pty:
    """A real pseudo-terminal, of which the test holds the far end."""

    def __init__(self) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.device = os.ttyname(slave)
        os.close(slave)
        os.set_blocking(self.master, False)
        self.open = True

    def send(self, data: bytes) -> None:
        """Bytes of the meter."""
        assert os.write(self.master, data) == len(data)

    def received(self) -> bytes:
        """Bytes of the host; nothing if there are none, or nobody has the device open."""
        try:
            return os.read(self.master, 4096)
        except OSError:
            return b""

    def hang_up(self) -> None:
        """The lead is pulled."""
        if self.open:
            os.close(self.master)
            self.open = False


@contextmanager
def pty() -> Iterator[Pty]:
    """A pseudo-terminal for one test."""
    made = Pty()
    try:
        yield made
    finally:
        made.hang_up()


def until(
    source: Source, kind: type[Wanted], so: Callable[[Wanted], bool] = lambda _: True
) -> tuple[Wanted, list[Input]]:
    """Read until an input of a kind comes for which `so` holds; return it and all inputs, it included."""
    seen: list[Input] = []
    end = time.monotonic() + DEADLINE_S
    while time.monotonic() < end:
        event = source.read(0.05)
        seen.append(event)
        if isinstance(event, kind) and so(event):
            return event, seen
    raise AssertionError(f"no {kind.__name__} came; the last were {seen[-5:]}")


def eventually(so: Callable[[], bool]) -> None:
    """Wait until something is so."""
    end = time.monotonic() + DEADLINE_S
    while not so():
        assert time.monotonic() < end, "it never became so"
        time.sleep(0.002)


class FakeWire:
    """A wire made of what each `receive` gives: bytes, or an error to raise; then silence. Each takes 50 ms."""

    def __init__(self, clock: FakeClock, gives: list[bytes | Exception] | None = None) -> None:
        self.clock = clock
        self.gives = gives or []
        self.sent: list[bytes] = []
        self.sent_at: list[float] = []
        self.closed = 0
        self.deaf = False

    def receive(self) -> bytes:
        self.clock.now_s += 0.05
        if not self.gives:
            return b""
        given = self.gives.pop(0)
        if isinstance(given, Exception):
            raise given
        return given

    def send(self, data: bytes) -> None:
        self.sent.append(data)
        self.sent_at.append(self.clock())
        if self.deaf:
            raise OSError("Write timeout")

    def close(self) -> None:
        self.closed += 1


def at_once(work: Callable[[], None]) -> None:
    """Run what would run in a thread here and now."""
    work()
