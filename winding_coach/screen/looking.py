"""What the screen looks at. `session.Session` is one, `playback.Playback` another; a test's stand-in is a third."""

from __future__ import annotations

from typing import Protocol

from winding_coach.coach.view import CoachView
from winding_coach.screen.chart import Points


class HasPoints(Protocol):
    """The chart's data."""

    def points(self) -> Points:
        """Return (at_s, turns or None, torque in N·m), oldest first."""


class Looked(Protocol):
    """A wind to look at; everything may be read from any thread."""

    @property
    def view(self) -> CoachView:
        """The newest view: replaced by the worker thread, never changed."""

    @property
    def curve(self) -> HasPoints:
        """The chart's data."""

    @property
    def replaying(self) -> bool:
        """Whether this is a saved wind."""

    @property
    def finished(self) -> bool:
        """Whether nothing more will come."""

    @property
    def trace_name(self) -> str | None:
        """Name of the file being written, None if the wind is not kept."""

    @property
    def trouble(self) -> str | None:
        """One sentence on what is wrong with keeping the wind."""

    def press(self, key_name: str) -> None:
        """Press one of `inputs.KEYS`."""

    def start(self) -> None:
        """Start the loop's thread."""

    def stop(self) -> None:
        """End the loop; returns within about a second."""


class Sound(Protocol):
    """What is heard of a wind, to be seen too. `sound.sounding.Sounding` is one."""

    @property
    def mark(self) -> str:
        """What is heard now, in a word or two; empty without sound."""

    @property
    def rung(self) -> int:
        """How often the terminal's bell was to ring so far."""
