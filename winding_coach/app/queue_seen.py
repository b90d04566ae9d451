"""Who is next and what each did last, for those who watch: from the shelf, worked out beside the screen."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING

from winding_coach.app.home import Home
from winding_coach.app.problem import Problem
from winding_coach.app.shelving import shelf_at, shelf_file
from winding_coach.base.units import UnitSystem

if TYPE_CHECKING:
    from winding_coach.shelf.records import Wind

EVERY_S = 4.0
MOST_ROWS = 8
HEADING = "Who is next"


class QueueSeen:
    """Call it for the lines, a heading and one row for each that is due; empty while nothing is known."""

    def __init__(
        self, home: Home, units: UnitSystem, *, aim_of: Callable[[Home, Wind, UnitSystem], str] | None = None
    ) -> None:
        """aim_of: says what to do better after a wind; a test may give its own."""
        self._home, self._units, self._aim_of = home, units, aim_of or last_aim
        self._aims: dict[str, str] = {}
        self._seen: object = None
        self._lines: tuple[str, ...] = ()
        self._stopping = threading.Event()

    def __call__(self) -> tuple[str, ...]:
        """Return what is known now."""
        return self._lines

    def start(self) -> None:
        """Look again and again in a thread that ends with the program."""
        threading.Thread(target=self._run, name="queue", daemon=True).start()

    def stop(self) -> None:
        """End it."""
        self._stopping.set()

    def _run(self) -> None:
        while not self._stopping.is_set():
            self.look()
            self._stopping.wait(EVERY_S)

    def look(self) -> None:
        """Look once, where the shelf has changed since."""
        now = _changed(self._home)
        if now == self._seen or now is None:
            return
        self._seen = now
        try:
            rows, winds = self._rows()
        except Problem:
            return
        self._show(rows, winds)
        for wind in winds.values():
            if wind.id not in self._aims and not self._stopping.is_set():
                self._aims[wind.id] = self._aim_of(self._home, wind, self._units)
        self._show(rows, winds)

    def _rows(self) -> tuple[list[tuple[str, str]], dict[str, Wind]]:
        """Return motor and person of those due, then ("", person) of all who wait; and each person's last wind."""
        from winding_coach.app.upcoming import due_of
        from winding_coach.shelf.store import WindFilter

        with shelf_at(self._home, reading=True) as shelf:
            newest = shelf.winds(WindFilter(newest=1))
            simulated = bool(newest) and newest[0].simulated
            due = due_of(shelf, datetime.now().astimezone(), simulated=simulated)
            rows = [(motor, person or "") for motor, person in due.pairs[:MOST_ROWS]]
            # Those for whom there is no motor yet wait behind: each sees what to mind next.
            next_up = {person for _, person in rows}
            rows += [("", person) for person in due.people if person not in next_up]
            last = {person: shelf.winds(WindFilter(person=person, newest=1)) for _, person in rows if person}
        return rows, {person: found[0] for person, found in last.items() if found}

    def _show(self, rows: list[tuple[str, str]], winds: dict[str, Wind]) -> None:
        wide = max((len(person) for _, person in rows), default=0)
        motors = max((len(motor) for motor, _ in rows), default=0)
        told: set[str] = set()
        lines = [HEADING] if rows else []
        for number, (motor, person) in enumerate(rows, 1):
            aim = self._aims.get(winds[person].id, "") if person in winds and person not in told else ""
            told.add(person)
            words = f"   last aim: {aim}" if aim else ""
            lines.append(f"{number:>{len(str(len(rows)))}}  {person:<{wide}}  {motor:<{motors}}{words}".rstrip())
        self._lines = tuple(lines)


def _changed(home: Home) -> object:
    """Return something that is another when the shelf was written to, None without one."""
    path = shelf_file(home)
    found = []
    for name in (path, path.with_name(f"{path.name}-wal")):
        try:
            seen = name.stat()
            found.append((seen.st_mtime_ns, seen.st_size))
        except OSError:
            found.append((0, 0))
    return None if found[0] == (0, 0) else tuple(found)


def last_aim(home: Home, wind: Wind, units: UnitSystem) -> str:
    """Return what to do better after a wind, in few words; "" where its trace cannot be read."""
    from winding_coach.app.reviewing import record_from

    record = record_from(home.traces / wind.trace, units).record
    if record is None or record.review.score is None:
        return ""
    return record.review.better.partition(":")[0].rstrip(".")
