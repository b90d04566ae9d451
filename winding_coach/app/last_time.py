"""What the shelf's last wind of a motor says of the next: which way round, turns that may still be in it, whether it is
whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from winding_coach.app.shelving import SHORT_ID

if TYPE_CHECKING:
    from winding_coach.app.home import Home
    from winding_coach.shelf.records import Wind
    from winding_coach.shelf.store import Shelf

LEAST_LEFT = 15.0
"""Fewer turns than this are an empty motor; torque cannot tell them apart either."""
NEWEST_UNWINDINGS = 20


@dataclass(frozen=True, slots=True)
class LastTime:
    """turns_left: of the motor, after its last flight, None where no one knows or it was let down. said: a sentence
    each."""

    turns_left: float | None = None
    said: tuple[str, ...] = ()


def last_time(home: Home, shelf: Shelf, motor: str, hand: str | None, *, simulated: bool) -> LastTime:
    """Return what a motor's last wind says; hand: which way round it is to be wound now, None not known."""
    from winding_coach.shelf.store import WindFilter

    last = next(
        (one for one in shelf.winds(WindFilter(motor=motor, newest=5)) if simulated or not one.simulated),
        None,
    )
    if last is None:
        return LastTime()
    said: list[str] = []
    if last.direction is not None and hand is not None and last.direction != hand:
        said.append(f"Motor {motor} was wound {last.direction}-hand in its last wind, {hand}-hand is asked for now.")
    elif last.direction == "left" and hand is None:
        said.append(f"Motor {motor} was wound left-hand in its last wind.")
    if last.outcome == "gone":
        said.append(
            f"The last wind of motor {motor} lost torque, with no word on whether it broke: if so, 'winding-coach"
            f" flight broke --wind {last.id[:SHORT_ID]}'."
        )
    left = _turns_left(home, shelf, last)
    if left is not None:
        said.append(
            f"Its last flight left about {left:.0f} turns in motor {motor}: the coach looks for them. If they were let"
            " down since, --turns-in 0."
        )
    return LastTime(left, tuple(said))


def mark(shelf: Shelf, wind: Wind, *, broke: bool) -> str:
    """Say of a wind whether its motor broke, whatever its trace says; return a sentence.

    Raises:
        ShelfError: the shelf cannot take it.
    """
    from winding_coach.shelf.records import Motor

    short = wind.id[:SHORT_ID]
    with shelf.writing():
        by_trace = shelf.note(wind.id, outcome=None).outcome
        if broke:
            shelf.note(wind.id, outcome="broken")
        elif by_trace in ("gone", "broken"):
            # What the trace says is not so: the motor came off, and the wind ended there.
            shelf.note(wind.id, outcome="stopped")
        named = wind.motor
        if named is None or wind.simulated or not shelf.has(Motor, named):
            return f"Wind {short}: the motor {'broke' if broke else 'did not break'}."
        before, after = ("in_use", "broken") if broke else ("broken", "in_use")
        if shelf.get(Motor, named).state == before:
            shelf.edit(Motor, named, state=after)
    if broke:
        return f"Wind {short}: motor {named} broke and is marked so. Undo: 'flight intact --wind {short}'."
    return f"Wind {short}: motor {named} did not break and is in use."


def _turns_left(home: Home, shelf: Shelf, last: Wind) -> float | None:
    flights = shelf.flights([last.id])
    left = None if not flights else flights[0].turns_left
    if left is None or left < LEAST_LEFT or _let_down(home, last):
        return None
    return left


def _let_down(home: Home, wind: Wind) -> bool:
    """Whether a motor was let down on the meter after a wind."""
    from winding_coach.keeping.replaying import UNWINDING
    from winding_coach.traces.glance import glance
    from winding_coach.traces.rows import TraceError

    folder = home.folder / "unwindings"
    files = sorted(folder.glob("*"), reverse=True)[:NEWEST_UNWINDINGS] if folder.is_dir() else []
    for path in files:
        try:
            of: Any = glance(path).header.more.get(UNWINDING)
        except (TraceError, OSError):
            continue
        if isinstance(of, dict) and of.get("wind") == wind.id:
            return True
    return False
