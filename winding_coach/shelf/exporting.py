"""The shelf in, flat tables out, for other engines: every column's name carries its unit, SI throughout. Pure.

Shares are 0-1. Moments are ISO 8601 with offset. A table is its columns' names and types and its rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from winding_coach.base.wind_values import VALUES
from winding_coach.shelf.flying import FlightUse, use_of
from winding_coach.shelf.found import NOTHING, Found, found_on
from winding_coach.shelf.records import Again, Flight, Strip, Wind
from winding_coach.shelf.store import Shelf
from winding_coach.shelf.tables import KINDS, typed_columns_of

ColumnType = Literal["text", "real", "whole", "truth", "reals"]
RENAMED = {
    "share": "share_of_breaking_turns",
    "ratio": "ratio_turns_per_crank_turn",
    "use": "use_number",
    "turns_left": "left_turns",
    "turns_used": "used_turns",
    "left_share": "left_share_of_launch_turns",
    "energy_share": "energy_used_share",
    "humidity": "humidity_share",
    **{value.name: f"{value.name}_share" for value in VALUES if value.unit == "share" and "share" not in value.name},
}
"""Fields whose names do not say the unit."""
PLURALS = {"batch": "batches", "person": "people"}
USED, OF_WIND = frozenset({"energy_used_J"}), frozenset({"wind"})
_TYPES: tuple[tuple[str, ColumnType], ...] = (
    ("tuple", "reals"),
    ("str", "text"),
    ("bool", "truth"),
    ("int", "whole"),
    ("float", "real"),
)
"""What stands in a field's annotation, and the column's type."""


@dataclass(frozen=True, slots=True)
class Table:
    """columns: name and type. rows: values in that order, None for not known."""

    name: str
    columns: tuple[tuple[str, ColumnType], ...]
    rows: list[tuple[Any, ...]]


def tables_of(shelf: Shelf, flown: Sequence[tuple[Wind, Flight | None]]) -> list[Table]:
    """Return all tables: winds with their last flight, every flight of these winds, and what has a name.

    Raises:
        ShelfError: the shelf cannot be read.
    """
    winds = {wind.id: wind for wind, _ in flown}
    flights = [flight for flight in shelf.flights() if flight.wind in winds]
    found = found_on(shelf)
    again = [one for wind, one in sorted(shelf.again().items()) if wind in winds]
    return [
        wind_table(flown, found),
        flight_table(flights, winds, found),
        *(
            Table(PLURALS.get(name, f"{name}s"), _columns(kind), [_row(one) for one in shelf.all(kind)])
            for name, kind in KINDS.items()
        ),
        Table("strips", _columns(Strip), [_row(strip) for strip in shelf.strips()]),
        Table("coached_again", _columns(Again), [_row(one) for one in again]),
    ]


def flight_table(flights: Sequence[Flight], winds: Mapping[str, Wind], found: Mapping[str, Found]) -> Table:
    """Return flights with what they used and what their winds found. winds: theirs, by id, as found."""
    return Table(
        "flights",
        _columns(Flight) + _columns(FlightUse, leave=USED) + _columns(Found),
        [
            _row(flight) + _row(use_of(winds[flight.wind], flight), leave=USED) + _row(found.get(flight.wind, NOTHING))
            for flight in flights
        ],
    )


def wind_table(flown: Sequence[tuple[Wind, Flight | None]], found: Mapping[str, Found]) -> Table:
    """Return the winds with what they found, each with its last flight in columns that begin with `flight_`."""
    flight_columns = _columns(Flight, leave=OF_WIND) + _columns(FlightUse, leave=USED)
    columns = _columns(Wind) + _columns(Found) + tuple((f"flight_{name}", kind) for name, kind in flight_columns)
    nothing = (None,) * len(flight_columns)
    return Table(
        "winds",
        columns,
        [
            _row(wind)
            + _row(found.get(wind.id, NOTHING))
            + (nothing if flight is None else _row(flight, leave=OF_WIND) + _row(use_of(wind, flight), leave=USED))
            for wind, flight in flown
        ],
    )


def _columns(kind: type[Any], leave: frozenset[str] = frozenset()) -> tuple[tuple[str, ColumnType], ...]:
    return tuple(
        (RENAMED.get(name, name), _type(annotated)) for name, annotated in typed_columns_of(kind) if name not in leave
    )


def _type(annotated: str) -> ColumnType:
    return next(kind for sign, kind in _TYPES if sign in annotated)


def _row(record: Any, leave: frozenset[str] = frozenset()) -> tuple[Any, ...]:
    return tuple(getattr(record, name) for name, _ in typed_columns_of(type(record)) if name not in leave)
