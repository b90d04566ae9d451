"""The coach at the other end of a pipe: `replay - --headless --json --acknowledge`, row by row."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import UTC, datetime

from tests.bench.walkers.senses import Word
from winding_coach.base.inputs import Ended, Input
from winding_coach.coach.settings import CoachSettings
from winding_coach.traces.header import Header
from winding_coach.traces.rows import dump, input_row

COMMAND = ("-m", "winding_coach", "replay", "-", "--headless", "--json", "--acknowledge")
STARTED = datetime(2026, 1, 1, tzinfo=UTC)


class Piped:
    """A process that coaches; leads a wind as the coach in this process does."""

    def __init__(self, settings: CoachSettings) -> None:
        self.process = subprocess.Popen(
            [sys.executable, *COMMAND], stdin=subprocess.PIPE, stdout=subprocess.PIPE, encoding="utf-8"
        )
        header = Header(
            id="bench",
            started=STARTED,
            calibration=settings.calibration,
            motor=settings.motor,
            winder=settings.winder,
            model=settings.model,
            plan=settings.plan,
            units=settings.units,
        )
        self._send(dump(header.as_json()))

    def step(self, event: Input) -> list[Word]:
        """Answer one input."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        row = input_row(event)
        if isinstance(event, Ended) or row is None:
            self.process.stdin.close()
            return [json.loads(line) for line in self.process.stdout]
        self._send(row)
        said: list[Word] = []
        for line in self.process.stdout:
            word: Word = json.loads(line)
            if word["event"] == "taken":
                return said
            said.append(word)
        raise RuntimeError("the coach ended without an answer")

    def close(self) -> int:
        """Wait for its end; return the exit status."""
        if self.process.stdin is not None:
            self.process.stdin.close()
        if self.process.stdout is not None:
            self.process.stdout.close()
        return self.process.wait(timeout=60)

    def _send(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()
