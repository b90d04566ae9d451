"""Winds, flights and the shelf as CSV or Parquet, for a spreadsheet or other software; units in the column names.

example:
  winding-coach export winds.csv --since 2026-03-01
  winding-coach export season --format parquet
  winding-coach export readings.csv --readings last
  winding-coach export all-clubs --club 'Alder Hall' --with-readings

A file holds the winds, each with its last flight; a folder holds a table a file: winds, flights, motors and the rest.
--readings writes what one trace's signal showed, as the present estimator makes it. All values are SI. Nicknames of
people are among them: pass them on only to whom they concern. Parquet needs the extra: pip install
'winding-coach[parquet]'.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from winding_coach import __version__
from winding_coach.app.dataset import (
    club_from,
    needs_parquet,
    parquet_of,
    write_dataset,
    write_readings,
)
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.shelving import looked, shelf_at
from winding_coach.base.errors import CoachError
from winding_coach.base.private import written_whole
from winding_coach.base.units import counted
from winding_coach.cli.args.common import add_common_arguments, home_from
from winding_coach.cli.args.wind_choice import add_wind_arguments, wind_filter
from winding_coach.cli.output.plain import plain

if TYPE_CHECKING:
    from winding_coach.shelf.exporting import ColumnType, Table
    from winding_coach.shelf.records import Wind
    from winding_coach.shelf.store import Shelf

FORMATS = ("csv", "parquet")
FORMULAS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes text that begins so for a formula; an apostrophe before it says that it is text."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `export`."""
    parser.add_argument("to", metavar="TO", help="a file that ends in .csv or .parquet, or a folder")
    parser.add_argument("--format", choices=FORMATS, help="of a folder's files (csv)")
    parser.add_argument(
        "--readings", metavar="WIND", help="the readings of this wind instead: its id or trace, or last"
    )
    many = parser.add_argument_group("a folder that several clubs write into, for engines that ask over many winds")
    many.add_argument("--club", metavar="NAME", help="partitioned Parquet under this club's name, what is new only")
    many.add_argument("--with-readings", action="store_true", help="with --club: what each trace's signal showed too")
    many.add_argument("--with-people", action="store_true", help="with --club: nicknames too (else left out)")
    add_wind_arguments(parser)
    parser.add_argument("--json", action="store_true", help="say what was written as one JSON object")
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Write the tables."""
    from winding_coach.shelf.exporting import tables_of, wind_table
    from winding_coach.shelf.found import found_on

    home = home_from(args)
    to = Path(args.to)
    if args.club is not None:
        return _dataset(args, home, to)
    if args.with_readings or args.with_people:
        raise UsageProblem("--with-readings and --with-people go with --club.")
    ending = to.suffix.lower().removeprefix(".")
    to_file = ending in FORMATS
    if not to_file and to.suffix and not to.is_dir():
        raise UsageProblem(f"TO: '{to}' must end in .csv or .parquet, or be a folder.")
    if to_file and args.format not in (None, ending):
        raise UsageProblem(f"TO: '{to}' does not end in .{args.format}: leave --format away, or name another file.")
    if args.readings is not None and not to_file:
        raise UsageProblem("--readings goes into a file that ends in .csv or .parquet.")
    write = _writer(ending if to_file else args.format or "csv")
    with shelf_at(home, reading=True) as shelf:
        looked(home, shelf)
        if args.readings is not None:
            tables = [_readings(home, shelf, args.readings)]
        else:
            flown = shelf.flown(wind_filter(args, shelf))
            tables = [wind_table(flown, found_on(shelf))] if to_file else tables_of(shelf, flown)
    written: dict[str, int] = {}
    for table in tables:
        path = to if to_file else to / f"{table.name}.{args.format or 'csv'}"
        _put(path, write(table))
        written[str(path)] = len(table.rows)
    if args.json:
        print(json.dumps({"written": written}, ensure_ascii=False))
    else:
        print("\n".join(f"{path}: {counted(rows, 'row')}." for path, rows in written.items()))
    return 0


def _dataset(args: argparse.Namespace, home: Home, to: Path) -> int:
    """Write a club's part of a dataset."""
    club = club_from(args.club)
    if to.suffix or to.is_file() or args.format == "csv" or args.readings is not None:
        raise UsageProblem("--club writes Parquet into a folder: name a folder, without --format csv and --readings.")
    from winding_coach.shelf.found import found_on

    needs_parquet()
    with shelf_at(home, reading=True) as shelf:
        looked(home, shelf)
        flown = shelf.flown(wind_filter(args, shelf))
        done = write_dataset(to, club, flown, shelf.flights(), found_on(shelf), people=args.with_people)
        missing = 0
        for wind, _ in flown if args.with_readings else ():
            try:
                write_readings(done, to, club, wind, _lazily(home, wind), f"{wind.trace_sha256} {__version__}")
            except TraceMissing:
                missing += 1
    if args.json:
        said = {"written": done.written, "unchanged": done.unchanged, "without_trace": missing}
        print(json.dumps(said, ensure_ascii=False))
        return 0
    without = f" {counted(missing, 'wind')} without a readable trace." if missing else ""
    print(
        f"{counted(len(done.written), 'file')} written in '{to}', {counted(sum(done.written.values()), 'row')};"
        f" {done.unchanged} unchanged.{without}"
    )
    return 0


class TraceMissing(CoachError):
    """A wind whose trace cannot be read has no readings."""


def _lazily(home: Home, wind: Wind) -> Iterator[Table]:
    """Give the readings of a wind when they are asked for.

    Raises:
        TraceMissing: its trace cannot be read.
    """
    try:
        yield _readings_of(home, wind)
    except Problem:
        raise TraceMissing from None


def _writer(form: str) -> Callable[[Table], bytes]:
    """Return what turns a table into a file's content.

    Raises:
        Problem: the library for it is not installed.
    """
    if form == "csv":
        return csv_of
    needs_parquet()
    return parquet_of


def csv_of(table: Table) -> bytes:
    """Return a table as CSV (RFC 4180, UTF-8): empty is not known, true and false are words, figures as JSON lists."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([name for name, _ in table.columns])
    for row in table.rows:
        writer.writerow([_cell(value) for value in row])
    return out.getvalue().encode()


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        safe = plain(value)
        return f"'{safe}" if value.startswith(FORMULAS) else safe
    return json.dumps(value) if isinstance(value, tuple) else value


def _put(path: Path, data: bytes) -> None:
    """Write a file whole or not at all."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # People's nicknames are in it: for its user alone, whatever the umask.
        with written_whole(path) as fresh:
            fresh.write_bytes(data)
    except OSError as error:
        raise Problem(f"'{path}' cannot be written ({error.strerror}): name another place.") from None


READING_COLUMNS: tuple[tuple[str, ColumnType], ...] = (
    ("at_s", "real"),
    ("torque_Nm", "real"),
    ("torque_rate_Nm_per_s", "real"),
    ("torque_rate_sd_Nm_per_s", "real"),
    ("turns", "real"),
    ("turns_source", "text"),
    ("distance_m", "real"),
    ("crank_rev_per_s", "real"),
    ("cranking", "truth"),
    ("turns_left", "real"),
    ("break_risk", "real"),
)


def _readings(home: Home, shelf: Shelf, typed: str) -> Table:
    """Return what the signal showed after each input of a wind, and the phase then."""
    return _readings_of(home, shelf.find_wind(typed))


def _readings_of(home: Home, wind: Wind) -> Table:
    from winding_coach.coach.step import Coach
    from winding_coach.keeping.replaying import readings_again, settings_of
    from winding_coach.shelf.exporting import Table
    from winding_coach.traces.files import read_trace
    from winding_coach.traces.rows import TraceError

    try:
        trace = read_trace(home.traces / wind.trace)
        coach = Coach(settings_of(trace))
    except TraceError as error:
        raise Problem(str(error)) from None
    rows = [
        (*(getattr(reading, name) for name, _ in READING_COLUMNS), str(phase))
        for reading, phase in readings_again(coach, trace)
    ]
    return Table("readings", (*READING_COLUMNS, ("phase", "text")), rows)
