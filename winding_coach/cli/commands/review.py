"""What happened in one wind, or in several side by side; a person's progress, the season, a batch's scatter.

example:
  winding-coach review
  winding-coach review recordings/stalled-crank.wind.jsonl.gz --report wind.html
  winding-coach review monday.wind.jsonl tuesday.wind.jsonl --report both.svg
  winding-coach review last --report wind.svg
  winding-coach review --person Wren
  winding-coach review --season --report season.html
  winding-coach review --batch amber

Without a trace the newest wind of the data folder is reviewed and compared with earlier winds of its motor.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.shelving import looked, shelf_at, shelf_file, trace_named
from winding_coach.base.units import UnitSystem
from winding_coach.cli.args.common import add_common_arguments, home_from, units_from
from winding_coach.report.page import Report

if TYPE_CHECKING:
    from winding_coach.review.wind.record import WindRecord
    from winding_coach.shelf.records import Flight
    from winding_coach.shelf.store import Shelf
    from winding_coach.traces.header import Header

ENDINGS = (".html", ".svg", ".png")
MOST_TRACES = 60
MOST_EARLIER = 3
LOOKED_AT = 200
"""So many traces that are not on the shelf yet are logged first."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `review`."""
    parser.add_argument(
        "traces",
        nargs="*",
        metavar="TRACE",
        help="a .wind.jsonl file, one packed as .gz, or a wind of the shelf by its id",
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--person", metavar="NAME", help="a person's progress over the winds on the shelf")
    what.add_argument("--season", action="store_true", help="all people's winds on the shelf")
    what.add_argument("--batch", metavar="NAME", help="how the winds of a batch of rubber scatter")
    parser.add_argument("--report", metavar="FILE", help="write a page or picture too: FILE.html, .svg or .png")
    parser.add_argument("--calibration", metavar="FILE", help="calibration to use instead of the traces' own")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Review what was asked for; 1 where one of several traces could not be read."""
    home = home_from(args)
    units = units_from(args, home)
    if args.report is not None and Path(args.report).suffix.lower() not in ENDINGS:
        raise UsageProblem(f"--report: '{args.report}' must end in .html, .svg or .png.")
    asked = args.person is not None or args.season or args.batch is not None
    if asked and (args.traces or args.calibration is not None):
        raise UsageProblem("Name traces, or one of --person, --season and --batch; --calibration is for traces.")
    if args.batch is not None:
        from winding_coach.app.review_batch import batch_review

        report, found = batch_review(args.batch, home, units)
        return _out(args, _marked(report, home), found)
    if asked:
        report, found = _from_index(args, home)
        return _out(args, _marked(report, home), found)
    return _winds(args, home, units)


def _winds(args: argparse.Namespace, home: Home, units: UnitSystem) -> int:
    from winding_coach.app.calibrations import calibration_from
    from winding_coach.app.reviewing import records_of
    from winding_coach.report.winds import one_wind, several_winds
    from winding_coach.review.wind.compare import figures_json

    paths = [trace_named(name, home, newest=LOOKED_AT) for name in args.traces] or [_newest(home)]
    if len(paths) > MOST_TRACES:
        raise UsageProblem(f"{len(paths)} traces are too many side by side: name {MOST_TRACES} at most, or --season.")
    calibration = None if args.calibration is None else calibration_from(args.calibration, home, simulated=False)
    earlier_paths = earlier_of(paths[0], home) if len(paths) == 1 else []
    read = records_of([*paths, *earlier_paths], units, calibration)
    troubles = [one.trouble for one in read[: len(paths)] if one.record is None]
    records = [one.record for one in read[: len(paths)] if one.record is not None]
    earlier = [one.record for one in read[len(paths) :] if one.record is not None]
    if not records:
        raise Problem(" ".join(troubles))
    for trouble in troubles:
        _complain(trouble)
    flight = _flight(records[0].header.id, home) if len(records) == 1 else None
    report = one_wind(records[0], earlier, units, flight) if len(records) == 1 else several_winds(records, units)
    found: dict[str, Any] = {
        "winds": [_wind_json(record, figures_json(record)) for record in records],
        "earlier": [_wind_json(record, figures_json(record)) for record in earlier],
        "flight": None if flight is None else asdict(flight),
        "not_read": troubles,
    }
    return _out(args, report, found) or int(bool(troubles))


def _wind_json(record: WindRecord, figures: dict[str, Any]) -> dict[str, Any]:
    from winding_coach.report.winds import is_simulated

    header = record.header
    return {
        "trace": record.name,
        "id": header.id,
        "started": header.started.isoformat(),
        "person": header.person,
        "motor": header.motor and header.motor.name,
        "simulated": is_simulated(record),
        "outcome": record.summary.outcome,
        "turns_source": record.turns_source,
        "figures": figures,
        "crank_work_sd_J": None if record.work is None else round(record.work.sd_J, 4),
        "returned_sd_J": None if record.work is None else round(record.work.returned_sd_J, 4),
        "phases": [
            {"phase": str(one.phase), "from_s": round(one.from_s, 3), "to_s": round(one.to_s, 3)}
            for one in record.phases
        ],
        "stalls": [
            {
                "at_s": round(one.at_s, 3),
                "lasted_s": round(one.lasted_s, 3),
                "lost_mNm": None if one.lost_Nm is None else round(1e3 * one.lost_Nm, 4),
            }
            for one in record.stalls
        ],
        "steps": [one.as_json() for one in record.steps],
        "gaps": [{"at_s": round(one.at_s, 3), "lasted_s": round(one.lasted_s, 3)} for one in record.gaps],
        "remarks": list(record.remarks),
        "review": record.review.as_json(),
    }


def _flight(wind_id: str, home: Home) -> Flight | None:
    """Return the last flight of a wind, None if the shelf knows none."""
    if not shelf_file(home).exists():
        return None
    with shelf_at(home, reading=True) as shelf:
        return next(iter(shelf.flights((wind_id,))), None)


def _newest(home: Home) -> Path:
    from winding_coach.traces.files import SUFFIX

    try:
        found = [path for path in home.traces.iterdir() if path.name.endswith((SUFFIX, f"{SUFFIX}.gz"))]
    except OSError:
        found = []
    if not found:
        raise Problem(f"There is no wind in '{home.traces}' yet: wind a motor, or name a trace.")
    return max(found, key=lambda path: path.name)


def earlier_of(path: Path, home: Home) -> list[Path]:
    """Return the newest traces of the same motor that began before this one."""
    from winding_coach.app.earlier import traces_of

    header = _header(path)
    if header is None or header.motor is None or header.motor.name is None:
        return []
    found: list[Path] = []
    for other in traces_of(home.traces, header.motor.name):
        its = _header(other)
        if its is None or its.motor is None or its.motor.name != header.motor.name:
            continue
        if its.id != header.id and its.started < header.started:
            found.append(other)
            if len(found) == MOST_EARLIER:
                break
    return found


def _header(path: Path) -> Header | None:
    """Return a trace's first line, None if it cannot be read."""
    from winding_coach.traces.files import trace_lines
    from winding_coach.traces.header import header_from
    from winding_coach.traces.rows import TraceError, load

    try:
        return header_from(load(next(trace_lines(path)).decode("utf-8")))
    except (TraceError, OSError, UnicodeDecodeError, StopIteration):
        return None


def _from_index(args: argparse.Namespace, home: Home) -> tuple[Report, dict[str, Any]]:
    from winding_coach.report.seasons import FOREST, person_report, season_report
    from winding_coach.review.season.table import person_season, season_of
    from winding_coach.shelf.records import Person
    from winding_coach.shelf.store import WindFilter

    with shelf_at(home, reading=True) as shelf:
        looked(home, shelf, newest=LOOKED_AT)
        if args.season:
            seasons = season_of(shelf.flown(), frozenset({FOREST}))
            if not seasons:
                raise Problem("There is no wind on the shelf yet: wind a motor first, or see 'shelf rebuild'.")
            return season_report(seasons), {"people": [one.as_json() for one in seasons]}
        name = args.person if not shelf.all(Person) else _person(shelf, args.person)
        flown = shelf.flown(WindFilter(person=name))
        if not flown:
            raise Problem(f"There is no wind by '{name}' on the shelf: see 'person list'.")
        season = person_season(flown[0][0].person or name, flown[::-1])
        return person_report(season), season.as_json()


def _marked(report: Report, home: Home) -> Report:
    """Return the report with what to mind where the whole folder is invented."""
    from winding_coach.cli.commands.invent import MARK
    from winding_coach.report.winds import INVENTED

    return replace(report, warning=INVENTED) if (home.folder / MARK).exists() else report


def _person(shelf: Shelf, typed: str) -> str:
    """Return the person's name as the shelf has it; one that only winds know stays as typed."""
    from winding_coach.shelf.records import Person
    from winding_coach.shelf.schema import ShelfError
    from winding_coach.shelf.store import WindFilter

    if shelf.winds(WindFilter(person=typed, newest=1)):
        return typed
    try:
        return shelf.find(Person, typed).name
    except ShelfError as error:
        raise Problem(str(error)) from None


def _out(args: argparse.Namespace, report: Report, found: dict[str, Any]) -> int:
    """Print the report or its JSON, and write the file that was asked for."""
    from winding_coach.cli.output.review_text import text_of

    said = "" if args.report is None else _write(Path(args.report), report)
    if args.json:
        print(json.dumps(found, ensure_ascii=False, allow_nan=False))
        if said:
            print(said, file=sys.stderr)
        return 0
    encoding = (sys.stdout.encoding or "ascii").lower().replace("-", "")
    print(text_of(report, shutil.get_terminal_size().columns, plain=not encoding.startswith("utf")))
    if said:
        print(f"\n{said}")
    return 0


def _write(path: Path, report: Report) -> str:
    from winding_coach.app.writing import write_whole
    from winding_coach.report.drawn import NoPlots, picture_png, picture_svg
    from winding_coach.report.html_page import page_html

    kind = path.suffix.lower()
    if kind != ".html" and not report.charts:
        raise Problem(f"There is nothing to draw for '{path}': name a .html file, or leave --report out.")
    try:
        if kind == ".html":
            content = page_html(report).encode()
        elif kind == ".svg":
            content = picture_svg(report.title, report.charts, report.notes).encode()
        else:
            content = picture_png(report.title, report.charts, report.notes)
    except NoPlots as error:
        raise Problem(str(error)) from None
    replaced = write_whole(path, content, "report")
    return f"The report is in {path}{', in place of the file that was there' if replaced else ''}."


def _complain(trouble: str) -> None:
    from winding_coach.cli import printable

    print(f"winding-coach review: {printable(trouble)}", file=sys.stderr)
