"""Earlier winds of the same motor, for the chart: worked out beside the wind, shown when they are there."""

from __future__ import annotations

import re
import threading
from pathlib import Path

from winding_coach.keeping.replaying import settings_of
from winding_coach.screen.chart import Points
from winding_coach.screen.playback import film_of
from winding_coach.traces.files import SUFFIX, read_trace
from winding_coach.traces.rows import TraceError

MOST = 3


class EarlierWinds:
    """Call it for the torque of the newest winds of a motor, those that are worked out so far."""

    def __init__(self, folder: Path, motor: str | None, *, most: int = MOST) -> None:
        """motor: its name; a motor without one has no earlier winds."""
        self._found: tuple[Points, ...] = ()
        self._paths = [] if motor is None else traces_of(folder, motor)
        self._motor, self._most = motor, most

    def __call__(self) -> tuple[Points, ...]:
        """Return the winds found so far, the newest first."""
        return self._found

    def start(self) -> None:
        """Work them out in a thread that ends with the program."""
        threading.Thread(target=self.run, name="earlier winds", daemon=True).start()

    def run(self) -> None:
        """Work them out; a trace that cannot be read is passed over."""
        for path in self._paths:
            if len(self._found) >= self._most:
                return
            try:
                trace = read_trace(path)
                if trace.header.motor is None or trace.header.motor.name != self._motor:
                    continue
                film = film_of(path.name, trace.inputs, settings_of(trace), closed=False)
            except TraceError:
                continue
            if film.points and film.points[-1][1] is not None:
                self._found = (*self._found, film.points)


def traces_of(folder: Path, motor: str) -> list[Path]:
    """Return the traces whose file name ends with the motor's, the newest first; none if there is no folder."""
    name = re.sub(r"[^A-Za-z0-9._]+", "-", motor).strip("-.")[:40] or "motor"
    ends = tuple(f"-{name}{suffix}" for suffix in (SUFFIX, f"{SUFFIX}.gz"))
    try:
        found = [path for path in folder.iterdir() if path.name.endswith(ends)]
    except OSError:
        return []
    return sorted(found, key=lambda path: path.name, reverse=True)
