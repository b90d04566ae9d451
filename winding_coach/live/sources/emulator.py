"""A simulated meter on a port of its own, in real time or faster: bytes of a bench out, `?` in.

Bytes that no one reads are dropped, as a USB serial port drops them; nothing here ever waits for a reader.
"""

from __future__ import annotations

import contextlib
import errno
import os
import select
import time
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from winding_coach.live.sources.clock import Clock, Sleep
from winding_coach.live.sources.pace import LATEST_S, Pace

TICK_S = 0.0125
CATCHES_UP_S = 20.0
"""After a standstill up to this the meter's clock is right again, as a real board's is: else its lines would be as much
too old from then on, and the coach would show none of them as live."""
KEEPS_UP = 10.0
"""A bench and a coach at a port manage this many times real time; a faster one is always behind."""
LINGER_S = 1.0
"""The meter stays so long after the hands have finished: a reader has its last bytes to take."""
IDLE_POLL_S = 0.02


class Bench(Protocol):
    """What `simulator.faults.FaultyBench` offers."""

    @property
    def plugged(self) -> bool:
        """Whether the meter's lead is in."""

    @property
    def done(self) -> bool:
        """Whether the hands have finished."""

    def advance(self, dt_s: float) -> bytes:
        """Let time pass and return the bytes sent meanwhile."""

    def answer(self, data: bytes) -> None:
        """Take what the host sent."""


class Port(Protocol):
    """What `PseudoPort` and `loopback.LoopbackPort` offer."""

    @property
    def plugged(self) -> bool:
        """Whether there is something to open."""

    @property
    def has_reader(self) -> bool:
        """Whether someone has it open."""

    def plug(self) -> None:
        """Make it openable."""

    def unplug(self) -> None:
        """Take it away: a reader sees the end of it."""

    def send(self, data: bytes) -> None:
        """Send what the reader's end has room for and drop the rest."""

    def received(self) -> bytes:
        """Return what the reader has sent."""


class PseudoPort:
    """A pseudo-terminal that behaves as a meter's port (POSIX only); `link` always leads to the present one."""

    def __init__(self, link: Path | None = None) -> None:
        """Make a device and the link to it.

        Raises:
            OSError: there can be no device or no link; FileExistsError where a file is in the link's place.
            ImportError, AttributeError: this system has no pseudo-terminals.
        """
        if link is not None and link.exists() and not link.is_symlink():
            raise FileExistsError(errno.EEXIST, "a file is there already")
        self._link = link
        self._master: int | None = None
        self.device = ""
        self.plug()

    def plug(self) -> None:
        """Make a device, under another name than the last: as a system names a lead that came back."""
        master, device = _opened()
        if device == self.device:
            # The system gives the lowest free number; the next is another.
            again = master
            master, device = _opened()
            os.close(again)
        self.device = device
        self._master = master
        if self._link is not None:
            fresh = self._link.with_name(f"{self._link.name}.{os.getpid()}.new")
            try:
                fresh.unlink(missing_ok=True)
                fresh.symlink_to(self.device)
                fresh.replace(self._link)
            except OSError:
                self.unplug()
                raise

    def unplug(self) -> None:
        """Take the device away: a reader sees the end of it."""
        if self._master is None:
            return
        os.close(self._master)
        self._master = None
        # Another emulator may have taken the link over.
        if self._link is not None and self._link.is_symlink() and os.readlink(self._link) == self.device:
            self._link.unlink(missing_ok=True)

    @property
    def plugged(self) -> bool:
        """Whether there is a device."""
        return self._master is not None

    @property
    def has_reader(self) -> bool:
        """Whether someone has the device open."""
        if self._master is None:
            return False
        poll = select.poll()
        poll.register(self._master, select.POLLIN)
        return not any(event & select.POLLHUP for _, event in poll.poll(0))

    def send(self, data: bytes) -> None:
        """Send what the reader's end has room for and drop the rest; without a device, all."""
        # A pseudo-terminal keeps what is written before anybody opens it; a real port loses it.
        if self._master is None or not data or not self.has_reader:
            return
        try:
            os.write(self._master, data)
        except BlockingIOError:
            return
        except OSError as error:
            if error.errno != errno.EIO:
                raise

    def received(self) -> bytes:
        """Return what the reader has sent, nothing if nothing."""
        if self._master is None:
            return b""
        try:
            return os.read(self._master, 256)
        except BlockingIOError:
            return b""
        except OSError as error:
            # No reader has the other end open.
            if error.errno != errno.EIO:
                raise
            return b""


def _opened() -> tuple[int, str]:
    import tty

    master, slave = os.openpty()
    tty.setraw(slave)
    device = os.ttyname(slave)
    # Without a reader the slave must stay closed, or its end would keep bytes that a real port had lost.
    os.close(slave)
    os.set_blocking(master, False)
    return master, device


def emulate(
    bench: Bench,
    port: Port,
    *,
    crank_port: Port | None = None,
    crank_sent: Callable[[], bytes] = bytes,
    printed: Callable[[bytes], bytes] = bytes,
    speed: float = 1.0,
    wait_for_reader: bool = False,
    until_stopped: bool = False,
    stopped: Callable[[], bool] = lambda: False,
    clock: Clock = time.monotonic,
    sleep: Sleep = time.sleep,
) -> None:
    """Run a bench on a port until its hands have finished, or `stopped` says so. Paced to absolute times.

    wait_for_reader: time begins when someone opens the device. until_stopped: the meter stays when the hands
    have finished, and goes on sending. crank_port: of a crank sender; crank_sent: what it has
    sent since it was last asked. printed: what goes out instead of what the bench sends.
    """
    pace = Pace(speed, clock, CATCHES_UP_S if speed <= KEEPS_UP else LATEST_S)
    passed_s = 0.0
    finished: float | None = None
    try:
        while wait_for_reader and not port.has_reader and not stopped():
            sleep(IDLE_POLL_S)
        while not stopped():
            if bench.done and not until_stopped:
                finished = clock() if finished is None else finished
                if clock() - finished >= LINGER_S:
                    return
            passed_s += TICK_S
            wait_s = pace.wait_s(passed_s)
            if wait_s > 0:
                sleep(wait_s)
            if bench.plugged != port.plugged:
                if bench.plugged:
                    port.plug()
                else:
                    port.unplug()
            bench.answer(port.received())
            port.send(printed(bench.advance(TICK_S)))
            if crank_port is not None:
                crank_port.received()
                crank_port.send(crank_sent())
    finally:
        for one in (port, crank_port):
            with contextlib.suppress(OSError):
                if one is not None:
                    one.unplug()
