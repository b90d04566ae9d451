"""A simulated meter in a process of its own, for `--port sim`: real bytes over a real pseudo-terminal.

The child ends when this process does, however it ends: its standard input closes.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence


class SimulatedMeterError(OSError):
    """The simulated meter could not be started; the message is a sentence."""


class SimulatedMeter:
    """`device` is the path of its port."""

    def __init__(self, arguments: Sequence[str]) -> None:
        """Start `meter emulate` with these further arguments.

        Raises:
            SimulatedMeterError: it gives no port (for instance where the system has no pseudo-terminals).
        """
        self._child = subprocess.Popen(
            [sys.executable, "-m", "winding_coach", "meter", "emulate", "--until-stdin-closes", *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self._child.stdout is not None
        self.device = self._child.stdout.readline().strip()
        if not self.device:
            _, said = self._child.communicate(timeout=5)
            last = said.strip().splitlines()[-1:] or ["it gave no port"]
            raise SimulatedMeterError(f"The simulated meter did not start: {last[0]}")

    def close(self) -> None:
        """End it."""
        assert self._child.stdin is not None
        assert self._child.stdout is not None
        assert self._child.stderr is not None
        self._child.stdin.close()
        self._child.stdout.close()
        self._child.stderr.close()
        try:
            self._child.wait(2)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()
