"""A simulated meter on a pseudo-terminal, in real time or faster: bytes of a bench out, `?` in. POSIX only.

Bytes that nobody reads are dropped, as a USB serial port drops them; nothing here ever waits for a reader.
"""

from __future__ import annotations

import contextlib
import errno
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from winding_coach.sources.clock import Clock, Sleep

TICK_S = 0.0125


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


class PseudoPort:
    """A pseudo-terminal that behaves as a meter's port; `link` is a path that always leads to the present one."""

    def __init__(self, link: Path | None = None) -> None:
        self._link = link
        self._master: int | None = None
        self.device = ""
        self.plug()

    def plug(self) -> None:
        """Make a device: a new one each time, as a system names a lead that came back."""
        import tty

        master, slave = os.openpty()
        tty.setraw(slave)
        self.device = os.ttyname(slave)
        # Without a reader the slave must stay closed, or its end would keep bytes that a real port had lost.
        os.close(slave)
        os.set_blocking(master, False)
        self._master = master
        if self._link is not None:
            fresh = self._link.with_name(f"{self._link.name}.new")
            fresh.unlink(missing_ok=True)
            fresh.symlink_to(self.device)
            fresh.replace(self._link)

    def unplug(self) -> None:
        """Take the device away: a reader sees the end of it."""
        if self._master is not None:
            os.close(self._master)
            self._master = None
        if self._link is not None:
            self._link.unlink(missing_ok=True)

    @property
    def plugged(self) -> bool:
        """Whether there is a device."""
        return self._master is not None

    def send(self, data: bytes) -> None:
        """Send what the reader's end has room for and drop the rest; without a device, all."""
        if self._master is None or not data:
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


def emulate(
    bench: Bench,
    port: PseudoPort,
    *,
    speed: float = 1.0,
    stopped: Callable[[], bool] = lambda: False,
    clock: Clock = time.monotonic,
    sleep: Sleep = time.sleep,
) -> None:
    """Run a bench on a port until its hands have finished, or `stopped` says so. Paced to absolute times."""
    began = clock()
    passed = 0.0
    try:
        while not bench.done and not stopped():
            passed += TICK_S
            wait = began + passed / speed - clock()
            if wait > 0:
                sleep(wait)
            if bench.plugged != port.plugged:
                if bench.plugged:
                    port.plug()
                else:
                    port.unplug()
            bench.answer(port.received())
            port.send(bench.advance(TICK_S))
    finally:
        with contextlib.suppress(OSError):
            port.unplug()
