"""What a finished screen offers: the flight's line, letting the motor down, the next wind; and what was asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

Keep = Callable[[str], tuple[bool, str]]
"""What was typed → whether it was kept, and what to say of it."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to follow a closed wind: the next wind, with whom and which motor (None: as before), or letting down."""

    what: Literal["next", "let_down"]
    motor: str | None = None
    person: str | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """What comes of a typed line. asked: the next wind, None where there is more to type. said: a sentence on that."""

    asked: Asked | None
    said: str = ""


class Upcoming(Protocol):
    """Those who are due."""

    def rows(self) -> Sequence[str]:
        """Return one line for each that could be next, the first due first."""

    def choose(self, line: str) -> Answer:
        """Take what was typed: letters of a name, a row's number, a label's code; nothing means the first row."""


@dataclass(slots=True)
class After:
    """flight: keeps the line typed about the flight. upcoming: who is next. lets_down: whether the motor can be let
    down on the meter. found: called once when letting down is over; what it found, as a sentence. asked: what was asked
    for when the screen was left."""

    flight: Keep | None = None
    upcoming: Upcoming | None = None
    lets_down: bool = False
    found: Callable[[], str] | None = None
    asked: Asked | None = field(default=None)
