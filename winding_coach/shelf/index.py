"""The open file of a shelf, and in it what comes from traces: calibrations, meters, files, what a later coach makes.

All of this can be made again from the traces; `store` adds what has a name, the winds and the flights.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from winding_coach.shelf.records import Again, KeptCalibration
from winding_coach.shelf.schema import open_file, told, writing
from winding_coach.shelf.tables import columns_of, record_of, row_of


@dataclass(frozen=True, slots=True)
class IndexedFile:
    """A wind's file as it was when it was read: its path below `traces`, and the wind's outcome by it."""

    trace: str
    size: int | None
    outcome: str


class ShelfFile:
    """An open shelf. One program may have several; each thread opens its own. Close it, or use it in a `with`."""

    def __init__(self, path: Path, *, read_only: bool = False) -> None:
        """Open the file, making it if it is not there.

        Raises:
            ShelfError: it cannot be opened or is not this program's.
        """
        self.path = path
        self._db = open_file(path, read_only=read_only)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Do all inside or nothing, and for readers at one moment.

        Raises:
            ShelfError: the file cannot be written.
        """
        with told(self.path), writing(self._db):
            yield

    @contextmanager
    def connected(self) -> Iterator[sqlite3.Connection]:
        """Lend the connection to the other modules of this room; its errors become sentences."""
        with told(self.path):
            yield self._db

    def unsound(self) -> list[str]:
        """Return what SQLite finds wrong with the file, one sentence each."""
        found = [str(one) for (one,) in self._rows("PRAGMA integrity_check(5)") if one != "ok"]
        found += [f"a {row[0]} names a {row[2]} that is not there" for row in self._rows("PRAGMA foreign_key_check")]
        return [f"The shelf '{self.path}' is damaged ({one}): put a backup in its place." for one in found]

    def _rows(self, sql: str, values: Sequence[Any] | Mapping[str, Any] = ()) -> list[tuple[Any, ...]]:
        with told(self.path):
            return self._db.execute(sql, values).fetchall()

    def _insert(self, table: str, columns: Sequence[str], row: Sequence[Any], *, instead: bool = False) -> None:
        """Put in a row; instead: of the one with the same key, which keeps what refers to it."""
        marks = ", ".join("?" * len(columns))
        change = ""
        if instead:
            change = f" ON CONFLICT DO UPDATE SET {', '.join(f'{c} = excluded.{c}' for c in columns[1:])}"
        self._db.execute(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks}){change}", row)


class Index(ShelfFile):
    """What the shelf holds of traces beside the winds themselves."""

    def keep_calibration(self, kept: KeptCalibration) -> None:
        """Keep a calibration, instead of the one with the same id."""
        with self.writing():
            self._insert("calibration", columns_of(KeptCalibration), row_of(kept), instead=True)

    def calibrations(self) -> list[KeptCalibration]:
        """Return the calibrations of all winds, the newest first."""
        rows = self._rows(f"SELECT {', '.join(columns_of(KeptCalibration))} FROM calibration ORDER BY made DESC, id")
        return [record_of(KeptCalibration, row) for row in rows]

    def meet(self, meters: Iterable[str]) -> None:
        """Put these meters on the shelf, each with the calibration of its newest wind."""
        with self.writing():
            for name in sorted(set(meters)):
                self._db.execute(
                    "INSERT INTO meter (name, calibration, calibrated, remarks)"
                    " SELECT :name, wind.calibration, calibration.made, '' FROM wind"
                    " LEFT JOIN calibration ON calibration.id = wind.calibration WHERE wind.meter = :name"
                    " ORDER BY started_s DESC LIMIT 1"
                    " ON CONFLICT DO UPDATE SET calibration = excluded.calibration, calibrated = excluded.calibrated",
                    {"name": name},
                )

    def passed_over(self) -> dict[str, tuple[int, str]]:
        """Return size and reason of each file that is no wind to keep, by its path below `traces`."""
        rows = self._rows("SELECT trace, trace_bytes, why FROM passed_over ORDER BY trace")
        return {trace: (size, why) for trace, size, why in rows}

    def pass_over(self, files: Mapping[str, tuple[int, str]], *, anew: bool = False) -> None:
        """Remember files that are no winds to keep; again: and forget the earlier ones."""
        with self.writing():
            if anew:
                self._db.execute("DELETE FROM passed_over")
            for trace, (size, why) in files.items():
                self._insert("passed_over", ("trace", "trace_bytes", "why"), (trace, size, why), instead=True)

    def log_again(self, *made: Again) -> None:
        """Keep what a later coach makes of winds, instead of what an earlier one did."""
        with self.writing():
            for again in made:
                self._insert("again", columns_of(Again), row_of(again), instead=True)

    def again(self) -> dict[str, Again]:
        """Return what a later coach made of winds, by the wind's id."""
        rows = self._rows(f"SELECT {', '.join(columns_of(Again))} FROM again")
        return {row[0]: record_of(Again, row) for row in rows}

    def files(self) -> dict[str, IndexedFile]:
        """Return what the index knows of the winds' files, by the wind's id."""
        rows = self._rows("SELECT id, trace, trace_bytes, outcome FROM wind ORDER BY id")
        return {wind_id: IndexedFile(*rest) for wind_id, *rest in rows}
