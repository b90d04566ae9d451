"""Speech by the system's own command: one utterance at a time, the newest wins, a danger cuts in. It never waits.

The text goes to the command's standard input: never into a shell, nor among its options.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress

from winding_coach.sound.speech import Utterance

_WINDOWS = (
    "[Console]::InputEncoding = [Text.Encoding]::UTF8; Add-Type -AssemblyName System.Speech;"
    " (New-Object System.Speech.Synthesis.SpeechSynthesizer).Speak([Console]::In.ReadToEnd())"
)
COMMANDS: dict[str, tuple[str, ...]] = {
    # Without words or a file `say` reads its standard input (its manual, from memory; not tried).
    "darwin": ("say", "-r", "210"),
    # Not tried on that system.
    "win32": ("powershell", "-NoProfile", "-NonInteractive", "-Command", _WINDOWS),
    "linux": ("espeak-ng", "--stdin", "-s", "190", "-v", "en"),
}
LONGEST_S = 8.0
"""An utterance that takes longer is ended."""
QUEUED_S = 2.0
"""Words that had to wait longer for their turn are out of date."""


def speech_command(platform: str = sys.platform) -> tuple[str, ...] | None:
    """Return the system's speech command, None if there is none."""
    command = COMMANDS.get(platform, COMMANDS["linux"])
    found = shutil.which(command[0])
    return None if found is None else (found, *command[1:])


class Speaker:
    """Speaks what it is offered; `tick` is to be called often, from the same thread."""

    def __init__(self, command: Sequence[str], clock: Callable[[], float] = time.monotonic) -> None:
        self._command = tuple(command)
        self._clock = clock
        self._speaking: subprocess.Popen[bytes] | None = None
        self._urgent = False
        self._since_s = 0.0
        self._next: tuple[Utterance, float] | None = None
        self.failed = False

    def offer(self, utterance: Utterance) -> None:
        """Speak this next; at once if it is urgent."""
        self._next = utterance, self._clock()
        if utterance.urgent:
            self._hush()
        self.tick()

    def tick(self) -> None:
        """See to what is being spoken and to what is next."""
        now_s = self._clock()
        if self._speaking is not None and self._speaking.poll() is None:
            if now_s - self._since_s < LONGEST_S:
                return
            self._hush()
        if self._speaking is not None:
            # Ended on its own; a command that cannot speak at all says so by its status.
            self.failed = bool(self._speaking.returncode)
            self._speaking = None
        if self._next is None:
            return
        (utterance, offered_s), self._next = self._next, None
        if now_s - offered_s <= QUEUED_S:
            self._begin(utterance, now_s)

    def _begin(self, utterance: Utterance, now_s: float) -> None:
        try:
            speaking = subprocess.Popen(
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                start_new_session=True,
                creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            )
        except OSError:
            self.failed = True
            return
        assert speaking.stdin is not None
        # A few hundred bytes fit into any pipe, so this does not wait for the command.
        with suppress(OSError):
            speaking.stdin.write(utterance.text.encode() + b"\n")
        with suppress(OSError):
            speaking.stdin.close()
        self._speaking, self._since_s = speaking, now_s

    def _hush(self) -> None:
        """End what is being spoken."""
        speaking, self._speaking = self._speaking, None
        if speaking is not None:
            speaking.kill()
            with suppress(subprocess.TimeoutExpired):
                speaking.wait(0.5)

    def close(self) -> None:
        """Be quiet; the command has ended when this returns."""
        self._next = None
        self._hush()
