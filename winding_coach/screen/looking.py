"""What the screen looks at. `session.Session` is one, `playback.Playback` another; a test's stand-in is a third."""

from __future__ import annotations

from typing import Protocol

from winding_coach.coach.curve import Curve
from winding_coach.coach.view import CoachView


class Looked(Protocol):
    """view: replaced by the worker thread, never changed. trouble: one sentence on keeping the wind, None: all well."""

    view: CoachView
    curve: Curve
    replaying: bool
    finished: bool

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
