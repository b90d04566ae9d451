"""Bring another data folder or a backup in: its winds, flights and shelf, without duplicates. Nothing is overwritten.

example:
  winding-coach import /media/stick/winds-march --dry-run
  winding-coach import /media/stick/winds-march
  winding-coach import /media/stick/other-team --prefix Harbour

Winds and flights are known by their ids, so the same folder can be brought in again. Where one name means two
things that differ, yours stays and the difference is shown; --prefix puts a word before every name of theirs, so that
their th-07 is no use of yours. Traces of yours that are missing come back. Settings and calibration stay yours.
"""

from __future__ import annotations

import argparse
import json
from contextlib import ExitStack
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from winding_coach.app.bar import bar
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.shelving import looked, shelf_at
from winding_coach.base.units import counted
from winding_coach.cli.args.common import add_common_arguments, home_from
from winding_coach.cli.args.kinds import a_name

if TYPE_CHECKING:
    from winding_coach.keeping.merging import Merge

MOST_SHOWN = 20


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `import`."""
    parser.add_argument("folder", metavar="FOLDER", help="another data folder, a backup, or a folder of traces")
    parser.add_argument("--dry-run", action="store_true", help="say what would be done, and do nothing")
    parser.add_argument("--prefix", metavar="TEAM", help="put TEAM and a dot before every name of theirs")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Compare, and take over."""
    from winding_coach.keeping.merging import carry_out, plan_merge
    from winding_coach.shelf.schema import ShelfError
    from winding_coach.shelf.store import SHELF_FILE, Shelf

    home = home_from(args)
    folder = Path(args.folder)
    under = None if args.prefix is None else a_name("--prefix", args.prefix)
    if not folder.is_dir():
        raise Problem(f"There is no folder '{folder}': name another team's data folder or a backup.")
    if folder.resolve() == home.folder.resolve():
        raise UsageProblem(f"'{folder}' is your own data folder: name another one.")
    with ExitStack() as stack:
        shelf = stack.enter_context(shelf_at(home))
        looked(home, shelf)
        try:
            has_shelf = (folder / SHELF_FILE).is_file()
            theirs = stack.enter_context(Shelf(folder / SHELF_FILE, read_only=True)) if has_shelf else None
            with bar("reading traces") as shown:
                merge = plan_merge(shelf, home.folder, theirs, folder, under=under, told=shown)
            if not args.dry_run:
                carry_out(merge, shelf, home.folder)
        except ShelfError as error:
            raise Problem(str(error)) from None
        except (ValueError, TypeError):
            raise Problem(
                f"The shelf in '{folder}' holds what no shelf does: import its folder 'traces' alone."
            ) from None
        except OSError as error:
            raise Problem(
                f"Not all could be copied ({error.strerror}): make room and import '{folder}' again; nothing is lost."
            ) from None
        if merge.back and not args.dry_run:
            looked(home, shelf)
    if args.json:
        print(json.dumps(_as_object(merge, dry=args.dry_run), ensure_ascii=False))
    else:
        print("\n".join(_lines(merge, dry=args.dry_run)))
    return 0


def _as_object(merge: Merge, *, dry: bool) -> dict[str, Any]:
    return {
        "dry_run": dry,
        "records": [{"kind": type(one).__name__.lower(), **asdict(one)} for one in merge.records],
        "winds": [wind.id for wind in merge.winds],
        "traces_back": merge.back,
        "flights": [flight.id for flight in merge.flights],
        "strips": [strip.id for strip in merge.strips],
        "notes": [wind for wind, _ in merge.typed],
        "fitted_batches": [name for _, name in merge.fits],
        "same": merge.same,
        "conflicts": merge.conflicts,
        "passed_over": merge.passed_over,
    }


def _lines(merge: Merge, *, dry: bool) -> list[str]:
    names = [f"{type(one).__name__.lower()} {one.name}" for one in merge.records]
    counts = (
        (len(merge.winds), "wind"),
        (len(merge.flights), "flight"),
        (len(merge.strips), "strip"),
        (len(merge.fits), "fitted batch", "fitted batches"),
        (merge.back, "missing trace of yours", "missing traces of yours"),
    )
    new = [counted(count, *words) for count, *words in counts if count]
    new += [", ".join(names[:MOST_SHOWN]) + (" and others" if len(names) > MOST_SHOWN else "")] if names else []
    same = ", ".join(f"{count} of {what}" for what, count in merge.same.items())
    lines = [f"{'Would import' if dry else 'Imported'}: {'; '.join(new) or 'nothing'}."]
    if same:
        lines.append(f"Here already: {same}.")
    if merge.conflicts:
        lines.append("These differ; yours stay as they are:")
        lines += [f"  {conflict}" for conflict in merge.conflicts[:MOST_SHOWN]]
        if len(merge.conflicts) > MOST_SHOWN:
            lines.append(f"  and {len(merge.conflicts) - MOST_SHOWN} more: --json lists all.")
    if merge.passed_over:
        lines.append(f"Skipped: {counted(len(merge.passed_over), 'file')} with no wind to import; --json lists them.")
    return lines
