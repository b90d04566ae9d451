"""A wind that nobody looks after any more ends by itself, undecided. Pure; time comes with the inputs."""

from __future__ import annotations

from winding_coach.coach.phases import LOADED
from winding_coach.coach.said import Phase

ENDS_AFTER_S = 300.0
"""So long without a key, with torque gone or the meter's lines away: a motor or a lead takes less; assumed."""


class Ending:
    """`tell` it each input; it returns the outcome with which the wind ends by itself, None while it goes on."""

    def __init__(self) -> None:
        self._since_s: float | None = None

    def key(self) -> None:
        """Somebody is there."""
        self._since_s = None

    def tell(self, at_s: float, phase: Phase, link: str) -> str | None:
        """link: state of the meter's link. With lines that come and a motor that hangs there is nothing to wait for."""
        away = link in ("down", "silent")
        if not (phase is Phase.BROKEN or (away and phase in LOADED)):
            self._since_s = None
            return None
        if self._since_s is None:
            self._since_s = at_s
        if at_s - self._since_s < ENDS_AFTER_S:
            return None
        return ended_in(phase, lost=away)


def ended_in(phase: Phase, *, lost: bool) -> str:
    """Return the outcome of a wind that ends in a phase. lost: the meter's link is."""
    if phase in (Phase.READY, Phase.DONE):
        return "done"
    if phase is Phase.BROKEN:
        return "gone"
    return "lost" if lost and phase in LOADED else "stopped"
