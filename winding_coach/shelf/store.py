"""The shelf: records in, records out, one SQLite file between them. Values reach SQL as parameters only.

What traces tell of a wind and what people typed about it are kept apart, so the first can be made again.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from winding_coach.base.wind_values import BY_NAME
from winding_coach.shelf.index import Index
from winding_coach.shelf.records import Flight, Motor, Strip, Wind
from winding_coach.shelf.schema import ShelfError
from winding_coach.shelf.tables import N, Named, columns_of, record_of, row_of, table_of

SHELF_FILE = "shelf.sqlite"
TYPED = ("person", "motor", "batch", "winder", "model", "use", "remarks", "purpose", "voided", "outcome")
"""What people may correct or add to a wind; the trace keeps its own word."""
USED_FROM = 0.5
"""A wind is a use of its motor from this share of the target on, in turns, else in torque; our own rule, no source."""
ASKED_SINGLY = 500
"""So many winds' flights are asked for by id; beyond, all flights are read and sorted out."""

NOT_IN_TRACES = {"remarks": "''", "voided": "0"}
"""What only people say of a wind, and what holds until they do, as SQL."""


def _wind_column(name: str) -> str:
    if name in NOT_IN_TRACES:
        return f"coalesce(typed.{name}, {NOT_IN_TRACES[name]})"
    if name in BY_NAME:
        # A value that the trace lacks is the later coach's, where one has made it.
        filled = f"CASE WHEN instr(',' || again.trace_lacks || ',', ',{name},') > 0 THEN again.{name} END"
        return f"coalesce(wind.{name}, {filled})"
    return f"coalesce(typed.{name}, wind.{name})" if name in TYPED else f"wind.{name}"


_WIND_COLUMNS = ", ".join(_wind_column(name) for name in columns_of(Wind))
_WINDS = (
    f"SELECT {_WIND_COLUMNS} FROM wind LEFT JOIN typed ON typed.wind = wind.id LEFT JOIN again ON again.wind = wind.id"
)


@dataclass(frozen=True, slots=True)
class WindFilter:
    """Which winds; None takes all. since, until: moments (with offset), the second not included. newest: so many.

    voided: only winds that were voided, or (None) those too; usually they are left out. checked, unchecked: before
    which this one of `inputs.CHECKS` was ticked, or was not.
    """

    person: str | None = None
    motor: str | None = None
    batch: str | None = None
    winder: str | None = None
    model: str | None = None
    outcome: str | None = None
    simulated: bool | None = None
    since: datetime | None = None
    until: datetime | None = None
    newest: int | None = None
    purpose: str | None = None
    voided: bool | None = False
    checked: str | None = None
    unchecked: str | None = None


class Shelf(Index):
    """An open shelf. One program may have several; each thread opens its own. Close it, or use it in a `with`."""

    # What has a name

    def add(self, record: Named) -> None:
        """Put a record on the shelf.

        Raises:
            ShelfError: its name is taken, or it names a batch that is not on the shelf.
        """
        kind = type(record)
        table = table_of(kind)
        self._check_batch(record)
        if self.has(kind, record.name):
            raise ShelfError(f"There is a {table} '{record.name}' already: edit it, or take another name.")
        with self.writing():
            self._insert(table, columns_of(kind), row_of(record))

    def has(self, kind: type[N], name: str) -> bool:
        """Whether there is a record of this very name (small or capital letters)."""
        return bool(self._rows(f"SELECT 1 FROM {table_of(kind)} WHERE name = ?", (name,)))

    def get(self, kind: type[N], name: str) -> N:
        """Return the record of this very name (small or capital letters).

        Raises:
            ShelfError: there is none.
        """
        table = table_of(kind)
        rows = self._rows(f"SELECT {', '.join(columns_of(kind))} FROM {table} WHERE name = ?", (name,))
        if not rows:
            raise ShelfError(f"There is no {table} '{name}' on the shelf: see '{table} list', or add it.")
        return record_of(kind, rows[0])

    def all(self, kind: type[N]) -> list[N]:
        """Return all records of a kind by name, retired ones too."""
        table = table_of(kind)
        rows = self._rows(f"SELECT {', '.join(columns_of(kind))} FROM {table} ORDER BY name")
        return [record_of(kind, row) for row in rows]

    def find(self, kind: type[N], typed: str) -> N:
        """Return the record that a typed name means: that very name, or the only one that begins so.

        Where several begin so and only one is in use, it is that one.

        Raises:
            ShelfError: there is none, or several; the sentence says which.
        """
        if self.has(kind, typed):
            return self.get(kind, typed)
        table = table_of(kind)
        begin_so = [one for one in self.all(kind) if typed and one.name.casefold().startswith(typed.casefold())]
        in_use = [one for one in begin_so if is_in_use(one)]
        if len(in_use) == 1 or len(begin_so) == 1:
            return (in_use or begin_so)[0]
        if not begin_so:
            raise ShelfError(f"There is no {table} '{typed}' on the shelf: see '{table} list', or add it.")
        names = [one.name for one in in_use or begin_so]
        more = f" and {len(names) - 6} more" if len(names) > 6 else ""
        raise ShelfError(f"'{typed}' may be {', '.join(names[:6])}{more}: type more of the {table}'s name.")

    def edit(self, kind: type[N], name: str, **changes: Any) -> N:
        """Change fields of a record, and return it as it is then. A name stays: it stands in traces and on labels.

        Raises:
            ShelfError: there is no such record, or it would name a batch that is not on the shelf.
        """
        with self.writing():
            record = dataclasses.replace(self.get(kind, name), **changes)
            self._check_batch(record)
            columns = [column for column in columns_of(kind) if column != "name"]
            values = dict(zip(columns_of(kind), row_of(record), strict=True))
            settings = ", ".join(f"{column} = :{column}" for column in columns)
            self._db.execute(f"UPDATE {table_of(kind)} SET {settings} WHERE name = :name", values)
        return record

    def _check_batch(self, record: object) -> None:
        if isinstance(record, Motor | Strip) and record.batch is not None:
            rows = self._rows("SELECT 1 FROM batch WHERE name = ?", (record.batch,))
            if not rows:
                raise ShelfError(f"There is no batch '{record.batch}' on the shelf: first 'batch add {record.batch}'.")

    # Winds

    def log(self, *winds: Wind) -> None:
        """Put in what traces tell of winds, instead of what was known of the same ones; `remarks` are not a trace's.

        Raises:
            ShelfError: the file cannot be written.
        """
        columns = tuple(name for name in columns_of(Wind) if name not in NOT_IN_TRACES)
        with self.writing():
            for wind in winds:
                values = dict(zip(columns_of(Wind), row_of(wind), strict=True))
                started_s = datetime.fromisoformat(wind.started).timestamp()
                row = (*(values[name] for name in columns), started_s)
                self._insert("wind", (*columns, "started_s"), row, instead=True)

    def note(self, wind_id: str, **typed: Any) -> Wind:
        """Correct or add to a wind: any of `TYPED`; None takes the trace's word again. Return it as it is then.

        Raises:
            ShelfError: there is no such wind.
        """
        if not set(typed) <= set(TYPED):
            raise ValueError(f"only {TYPED} can be typed")
        with self.writing():
            self.wind(wind_id)
            if typed.get("remarks", "") is None:
                typed["remarks"] = ""
            values = [int(value) if isinstance(value, bool) else value for value in typed.values()]
            self._insert("typed", ("wind", *typed), (wind_id, *values), instead=True)
            return self.wind(wind_id)

    def typed(self) -> dict[str, dict[str, Any]]:
        """Return what people typed of winds, by the wind's id: each of `TYPED`, None where the trace's word stands."""
        rows = self._rows(f"SELECT wind, {', '.join(TYPED)} FROM typed")
        return {wind: dict(zip(TYPED, values, strict=True)) for wind, *values in rows}

    def wind(self, wind_id: str) -> Wind:
        """Return the wind with this id.

        Raises:
            ShelfError: there is none.
        """
        rows = self._rows(f"{_WINDS} WHERE wind.id = ?", (wind_id,))
        if not rows:
            raise ShelfError(f"There is no wind '{wind_id}' on the shelf: see 'shelf winds'.")
        return record_of(Wind, rows[0])

    def find_wind(self, typed: str = "last") -> Wind:
        """Return the wind that is meant: `last`, the beginning of an id, or the name of its trace.

        Raises:
            ShelfError: there is none, or several.
        """
        if typed == "last":
            newest = self.winds(WindFilter(newest=1))
            if not newest:
                raise ShelfError("There is no wind on the shelf yet: wind a motor first, or see 'shelf rebuild'.")
            return newest[0]
        name = Path(typed).name
        start = typed.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
        rows = self._rows(
            f"{_WINDS} WHERE wind.id LIKE :start || '%' ESCAPE '\\' OR wind.trace IN (:name, :name || '.gz', :typed)"
            " LIMIT 3",
            {"start": start, "name": name, "typed": typed},
        )
        if not typed or not rows:
            raise ShelfError(f"There is no wind '{typed}' on the shelf: see 'shelf winds'.")
        if len(rows) > 1:
            raise ShelfError(f"Several winds are called '{typed}': type more of the id, see 'shelf winds'.")
        return record_of(Wind, rows[0])

    def winds(self, wanted: WindFilter = WindFilter()) -> list[Wind]:
        """Return winds, the newest first."""
        where, values = _where(wanted)
        rows = self._rows(f"{_WINDS}{where}", values)
        return [record_of(Wind, row) for row in rows]

    def uses(self, motor: str, *, simulated: bool = False) -> int:
        """Return how often a motor has been wound so far: winds that went far enough, and those before the shelf.

        Winds on a simulated meter are no uses of a real motor; simulated: count them too.
        """
        before = self.get(Motor, motor).uses_before if self.has(Motor, motor) else 0
        return before + self.uses_logged(simulated=simulated).get(motor.casefold(), 0)

    def uses_logged(self, *, simulated: bool = False) -> dict[str, int]:
        """Return how many winds of each motor went far enough to be a use, by its name in small letters."""
        rows = self._rows(
            "SELECT coalesce(typed.motor, wind.motor) AS named, count(*)"
            " FROM wind LEFT JOIN typed ON typed.wind = wind.id"
            " WHERE named IS NOT NULL AND coalesce(typed.voided, 0) = 0"
            " AND (wind.simulated = 0 OR :simulated) AND (coalesce(typed.outcome, wind.outcome) = 'broken'"
            " OR coalesce(peak_turns / target_turns, peak_torque_Nm / target_peak_torque_Nm) >= :from)"
            " GROUP BY named",
            {"simulated": simulated, "from": USED_FROM},
        )
        counted: dict[str, int] = {}
        for named, count in rows:
            counted[named.casefold()] = counted.get(named.casefold(), 0) + count
        return counted

    # Strips

    def weigh(self, strip: Strip) -> None:
        """Put in a weighed strip, or change the one with its id.

        Raises:
            ShelfError: its batch is not on the shelf.
        """
        self._check_batch(strip)
        with self.writing():
            self._insert("strip", columns_of(Strip), row_of(strip), instead=True)

    def strips(self, batch: str | None = None, *, voided: bool = False) -> list[Strip]:
        """Return the weighed strips, oldest first: all, or those of one batch. voided: voided ones too."""
        rows = self._rows(
            f"SELECT {', '.join(columns_of(Strip))} FROM strip WHERE (:batch IS NULL OR batch = :batch)"
            " AND (voided = 0 OR :voided) ORDER BY weighed, id",
            {"batch": batch, "voided": voided},
        )
        return [record_of(Strip, row) for row in rows]

    # Flights

    def fly(self, flight: Flight) -> None:
        """Put in a flight, or change the one with its id.

        Raises:
            ShelfError: there is no such wind.
        """
        with self.writing():
            self.wind(flight.wind)
            self._insert("flight", columns_of(Flight), row_of(flight), instead=True)

    def flights(self, winds: Sequence[str] | None = None, *, voided: bool = False) -> list[Flight]:
        """Return the flights, the newest first: all, or those of the winds with these ids. voided: voided ones too."""
        some = winds is not None and len(winds) <= ASKED_SINGLY
        parts = [f"wind IN ({', '.join('?' * len(winds))})"] if winds is not None and some else []
        parts += [] if voided else ["voided = 0"]
        where = f" WHERE {' AND '.join(parts)}" if parts else ""
        rows = self._rows(
            f"SELECT {', '.join(columns_of(Flight))} FROM flight{where} ORDER BY flown DESC, id",
            winds if winds is not None and some else (),
        )
        chosen = None if winds is None else set(winds)
        return [record_of(Flight, row) for row in rows if chosen is None or row[1] in chosen]

    def flown(self, wanted: WindFilter = WindFilter()) -> list[tuple[Wind, Flight | None]]:
        """Return winds, the newest first, each with its last flight."""
        winds = self.winds(wanted)
        last: dict[str, Flight] = {}
        for flight in self.flights([wind.id for wind in winds]):
            last.setdefault(flight.wind, flight)
        return [(wind, last.get(wind.id)) for wind in winds]


def is_in_use(record: Named) -> bool:
    """Whether it is neither retired nor broken."""
    if isinstance(record, Motor):
        return record.state == "in_use" and not record.voided
    return not getattr(record, "retired", False)


def _where(wanted: WindFilter) -> tuple[str, dict[str, Any]]:
    """Return conditions and order as SQL, with the values for it."""
    parts: list[str] = []
    values: dict[str, Any] = {}
    for name in ("person", "motor", "batch", "winder", "model"):
        values[name] = getattr(wanted, name)
        if values[name] is not None:
            parts.append(f"coalesce(typed.{name}, wind.{name}) = :{name} COLLATE NOCASE")
    for name, column in (
        ("outcome", "coalesce(typed.outcome, wind.outcome)"),
        ("simulated", "wind.simulated"),
        ("purpose", "coalesce(typed.purpose, wind.purpose)"),
        ("voided", "coalesce(typed.voided, 0)"),
    ):
        values[name] = getattr(wanted, name)
        if values[name] is not None:
            parts.append(f"{column} = :{name}")
    for name, is_so in (("checked", "> 0"), ("unchecked", "= 0")):
        values[name] = getattr(wanted, name)
        if values[name] is not None:
            parts.append(f"instr(',' || coalesce(wind.checks, '') || ',', ',' || :{name} || ',') {is_so}")
    for name, sign in (("since", ">="), ("until", "<")):
        moment = getattr(wanted, name)
        if moment is not None:
            values[name] = moment.timestamp()
            parts.append(f"started_s {sign} :{name}")
    values["newest"] = -1 if wanted.newest is None else wanted.newest
    where = f" WHERE {' AND '.join(parts)}" if parts else ""
    return f"{where} ORDER BY started_s DESC, wind.id LIMIT :newest", values
