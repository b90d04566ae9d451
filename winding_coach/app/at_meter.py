"""Someone at the meter: asks for what is to be done, waits for Enter, returns a steady reading."""

from __future__ import annotations

import queue
import sys
import threading
from collections import deque
from typing import TYPE_CHECKING, Protocol

from winding_coach.app.problem import Problem
from winding_coach.meter.calibration import SIMULATED

if TYPE_CHECKING:
    from collections.abc import Sequence

    from winding_coach.base.inputs import Input
    from winding_coach.meter.commissioning.calibrating import Point
    from winding_coach.meter.commissioning.guiding import GuideView, Load
    from winding_coach.meter.reader import TorqueSample

JOIN_S = 1.0
LEFT = "It was left before its end: no calibration was made."
KEPT_READINGS = 20_000
"""Newest readings from which it is learnt how often the meter repeats a value."""


class Source(Protocol):
    """What is used of a source of inputs."""

    def read(self, timeout_s: float) -> Input: ...

    def close(self) -> None: ...


class Lines:
    """Lines of standard input, without waiting for them; None once it has ended."""

    def __init__(self) -> None:
        self._queue: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        threading.Thread(target=self._listen, name="calibration keys", daemon=True).start()

    def _listen(self) -> None:
        for line in sys.stdin:
            self._queue.put(line.strip())
        self._queue.put(None)

    def take(self) -> str | None:
        """Return the next line, None at the end.

        Raises:
            queue.Empty: there is none yet.
        """
        return self._queue.get_nowait()


def say(words: str) -> None:
    """Tell the person at the meter; standard output is for results."""
    print(words, file=sys.stderr, flush=True)


class MeterSession:
    """A meter that someone loads by hand. crank_turns: the newest count, None without a sensor;
    in steps of 1/pulses_per_turn.

    quadrature: whether two sensors tell the direction.
    """

    def __init__(self, source: Source, lines: Lines) -> None:
        from winding_coach.meter.reader import MeterReader

        self._source = source
        self._lines = lines
        self._reader = MeterReader(SIMULATED)
        self.crank_turns: float | None = None
        self.quadrature, self.pulses_per_turn = False, 1
        self.raws: deque[int | None] = deque(maxlen=KEPT_READINGS)

    def steady_after_enter(self, load: Load, loads: Sequence[Load] = (), taken: Sequence[Point] = ()) -> Point | None:
        """Return the steady reading of a load after a line on standard input; ask again while there is none.

        loads, taken: what was taken before it. None: `b` was typed, for the load before.

        Raises:
            Problem: the input or the link ended.
        """
        from winding_coach.meter.commissioning.guiding import Guide

        guide = Guide([*loads, load], taken)
        while True:
            if self.wait_for_enter().lower() in ("b", "back") and taken:
                return None
            guide.take()
            while guide.view.waiting_s is not None:
                guide.see(self._read())
            view = guide.view
            if view.finished:
                return view.points[-1]
            say(f"    {view.trouble} Press Enter when it hangs still.")

    def wait_for_enter(self) -> str:
        """Wait for a line on standard input, and read the meter meanwhile; return the line.

        Raises:
            Problem: the input or the link ended.
        """
        while True:
            self._read()
            try:
                line = self._lines.take()
            except queue.Empty:
                continue
            if line is None or line.lower() in ("q", "quit"):
                raise Problem(LEFT)
            return line

    def _read(self) -> list[TorqueSample]:
        from winding_coach.base.inputs import BytesArrived, LinkDown, LinkUp

        event = self._source.read(0.1)
        if isinstance(event, LinkDown):
            raise Problem(f"The meter cannot be read: {event.reason}.")
        if isinstance(event, LinkUp):
            self._reader.link_up()
        samples = self._reader.feed(event.data, event.at_s) if isinstance(event, BytesArrived) else []
        self.raws.extend(sample.raw for sample in samples)
        if samples and samples[-1].crank_turns is not None:
            self.crank_turns, self.quadrature = samples[-1].crank_turns, samples[-1].quadrature
            self.pulses_per_turn = samples[-1].pulses_per_turn
        return samples


class GuidedMeter:
    """A guide and the thread that reads its meter. `view` and `lost` may be read from any thread."""

    def __init__(self, source: Source, loads: Sequence[Load], taken: Sequence[Point] = ()) -> None:
        from winding_coach.meter.commissioning.guiding import Guide
        from winding_coach.meter.reader import MeterReader

        self.lost: str | None = "The meter is being looked for."
        self._source = source
        self._guide = Guide(loads, taken)
        self._reader = MeterReader(SIMULATED)
        self._keys: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="calibration", daemon=True)
        self.view: GuideView = self._guide.view
        self.raws: deque[int | None] = deque(maxlen=KEPT_READINGS)

    def start(self) -> None:
        """Read in a thread of its own."""
        self._thread.start()

    def stop(self) -> None:
        """Let go of the meter."""
        self._stopping.set()
        self._thread.join(JOIN_S)

    def press(self, name: str) -> None:
        """Pass a key on: take, back."""
        self._keys.put(name)

    def _run(self) -> None:
        try:
            while not self._stopping.is_set():
                self._once()
        except Exception as failure:  # Nothing else hears a thread die.
            self.lost = (
                f"The reading stopped on a fault of its own ({type(failure).__name__}): leave with q, start again."
            )
        finally:
            self._source.close()

    def _once(self) -> None:
        from winding_coach.base.inputs import BytesArrived, LinkDown, LinkUp

        event = self._source.read(0.1)
        if isinstance(event, LinkUp):
            self._reader.link_up()
            self.lost = None
        elif isinstance(event, LinkDown):
            self.lost = f"The meter is gone: {event.reason}."
        elif isinstance(event, BytesArrived):
            samples = self._reader.feed(event.data, event.at_s)
            self.raws.extend(sample.raw for sample in samples)
            self._guide.see(samples)
        while not self._keys.empty():
            getattr(self._guide, self._keys.get())()
        self.view = self._guide.view
