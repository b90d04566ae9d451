"""Who winds next and which motor: those due from the shelf, and what was typed or scanned in the finished screen."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from winding_coach.app.ago import since
from winding_coach.app.shelving import shelf_at
from winding_coach.base.units import counted, show

if TYPE_CHECKING:
    from winding_coach.base.units import UnitSystem
    from winding_coach.shelf.rest import Candidate
    from winding_coach.shelf.store import Shelf

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.shelving import LOOKED_AT, shelf_file
from winding_coach.base.units import UnitSystem
from winding_coach.screen.after import Answer, Asked

if TYPE_CHECKING:
    from winding_coach.shelf.records import Wind
    from winding_coach.shelf.rest import Candidate
    from winding_coach.shelf.store import Shelf

MOST_ROWS = 8


@dataclass(frozen=True, slots=True)
class Due:
    """What is due, the first first: motors and people. Each row is the motor and the person of that place."""

    motors: tuple[Candidate, ...] = ()
    people: tuple[str, ...] = ()

    @property
    def pairs(self) -> list[tuple[str, str | None]]:
        """The rows: motor and person; people take turns where there are fewer."""
        return [
            (one.motor.name, self.people[place % len(self.people)] if self.people else None)
            for place, one in enumerate(self.motors)
        ]


def due_of(shelf: Shelf, now: datetime, *, simulated: bool) -> Due:
    """Return the motors and people in use, in the order in which they are due: who waited longest comes first.

    simulated: winds on a simulated meter count, as the winds of a day on one.
    """
    from winding_coach.shelf.records import Motor, Person
    from winding_coach.shelf.rest import candidates
    from winding_coach.shelf.store import WindFilter, is_in_use

    winds = shelf.winds(WindFilter(simulated=None if simulated else False))
    counted = [replace(wind, simulated=False) for wind in winds] if simulated else winds
    motors = [one for one in shelf.all(Motor) if is_in_use(one)]
    ranked = candidates(motors, shelf.uses_logged(simulated=simulated), counted, now)
    people = [one.name for one in shelf.all(Person) if is_in_use(one)]
    return Due(
        tuple(sorted(ranked, key=lambda one: (one.unsaid is not None, one.state == "just wound"))),
        tuple(sorted(people, key=lambda name: _last_wound_s(counted, name))),
    )


def _last_wound_s(winds: Iterable[Wind], person: str) -> float:
    """When a person last wound, 0 for never."""
    last = (wind for wind in winds if wind.person is not None and wind.person.casefold() == person.casefold())
    return max((datetime.fromisoformat(wind.started).timestamp() for wind in last), default=0.0)


def chosen(line: str, due: Due) -> tuple[str | None, str | None]:
    """Return the motor and the person that a line means; one that is not named is the first that is due.

    Each word is a motor's or a person's name or the beginning of one, or a row's number; the whole line may be a
    motor's name, as a scanner types it from the label.

    Raises:
        UsageProblem: a word means nothing, or several.
    """
    motors, people = [one.motor.name for one in due.motors], list(due.people)
    pairs = due.pairs
    rows = {str(number): pair for number, pair in enumerate(pairs, 1)}
    motor, person, row = _exact(line.strip(), motors), None, None
    for word in [] if motor is not None else line.split():
        exact_motor, exact_person = _exact(word, motors), _exact(word, people)
        if exact_motor is None and exact_person is None and word in rows:
            row = rows[word]
            continue
        if exact_motor is None and exact_person is None:
            exact_motor, exact_person = _begins(word, motors, people)
        motor, person = exact_motor or motor, exact_person or person
    if row is None and pairs:
        row = pairs[0]
    if motor is not None and person is None and due.people:
        person = due.people[0]
    return (motor or row[0], person or row[1]) if row is not None else (motor, person)


def _exact(word: str, names: Sequence[str]) -> str | None:
    return next((name for name in names if name.casefold() == word.casefold()), None)


def _begins(word: str, motors: Sequence[str], people: Sequence[str]) -> tuple[str | None, str | None]:
    """Return the only motor or person whose name begins so, or (motors) ends so, as in `07` for th-07."""
    small = word.casefold()
    found_motors = [name for name in motors if name.casefold().startswith(small)]
    found_people = [name for name in people if name.casefold().startswith(small)]
    if not found_motors and not found_people:
        found_motors = [name for name in motors if name.casefold().endswith(small)]
    found = [*found_motors, *found_people]
    if len(found) == 1:
        return (found[0], None) if found_motors else (None, found[0])
    if not found:
        raise UsageProblem(f"No person and no motor in use is called '{word[:30]}': type letters of a row above.")
    more = "" if len(found) <= 6 else f" and {len(found) - 6} more"
    raise UsageProblem(f"'{word[:30]}' may be {', '.join(found[:6])}{more}: type more of the name.")


class UpcomingWinds:
    """The next winds of this shelf; `screen.after.Upcoming`. Where a loop should be measured again, asks for it."""

    def __init__(self, home: Home, units: UnitSystem, *, simulated: bool, person: str | None) -> None:
        """simulated: the meter is. person: who wound, where the shelf knows no people."""
        self._home, self._units, self._simulated, self._person = home, units, simulated, person
        self._due = Due()
        self._measuring: tuple[Asked, str] | None = None

    def rows(self) -> list[str]:
        """Return who is due, in a line each."""
        from winding_coach.keeping.indexing import look

        self._measuring = None
        if not shelf_file(self._home).exists():
            return []
        try:
            with shelf_at(self._home) as shelf:
                look(self._home.traces, shelf, newest=LOOKED_AT)
                self._due = due_of(shelf, datetime.now().astimezone(), simulated=self._simulated)
        except Problem:
            self._due = Due()
        pairs, wide = self._due.pairs[:MOST_ROWS], max((len(one.motor.name) for one in self._due.motors), default=0)
        return [_row(one, person, wide) for one, (_, person) in zip(self._due.motors[:MOST_ROWS], pairs, strict=True)]

    def choose(self, line: str) -> Answer:
        """Take what was typed: who and which motor, or the length of a loop that was asked for."""
        try:
            if self._measuring is not None:
                return self._measured(*self._measuring, line)
            motor, person = chosen(line, self._due)
            asked = Asked("next", motor, person or self._person)
            question = None if motor is None else self._to_measure(motor)
            if question is None:
                return Answer(asked)
            self._measuring = (asked, motor or "")
            return Answer(None, question)
        except Problem as problem:
            return Answer(None, str(problem))

    def _to_measure(self, motor: str) -> str | None:
        """Return the question for a loop's length, None where it need not be measured now."""
        from winding_coach.app.loop_now import loop_now

        with shelf_at(self._home, reading=True) as shelf:
            now = loop_now(shelf, motor, simulated=self._simulated)
        if now is None or not now.worth_measuring:
            return None
        expected = show(now.expected_m, "length", self._units)
        return (
            f"Measure the loop of {motor}, relaxed along a ruler, before it is hooked up: about {expected} is expected"
            f" after {counted(now.winds_since, 'wind')} since the last time. Type it, or press enter to continue."
        )

    def _measured(self, asked: Asked, motor: str, line: str) -> Answer:
        from winding_coach.app.loop_now import measured_again

        if line.strip():
            with shelf_at(self._home) as shelf:
                measured_again(shelf, motor, line, self._units, simulated=self._simulated)
        self._measuring = None
        return Answer(asked)


def _row(one: Candidate, person: str | None, wide: int) -> str:
    rested = "" if one.rested is None else f", {since(one.rested)}"
    who = "" if person is None else f"  {person}"
    return f"{one.motor.name:<{wide}}{who}  wind {one.uses + 1} to {one.share:.0%}  ({one.state}{rested})"
