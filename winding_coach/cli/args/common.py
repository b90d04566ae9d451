"""Options that every command takes: the folder of the data, the log, the units."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from winding_coach.app.home import Home, home_at
from winding_coach.app.problem import Problem
from winding_coach.base.units import UnitSystem


def add_common_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what every command takes: `--home` and `--units`."""
    common = parser.add_argument_group(
        "everywhere",
        "What is not given comes from the motor on the shelf, else from the settings (settings.json in the folder of"
        " the data; `wind --set-up` asks for them), else the default in brackets is taken.",
    )
    common.add_argument(
        "--home", metavar="DIR", help="folder of the data (else $WINDING_COACH_HOME, else the usual one)"
    )
    common.add_argument("--log", metavar="FILE", help="write down here what the program does, to find a fault of it")
    common.add_argument("--units", choices=("metric", "inch"), help="units shown, and taken where none is typed")


def folder_from(args: argparse.Namespace) -> Path:
    """Return the folder that the arguments, the environment or the platform name."""
    named = args.home or os.environ.get("WINDING_COACH_HOME")
    if named:
        return Path(named).expanduser()
    import platformdirs

    return Path(platformdirs.user_data_dir("winding-coach", appauthor=False))


def home_from(args: argparse.Namespace) -> Home:
    """Return the home that the arguments, the environment or the platform name, with its settings.

    Raises:
        Problem: the settings cannot be read.
    """
    return home_at(folder_from(args))


def units_from(args: argparse.Namespace, home: Home) -> UnitSystem:
    """Return the unit system of `--units`, else of the settings, else metric.

    Raises:
        Problem: the settings name an unknown one.
    """
    return units_asked_for(args, home) or "metric"


def units_asked_for(args: argparse.Namespace, home: Home) -> UnitSystem | None:
    """Return the unit system of `--units`, else of the settings; None where neither names one.

    Raises:
        Problem: the settings name an unknown one.
    """
    chosen = args.units or home.settings.get("units")
    if chosen is None:
        return None
    if chosen == "metric":
        return "metric"
    if chosen == "inch":
        return "inch"
    raise Problem(f'The settings in \'{home.folder}\' name units {chosen!r}: write "metric" or "inch".')
