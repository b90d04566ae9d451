"""`--log FILE`: what the program does and meets, line by line, for whoever has to find a fault.

It is written behind a bounded queue by a thread of its own, as all that leaves the coach: a disk that blocks or is full
never holds up a wind.
"""

from __future__ import annotations

import logging
import os
import platform
from pathlib import Path
from typing import TextIO

from winding_coach import __version__
from winding_coach.app.problem import Problem
from winding_coach.cli.output.lines_out import LinesOut

LOGGER = logging.getLogger("winding_coach")
PATIENCE_S = 1.0
"""At the end the last lines get this long to reach a disk that blocks."""


class LogLines(logging.Handler):
    """Log records → lines of text that wait in a queue of their own."""

    def __init__(self, file: TextIO) -> None:
        """file: where they go, closed with the handler."""
        super().__init__()
        self.file = file
        self.lines = LinesOut(file)
        self.setFormatter(logging.Formatter("%(asctime)s %(levelname)-7s %(name)s: %(message)s"))

    def emit(self, record: logging.LogRecord) -> None:
        """Hand a record on."""
        self.lines.put(self.format(record), lasting=True)

    def close(self) -> None:
        """Let the last lines reach the file; a disk that still blocks keeps its file open, as the thread writes on."""
        if self.lines.close(PATIENCE_S):
            self.file.close()
        super().close()


def start_log(path: Path, words: list[str]) -> LogLines:
    """Log from now on into a file that only its user can read; it grows by each command.

    words: the command as it was typed.

    Raises:
        Problem: the file cannot be written.
    """
    try:
        opened = os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), "a", encoding="utf-8")
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else "no file can have such a name"
        raise Problem(f"The log '{path}' cannot be written ({why}): name another file with --log.") from None
    handler = LogLines(opened)
    LOGGER.addHandler(handler)
    LOGGER.setLevel(logging.DEBUG)
    LOGGER.propagate = False
    LOGGER.info("winding-coach %s, Python %s, %s", __version__, platform.python_version(), platform.platform())
    LOGGER.info("command: %s", " ".join(words))
    return handler


def end_log(handler: LogLines) -> None:
    """Let the last lines reach the file, and log no more."""
    LOGGER.removeHandler(handler)
    LOGGER.setLevel(logging.NOTSET)
    LOGGER.propagate = True
    handler.close()
