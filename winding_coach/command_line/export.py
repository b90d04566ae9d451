"""Winds, flights and the shelf as CSV or Parquet, for a spreadsheet or any other engine; units in the columns' names.

example:
  winding-coach export winds.csv --since 2026-03-01
  winding-coach export season --format parquet
  winding-coach export readings.csv --readings last

A file holds the winds, each with its last flight; a folder holds a table a file: winds, flights, motors and the rest.
--readings writes what one trace's signal showed, as the present estimator makes it. All figures are SI. Nicknames of
people are among them: pass them on only to whom they concern. Parquet needs the extra: pip install
'winding-coach[parquet]'.
"""

from __future__ import annotations

import argparse
import csv
import importlib
import io
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from winding_coach.command_line.home import Home, add_common_arguments, home_from
from winding_coach.command_line.problem import Problem, UsageProblem
from winding_coach.command_line.shelving import looked, shelf_at
from winding_coach.command_line.wind_choice import add_wind_arguments, wind_filter
from winding_coach.units import counted

if TYPE_CHECKING:
    from winding_coach.shelf.exporting import ColumnType, Table
    from winding_coach.shelf.store import Shelf

FORMATS = ("csv", "parquet")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `export`."""
    parser.add_argument("to", metavar="TO", help="a file that ends in .csv or .parquet, or a folder")
    parser.add_argument("--format", choices=FORMATS, help="of a folder's files (csv)")
    parser.add_argument(
        "--readings", metavar="WIND", help="the readings of this wind instead: its id or trace, or last"
    )
    add_wind_arguments(parser)
    parser.add_argument("--json", action="store_true", help="say what was written as one JSON object")
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Write the tables."""
    from winding_coach.shelf.exporting import tables_of, wind_table

    home = home_from(args)
    to = Path(args.to)
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
            tables = [wind_table(flown)] if to_file else tables_of(shelf, flown)
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


def _writer(form: str) -> Callable[[Table], bytes]:
    """Return what turns a table into a file's content.

    Raises:
        Problem: the library for it is not installed.
    """
    if form == "csv":
        return csv_of
    try:
        importlib.import_module("pyarrow.parquet")
    except ImportError:
        raise Problem(
            "Parquet needs pyarrow, which is not installed: pip install 'winding-coach[parquet]', or take .csv."
        ) from None
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
    return json.dumps(value) if isinstance(value, tuple) else value


def parquet_of(table: Table) -> bytes:
    """Return a table as Parquet, its columns typed."""
    arrow: Any = importlib.import_module("pyarrow")
    parquet: Any = importlib.import_module("pyarrow.parquet")
    types = {
        "text": arrow.string(),
        "real": arrow.float64(),
        "whole": arrow.int64(),
        "truth": arrow.bool_(),
        "reals": arrow.list_(arrow.float64()),
    }
    schema = arrow.schema([(name, types[kind]) for name, kind in table.columns])
    columns = [[row[i] for row in table.rows] for i in range(len(table.columns))]
    sink = arrow.BufferOutputStream()
    parquet.write_table(arrow.table(dict(zip(schema.names, columns, strict=True)), schema=schema), sink)
    return bytes(sink.getvalue())


def _put(path: Path, data: bytes) -> None:
    """Write a file whole or not at all."""
    fresh = path.with_name(f"{path.name}.{os.getpid()}.new")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            fresh.write_bytes(data)
            os.replace(fresh, path)
        finally:
            fresh.unlink(missing_ok=True)
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
    from winding_coach.coach.step import Coach
    from winding_coach.replaying import settings_of
    from winding_coach.shelf.exporting import Table
    from winding_coach.traces.files import read_trace
    from winding_coach.traces.rows import TraceError

    wind = shelf.find_wind(typed)
    try:
        trace = read_trace(home.traces / wind.trace)
        coach = Coach(settings_of(trace))
    except TraceError as error:
        raise Problem(str(error)) from None
    rows: list[tuple[Any, ...]] = []
    for event in trace.inputs:
        coach.step(event)
        reading = coach.view.reading
        if reading.torque_Nm is not None:
            rows.append((*(getattr(reading, name) for name, _ in READING_COLUMNS), str(coach.view.phase)))
    return Table("readings", (*READING_COLUMNS, ("phase", "text")), rows)
