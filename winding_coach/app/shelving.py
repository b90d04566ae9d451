"""The shelf as the commands use it: opened in the home's folder, new traces logged first, its troubles as problems."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from winding_coach.app.home import Home
from winding_coach.app.problem import Problem

if TYPE_CHECKING:
    from winding_coach.keeping.indexing import Found
    from winding_coach.shelf.records import Wind
    from winding_coach.shelf.store import Shelf

LOOKED_AT = 20
"""At a wind so many new traces are logged at most: whoever stands there with a motor in hand must not wait."""
SHORT_ID = 8
"""So much of a wind's id is shown; more is asked for where it is not enough."""


@contextmanager
def shelf_at(home: Home, *, reading: bool = False) -> Iterator[Shelf]:
    """Lend the home's shelf, made if there is none. reading: a folder that cannot be written will do.

    Raises:
        Problem: in place of every trouble of the shelf's.
    """
    from winding_coach.shelf.schema import ShelfError

    try:
        with _opened(shelf_file(home), reading) as shelf:
            yield shelf
    except ShelfError as error:
        raise Problem(str(error)) from None


def shelf_file(home: Home) -> Path:
    """Return where the shelf is kept."""
    from winding_coach.shelf.store import SHELF_FILE

    return home.folder / SHELF_FILE


def _opened(path: Path, reading: bool) -> Shelf:
    from winding_coach.shelf.schema import ShelfError
    from winding_coach.shelf.store import Shelf

    try:
        return Shelf(path)
    except ShelfError:
        if not reading or not path.exists():
            raise
        return Shelf(path, read_only=True)


def looked(home: Home, shelf: Shelf, *, newest: int | None = None) -> Found | None:
    """Log the traces that are not on the shelf yet, and say so on stderr; a trouble there is said too, and no more.

    newest: look at so many of the new files at most.
    """
    from winding_coach.keeping.indexing import look
    from winding_coach.shelf.schema import ShelfError

    try:
        found = look(home.traces, shelf, newest=newest)
    except ShelfError as error:
        print(f"New winds were not logged: {error}", file=sys.stderr)
        return None
    for line in news(found):
        print(line, file=sys.stderr)
    return found


def news(found: Found) -> list[str]:
    """Return what is worth saying of a look into the traces, one sentence each."""
    lines = [f"Motor {motor} broke and is marked so." for motor in found.broke]
    if found.later:
        lines.append(f"{found.later} older traces are not on the shelf: 'winding-coach shelf rebuild' logs them.")
    lines += [
        f"The wind of {wind.started[:16].replace('T', ' ')}{_of(wind)} was not closed; its trace is kept and it is on"
        f" the shelf: finish its entry with 'winding-coach flight 6:52 --wind {wind.id[:SHORT_ID]}' or"
        f" 'winding-coach shelf note {wind.id[:SHORT_ID]} --remarks …'."
        for wind in found.logged
        if wind.outcome == "open"
    ][:3]
    return lines + list(found.damaged.values())[:3]


def _of(wind: Wind) -> str:
    return "" if wind.motor is None else f" ({wind.motor})"


def trace_named(named: str, home: Home, *, newest: int = LOOKED_AT) -> Path:
    """Return the trace that is meant: a file, else a wind of the shelf by its id or `last`.

    newest: so many new traces are logged first, at most.
    """
    from winding_coach.shelf.schema import ShelfError

    path = Path(named)
    if path.exists() or path.parent != Path() or not shelf_file(home).exists():
        return path
    with shelf_at(home, reading=True) as shelf:
        looked(home, shelf, newest=newest)
        try:
            return home.traces / shelf.find_wind(named).trace
        except ShelfError as error:
            if "type more" in str(error):
                raise
    return path
