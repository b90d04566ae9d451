"""Everything that can happen to the coach. Nothing else reaches it, so a list of these is a whole wind.

`at_s` is the trace's clock: seconds since the trace began, never going back, rounded to the microsecond
by the source that makes it (so that it survives a trip through a trace file unchanged).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

CHECKS = ("eyes", "line", "rating", "knot", "orings", "lubricant", "turns_in", "break_in")
"""What is looked at before a wind, in the order of the list. break_in: new rubber is pulled out slowly a few times, for
its first wind only (common practice, no source)."""
CHECK_KEYS = (*(f"check_{name}" for name in CHECKS), "checked")
"""Each ticks one of them, or takes the tick back; the last ticks all that is left."""
KEYS = (
    *("tare", "next", "back", "count", "peak", "stop", "quit", "go_on", "broke", "more_turns_in", "fewer_turns_in"),
    *CHECK_KEYS,
)
"""Names of the keys the coach understands: see `KeyPressed`."""


@dataclass(frozen=True, slots=True)
class BytesArrived:
    """Bytes as received from the meter, cut anywhere."""

    at_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class TimePassed:
    """Nothing came for a while; time and silence are inputs too."""

    at_s: float


@dataclass(frozen=True, slots=True)
class LinkUp:
    """The link to the meter is open; `port` is the name to show."""

    at_s: float
    port: str


@dataclass(frozen=True, slots=True)
class LinkDown:
    """The link is lost; the source goes on trying to open it again."""

    at_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class Skipped:
    """So many bytes of the meter were left out: they were too old to count as now, or came faster than any meter
    sends. What comes next may begin within a line."""

    at_s: float
    count: int
    reason: str


@dataclass(frozen=True, slots=True)
class KeyPressed:
    """A key by name, one of `KEYS`: tare, next (confirm a step), count (one crank turn), peak, stop, quit.

    back: take the last step back; go_on: although in doubt; broke: the motor did; more_turns_in, fewer_turns_in: ten
    that it holds already. `CHECK_KEYS` tick the list before the wind.
    """

    at_s: float
    name: str


@dataclass(frozen=True, slots=True)
class Ended:
    """The source has no more to give (end of a replay, quit, a signal). Never written to a trace."""

    at_s: float


Input: TypeAlias = BytesArrived | Skipped | TimePassed | LinkUp | LinkDown | KeyPressed | Ended
