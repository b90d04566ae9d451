"""`export FOLDER --club NAME`: winds, flights and readings as partitioned Parquet, for software that queries many.

The layout is Hive's, which such software reads as it is: TABLE/club=NAME/month=2026-03/…parquet. Each file says in
its own metadata what its rows were made from; one that would not change is left alone, so a second export is quick and
several clubs can write into one folder.
"""

from __future__ import annotations

import hashlib
import importlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.writing import write_whole

if TYPE_CHECKING:
    from winding_coach.shelf.exporting import ColumnType, Table
    from winding_coach.shelf.found import Found
    from winding_coach.shelf.records import Flight, Wind

MADE_FROM = b"winding_coach.made_from"
"""Key in a file's metadata: the SHA-256 of what its rows were made from."""
LAYOUT = "1"
"""Of the folder; it is part of `MADE_FROM`, so that another layout writes every file again."""
LONGEST_CLUB = 40


@dataclass(slots=True)
class Written:
    """What an export did: files written (path below the folder → rows) and how many were left as they were."""

    written: dict[str, int]
    unchanged: int = 0


def club_from(typed: str) -> str:
    """Return a club's name as it may stand in the name of a folder.

    Raises:
        UsageProblem: it cannot.
    """
    name = typed.strip()
    if not 0 < len(name) <= LONGEST_CLUB or not all(c.isalnum() or c in "_- " for c in name):
        raise UsageProblem(
            f"--club: '{typed[:LONGEST_CLUB]}' cannot name a folder: use up to {LONGEST_CLUB} letters, digits, spaces"
            " and dashes."
        )
    return name


def write_dataset(
    folder: Path,
    club: str,
    flown: Sequence[tuple[Wind, Flight | None]],
    flights: Iterable[Flight],
    found: Mapping[str, Found],
    *,
    people: bool,
) -> Written:
    """Write the winds (each with its last flight) and all flights of a club, a file a month and table.

    found: what the winds found, by id. people: keep nicknames; else they are left out.

    Raises:
        Problem: a file cannot be written, or pyarrow is not installed.
    """
    from winding_coach.shelf.exporting import flight_table, wind_table

    done = Written({})
    if not people:
        flown = [(replace(wind, person=None), flight) for wind, flight in flown]
    months = {wind.id: month_of(wind) for wind, _ in flown}
    winds = {wind.id: wind for wind, _ in flown}
    for month in sorted(set(months.values())):
        table = wind_table([one for one in flown if months[one[0].id] == month], found)
        _put(done, folder, club, month, "winds.parquet", table)
    of_month: dict[str, list[Flight]] = {}
    for flight in flights:
        if flight.wind in winds:
            of_month.setdefault(months[flight.wind], []).append(flight)
    for month, some in sorted(of_month.items()):
        _put(done, folder, club, month, "flights.parquet", flight_table(some, winds, found))
    return done


def month_of(wind: Wind) -> str:
    """Return the month in which a wind began, where it was."""
    return wind.started[:7]


def write_readings(done: Written, folder: Path, club: str, wind: Wind, rows: Iterator[Table], made_from: str) -> None:
    """Write the readings of one wind, unless they are there. rows: makes the table, asked only if it is needed.

    made_from: what they depend on: the trace and the estimator.

    Raises:
        Problem: the file cannot be written.
    """
    name = f"readings/club={club}/month={month_of(wind)}/{wind.id}.parquet"
    if _made_from(folder / name) == f"{LAYOUT} {made_from}".encode():
        done.unchanged += 1
        return
    table = with_wind(next(rows), wind.id)
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    write_whole(folder / name, parquet_of(table, f"{LAYOUT} {made_from}"), "dataset")
    done.written[name] = len(table.rows)


def with_wind(table: Table, wind_id: str) -> Table:
    """Return a table of readings whose first column says of which wind they are."""
    rows = [(wind_id, *row) for row in table.rows]
    return replace(table, columns=(("wind", "text"), *table.columns), rows=rows)


def _put(done: Written, folder: Path, club: str, month: str, file: str, table: Table) -> None:
    name = f"{file.removesuffix('.parquet')}/club={club}/month={month}/{file}"
    made_from = f"{LAYOUT} {_digest(table)}"
    if _made_from(folder / name) == made_from.encode():
        done.unchanged += 1
        return
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    write_whole(folder / name, parquet_of(table, made_from), "dataset")
    done.written[name] = len(table.rows)


def _digest(table: Table) -> str:
    digest = hashlib.sha256(repr(table.columns).encode())
    for row in table.rows:
        digest.update(repr(row).encode())
    return digest.hexdigest()


def _made_from(path: Path) -> bytes | None:
    """Return what a file says that it was made from, None where there is no such file."""
    if not path.exists():
        return None
    parquet: Any = importlib.import_module("pyarrow.parquet")
    arrow: Any = importlib.import_module("pyarrow")
    try:
        said: bytes | None = (parquet.read_schema(path).metadata or {}).get(MADE_FROM)
    except (OSError, arrow.ArrowException):
        return None  # Cut off or no Parquet: it is written again.
    return said


def needs_parquet() -> None:
    """Refuse where the library is not installed.

    Raises:
        Problem: it is not.
    """
    try:
        importlib.import_module("pyarrow.parquet")
    except ImportError:
        raise Problem(
            "Parquet needs pyarrow, which is not installed: pip install 'winding-coach[parquet]', or take .csv."
        ) from None


def parquet_of(table: Table, made_from: str | None = None) -> bytes:
    """Return a table as Parquet, its columns typed. made_from: for its metadata."""
    arrow: Any = importlib.import_module("pyarrow")
    parquet: Any = importlib.import_module("pyarrow.parquet")
    types: dict[ColumnType, Any] = {
        "text": arrow.string(),
        "real": arrow.float64(),
        "whole": arrow.int64(),
        "truth": arrow.bool_(),
        "reals": arrow.list_(arrow.float64()),
    }
    said = None if made_from is None else {MADE_FROM: made_from.encode()}
    schema = arrow.schema([(name, types[kind]) for name, kind in table.columns], metadata=said)
    columns = [[row[i] for row in table.rows] for i in range(len(table.columns))]
    sink = arrow.BufferOutputStream()
    parquet.write_table(arrow.table(dict(zip(schema.names, columns, strict=True)), schema=schema), sink)
    return bytes(sink.getvalue())
