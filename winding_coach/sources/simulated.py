"""A simulated meter in a process of its own, for `--port sim`: real bytes over a real pseudo-terminal.

The child ends when this process does, however it ends: its standard input closes.
"""

from __future__ import annotations

import os
import select
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

STARTS_WITHIN_S = 20.0
ENDS_WITHIN_S = 2.0


class SimulatedMeterError(OSError):
    """The simulated meter could not be started; the message is a sentence."""


class SimulatedMeter:
    """`device` is the path of its port: a link that leads to the present device, also after it was unplugged."""

    def __init__(self, arguments: Sequence[str]) -> None:
        """Start `meter emulate` with these further arguments; its time begins when the port is opened.

        Raises:
            SimulatedMeterError: it gives no port (for instance where the system has no pseudo-terminals).
        """
        if not hasattr(os, "openpty"):
            raise SimulatedMeterError("This system has no pseudo-terminals: use `practice` instead.")
        self._folder = tempfile.mkdtemp(prefix="simulated-meter-")
        self.device = str(Path(self._folder) / "port")
        words = ["meter", "emulate", "--until-stdin-closes", "--wait", "--link", self.device, *arguments]
        self._child = subprocess.Popen(
            [sys.executable, "-m", "winding_coach", *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            # A Ctrl-C is for the coach, which closes the wind first and then ends the meter.
            start_new_session=True,
        )
        assert self._child.stdout is not None
        ready, _, _ = select.select([self._child.stdout], [], [], STARTS_WITHIN_S)
        if not ready or not self._child.stdout.readline():
            self._child.kill()
            _, said = self._child.communicate()
            shutil.rmtree(self._folder, ignore_errors=True)
            last = said.strip().splitlines()[-1:] or ["it gave no port"]
            raise SimulatedMeterError(f"The simulated meter did not start: {last[0]}")

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
        shutil.rmtree(self._folder, ignore_errors=True)
