"""The one loop: read an input, record it, step the coach, publish a view. Screen and sound only look.

It runs in one worker thread (`start`) or in the caller's (`run`); the trace is written before anybody hears of it.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

from winding_coach.base.inputs import Ended, Input, KeyPressed, LinkDown, LinkUp, Skipped, TimePassed
from winding_coach.coach.curve import Curve
from winding_coach.coach.said import Alarm, PhaseSaid, ReadingSaid, Said, Summary, Unwound
from winding_coach.coach.view import CoachView
from winding_coach.traces.files import TraceWriter

LOGGER = logging.getLogger(__name__)
LOGGED = (Ended, KeyPressed, LinkDown, LinkUp, Skipped)
"""What comes in seldom enough to be logged."""
WAIT_S = 0.1
"""Every wait for an input ends after this, so that time passes for the coach too."""
SKIP_SHOWN_S = 5.0
VIEW_EVERY_S = 0.005
"""A view is published this often at most, and whenever something is said or nothing came: a sign of life."""
JOIN_S = 1.0


class Source(Protocol):
    """Where inputs come from."""

    def read(self, timeout_s: float) -> Input:
        """Return the next input; TimePassed if nothing came."""

    def press(self, name: str) -> None:
        """Queue a key, from any thread."""

    def close(self) -> None:
        """Let go of what is held."""


class Coaching(Protocol):
    """What the loop steps: `coach.step.Coach`, or `coach.unwinding.UnwindCoach`."""

    @property
    def view(self) -> CoachView:
        """All to be seen."""

    @property
    def said(self) -> tuple[Said, ...]:
        """What the last input made it say."""

    @property
    def summary(self) -> Summary | None:
        """The wind in values, once it is closed."""

    @property
    def finished(self) -> bool:
        """Whether it is over."""

    def step(self, event: Input) -> None:
        """Take one input."""


class Session:
    """A wind in progress. `view`, `curve`, `trouble`, `trace_name` and `finished` may be read from any thread."""

    def __init__(
        self,
        source: Source,
        coach: Coaching,
        writer: TraceWriter | None = None,
        *,
        heard: Callable[[Said], None] | None = None,
        seen: Callable[[CoachView], None] | None = None,
        readings_hz: float = 0.0,
        replaying: bool = False,
        looked_at: bool = True,
    ) -> None:
        """heard: called in the loop's thread with all that the coach says, and readings at `readings_hz`.
        seen: called there with the view after every input. looked_at: whether anybody looks at `view` and `curve` while
        the wind goes on; else there is one view, at its end."""
        self.view: CoachView = coach.view
        self.at_s = 0.0
        """The trace's time of the last input."""
        self.curve = Curve()
        self.replaying = replaying
        self.finished = False
        self.failure: BaseException | None = None
        self._source = source
        self._coach = coach
        self._writer = writer
        self._heard = heard
        self._seen = seen
        self._looked_at = looked_at
        self._reading_every_s = 1.0 / readings_hz if readings_hz > 0 else None
        self._next_reading_s = 0.0
        self._viewed_at_s = -1.0
        self._skipped: Skipped | None = None
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def trace_name(self) -> str | None:
        """Name of the file being written, None when the wind is not kept."""
        return None if self._writer is None else self._writer.path.name

    @property
    def fault(self) -> str | None:
        """One sentence on what is wrong with the loop or with keeping the wind, None when all is well."""
        if self.failure is not None:
            return (
                f"The coach stopped on a fault of its own ({type(self.failure).__name__}): close with q, start again."
            )
        return None if self._writer is None else self._writer.trouble

    @property
    def trouble(self) -> str | None:
        """The fault, else what the meter sent too late or too fast a moment ago; None when all is well."""
        fault, skipped = self.fault, self._skipped
        if fault is not None:
            return fault
        if skipped is None or self.at_s - skipped.at_s > SKIP_SHOWN_S:
            return None
        return f"{skipped.reason[0].upper()}{skipped.reason[1:]}."

    @property
    def summary(self) -> Summary | None:
        """The wind in figures, once it is closed."""
        return self._coach.summary

    def press(self, key_name: str) -> None:
        """Press a key by name."""
        self._source.press(key_name)

    def start(self) -> None:
        """Run the loop in a thread of its own."""
        self._thread = threading.Thread(target=self._guarded, name="winding session", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Close the wind and wait for the loop, for a second at most."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join(JOIN_S)

    def _guarded(self) -> None:
        try:
            self.run()
        except BaseException as failure:
            # The screen must say it and the wind must be closed: nothing else hears a thread die.
            self.failure = failure
            self.finished = True
            LOGGER.error("the coach stopped", exc_info=failure)

    def run(self) -> None:
        """Run the loop until the wind is closed, the source ends, or `stop` is called."""
        coach = self._coach
        try:
            while not coach.finished:
                stopping = self._stopping.is_set()
                event: Input = KeyPressed(self.at_s, "quit") if stopping else self._source.read(WAIT_S)
                self._record(event)
                coach.step(event)
                self.at_s = event.at_s
                self._tell(event)
                if self._seen is not None:
                    self._seen(coach.view)
        finally:
            if not self._looked_at:
                self.view = coach.view
            self.finished = True
            self._source.close()
            if self._writer is not None:
                self._writer.close()

    def _record(self, event: Input) -> None:
        if self._writer is not None and not isinstance(event, Ended):
            self._writer.input(event)

    def _tell(self, event: Input) -> None:
        said = self._coach.said
        if isinstance(event, Skipped):
            self._skipped = event
        if isinstance(event, LOGGED):
            LOGGER.debug("in: %s", event)
        due = self._looked_at and event.at_s - self._viewed_at_s >= VIEW_EVERY_S
        if due or (self._looked_at and (said or isinstance(event, TimePassed))):
            self._viewed_at_s = event.at_s
            self.view = view = self._coach.view
            reading = view.reading
            if reading.torque_Nm is not None:
                self.curve.add(reading.at_s, reading.turns, reading.torque_Nm)
        if self._heard is not None and self._reading_every_s is not None and event.at_s >= self._next_reading_s:
            self._next_reading_s = event.at_s + self._reading_every_s
            self._heard(self._coach.view.reading)
        urgent = self._writer is not None and isinstance(event, KeyPressed)
        for one in said:
            urgent = urgent or isinstance(one, (Alarm, PhaseSaid, Summary, Unwound))
            self._keep(one)
        if urgent and self._writer is not None:
            self._writer.sync()

    def _keep(self, one: Said) -> None:
        if not isinstance(one, ReadingSaid):
            LOGGER.debug("said: %s", one)
        if isinstance(one, Summary | Unwound):
            one = replace(one, trace=self.trace_name)
        if self._writer is not None and not isinstance(one, ReadingSaid):
            self._writer.said(one.as_json())
        if self._heard is not None:
            self._heard(one)


def as_kept(said: Said) -> dict[str, Any]:
    """Return what a trace holds of something said, without the file's name, for comparing."""
    return said.as_json() | ({"trace": None} if isinstance(said, Summary) else {})
