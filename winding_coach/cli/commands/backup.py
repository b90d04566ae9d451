"""Copy all data to another folder, best on another disk, and read the copy back: shelf, traces, calibration, settings.

example:
  winding-coach backup /media/stick/winds-march
  winding-coach backup --check /media/stick/winds-march

Others may wind meanwhile. To restore, copy the folder back, or bring it in beside what is there: 'import FOLDER'.
The copy holds people's nicknames: keep it where only you can read it.
"""

from __future__ import annotations

import argparse
import json
from datetime import datetime
from pathlib import Path

from winding_coach.app.bar import bar
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.base.units import counted
from winding_coach.cli.args.common import add_common_arguments, home_from


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `backup`."""
    parser.add_argument("folder", nargs="?", metavar="FOLDER", help="new folder (winding-coach-backup-DATE-TIME, here)")
    parser.add_argument("--check", action="store_true", help="make none: read this one again and compare it")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Make a backup, or check one."""
    from winding_coach.keeping.saving import SavingError, back_up, check_backup
    from winding_coach.shelf.schema import ShelfError

    home = home_from(args)
    if args.check and args.folder is None:
        raise UsageProblem("backup --check needs the folder of the backup.")
    now = datetime.now().astimezone()
    folder = Path(args.folder or f"winding-coach-backup-{now:%Y-%m-%d-%H%M%S}")
    try:
        with bar("reading files" if args.check else "copying files") as shown:
            saved = check_backup(folder, shown) if args.check else back_up(home.folder, folder, now, shown)
    except (SavingError, ShelfError) as error:
        raise Problem(str(error)) from None
    if saved.damaged is not None:
        raise Problem(
            f"The backup '{saved.folder}' is made, traces and all, but the shelf in it is damaged as yours is:"
            f" {saved.damaged}"
        )
    if args.json:
        figures = {"folder": str(saved.folder), "files": saved.files, "bytes": saved.size}
        print(json.dumps(figures | {"winds": saved.winds, "flights": saved.flights}, ensure_ascii=False))
        return 0
    done = "is as it was" if args.check else "is made and read back"
    print(
        f"The backup '{saved.folder}' {done}: {counted(saved.files, 'file')}, {saved.size / 1e6:.1f} MB,"
        f" {counted(saved.winds, 'wind')} and {counted(saved.flights, 'flight')} on its shelf."
    )
    return 0
