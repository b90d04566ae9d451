"""A simulated meter in a process of its own, for `--port sim`: real bytes over a pseudo-terminal or a local socket.

The child ends when this process does, however it ends: its standard input closes.
"""

from __future__ import annotations

import os
import queue
import shlex
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from pathlib import Path

from winding_coach.base.errors import CoachError

STARTS_WITHIN_S = 20.0
ENDS_WITHIN_S = 2.0


class SimulatedMeterError(CoachError, OSError):
    """The simulated meter could not be started; the message is a sentence."""


class SimulatedMeter:
    """`device` opens its port: a path that leads to the present device also after it was unplugged, or a URL."""

    def __init__(self, arguments: Sequence[str], *, loopback: bool | None = None) -> None:
        """Start `meter emulate` with these further arguments; its time begins when the port is opened.

        loopback: use a socket on this computer instead of a pseudo-terminal; None: where there are none.

        Raises:
            SimulatedMeterError: it gives no port.
        """
        if loopback is None:
            loopback = not hasattr(os, "openpty")
        self._folder = None if loopback else tempfile.mkdtemp(prefix="simulated-meter-")
        where = ["--socket"] if self._folder is None else ["--link", str(Path(self._folder) / "port")]
        words = ["meter", "emulate", "--until-stdin-closes", "--wait", *where, *arguments]
        self._child = subprocess.Popen(
            [sys.executable, "-m", "winding_coach", *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            # A Ctrl-C is for the coach, which closes the wind first and then ends the meter.
            start_new_session=True,
            creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
        )
        self.device = self._first_line()
        if not self.device:
            self._child.kill()
            _, said = self._child.communicate()
            self._clear()
            last = said.strip().splitlines()[-1:] or ["it gave no port"]
            raise SimulatedMeterError(f"The simulated meter did not start: {last[0]}")

    def _first_line(self) -> str:
        """Return what the child prints first: what opens its port; empty if nothing comes in time."""
        assert self._child.stdout is not None
        stdout = self._child.stdout
        found: queue.Queue[str] = queue.Queue()
        # A thread, since not every system can wait for a pipe with a time limit.
        threading.Thread(target=lambda: found.put(stdout.readline().strip()), daemon=True).start()
        try:
            return found.get(timeout=STARTS_WITHIN_S)
        except queue.Empty:
            return ""

    def _clear(self) -> None:
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)

    def put_on(self, arguments: Sequence[str]) -> None:
        """Put another motor on the meter, by these options of `meter emulate`; port and zero stay.

        Raises:
            SimulatedMeterError: the meter has ended.
        """
        assert self._child.stdin is not None
        try:
            self._child.stdin.write(f"next {shlex.join(arguments)}\n")
            self._child.stdin.flush()
        except OSError:
            raise SimulatedMeterError("The simulated meter has ended: leave with q, start again.") from None

    def close(self) -> None:
        """End it."""
        for stream in (self._child.stdin, self._child.stdout, self._child.stderr):
            assert stream is not None
            stream.close()
        try:
            self._child.wait(ENDS_WITHIN_S)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()
        self._clear()
