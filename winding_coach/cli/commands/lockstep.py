"""A coach for another program: trace rows on standard input, what each made the coach say on standard output.

Nothing waits for a clock: a row is answered before the next one is read, so both sides may run at any speed.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from winding_coach.app.problem import Problem
from winding_coach.base.inputs import Ended, Input
from winding_coach.base.system import ended_by
from winding_coach.base.units import UnitSystem
from winding_coach.cli.output.headless import sentence
from winding_coach.coach.said import Said
from winding_coach.coach.step import Coach
from winding_coach.traces.files import LONGEST_LINE, Trace
from winding_coach.traces.header import header_from
from winding_coach.traces.rows import TraceError, input_from, is_input, load


@dataclass(frozen=True, slots=True)
class Answers:
    """How rows are answered. readings_hz: readings too, so many a second of the trace's time, 0 for none.
    acknowledge: after what a row made the coach say one line more says that it was taken."""

    as_json: bool
    units: UnitSystem
    readings_hz: float = 0.0
    acknowledge: bool = False


class Rows:
    """The lines of a pipe as rows of a trace, one at a time; `number` is that of the line read last."""

    def __init__(self, pipe: IO[bytes]) -> None:
        self.number = 0
        self._pipe = pipe
        self._last_s = 0.0

    def header(self) -> Trace:
        """Return the trace that the first line begins, without inputs.

        Raises:
            Problem: it is none.
        """
        found = self._next()
        try:
            if found is None:
                raise TraceError("is missing: send a trace's first line, then its input rows")
            return Trace(Path("-"), header_from(found))
        except TraceError as error:
            raise self._wrong(error) from None

    def inputs(self) -> Iterator[Input]:
        """Give the input of each row as it comes, until the pipe ends. What a coach said then is passed over.

        Raises:
            Problem: a line is no row; the sentence names it.
        """
        while (found := self._next()) is not None:
            if isinstance(found, dict) and isinstance(found.get("event"), str):
                continue
            try:
                if not is_input(found):
                    raise TraceError("is neither an input nor something said")
                event = input_from(found)
                if event.at_s < self._last_s:
                    raise TraceError("goes back in time")
            except TraceError as error:
                raise self._wrong(error) from None
            self._last_s = event.at_s
            yield event

    def _next(self) -> Any:
        """The JSON value of the next line; None at the end, where a last line without its end counts for nothing."""
        line = self._pipe.readline(LONGEST_LINE + 1)
        if not line:
            return None
        self.number += 1
        try:
            if len(line) > LONGEST_LINE:
                raise TraceError("is longer than any row of a trace")
            if not line.endswith(b"\n"):
                return None
            found = load(line.decode("utf-8"))
            if found is None:
                raise TraceError("is neither an input nor something said")
            return found
        except UnicodeDecodeError:
            raise self._wrong(TraceError("is not text")) from None
        except TraceError as error:
            raise self._wrong(error) from None

    def _wrong(self, error: TraceError) -> Problem:
        return Problem(f"Line {self.number or 1} of standard input {error}.")


class Answering:
    """Steps a coach and writes what each input made it say, flushed before the next input is taken."""

    def __init__(self, coach: Coach, out: IO[str], how: Answers) -> None:
        self._coach = coach
        self._out = out
        self._how = how
        self._next_reading_s = 0.0
        self.at_s = 0.0

    def take(self, event: Input) -> None:
        """Answer one input."""
        self.at_s = event.at_s
        lines = [self._line(said) for said in self._step(event)]
        if self._how.acknowledge and not isinstance(event, Ended):
            lines.append(json.dumps({"event": "taken", "at_s": event.at_s}))
        if lines:
            self._out.write("\n".join(lines) + "\n")
            self._out.flush()

    def _step(self, event: Input) -> list[Said]:
        coach, hz = self._coach, self._how.readings_hz
        was_over = coach.finished
        coach.step(event)
        if was_over or hz <= 0.0 or event.at_s < self._next_reading_s:
            return list(coach.said)
        self._next_reading_s = event.at_s + 1.0 / hz
        return [coach.view.reading, *coach.said]

    def _line(self, said: Said) -> str:
        if self._how.as_json:
            return json.dumps(said.as_json(), ensure_ascii=False)
        return sentence(said, self._how.units).replace("\n", " ")


class _Asked(Exception):
    """A signal asked for the end."""


@contextmanager
def _ended_by_signals() -> Iterator[list[bool]]:
    """While a row is waited for a signal to end ends the wait; a row that is being answered is answered first.

    The list holds whether one is being answered now, and whether the end was asked for.
    """
    state = [False, False]

    def handle(_number: int, _frame: Any) -> None:
        state[1] = True
        if not state[0]:
            raise _Asked

    with ended_by(handle), suppress(_Asked):
        yield state


def answer_rows(rows: Rows, coach: Coach, how: Answers, out: IO[str] | None = None) -> int:
    """Answer each row of a pipe until it ends or a signal comes, then close the wind; return the exit status.

    Raises:
        Problem: a line is no row.
    """
    answering = Answering(coach, sys.stdout if out is None else out, how)
    with _ended_by_signals() as state:
        for event in rows.inputs():
            state[0] = True
            answering.take(event)
            state[0] = False
            if state[1]:
                break
    if not coach.finished:
        answering.take(Ended(answering.at_s))
    return 0
