"""Where the data live and what was set: `--home`, else $WINDING_COACH_HOME, else the platform's data folder.

Settings are one small JSON file there; a missing one means the defaults, a spoilt one is said and not overwritten.
"""

from __future__ import annotations

import argparse
import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from winding_coach.command_line.problem import Problem
from winding_coach.units import UnitSystem

SETTINGS_FILE = "settings.json"
TRACES_FOLDER = "traces"
CALIBRATION_FILE = "calibration.json"


@dataclass(frozen=True, slots=True)
class Home:
    """The folder of the data (it need not exist yet) and the settings found in it."""

    folder: Path
    settings: dict[str, Any]

    @property
    def traces(self) -> Path:
        """The folder of the saved winds."""
        return self.folder / TRACES_FOLDER

    @property
    def calibration(self) -> Path:
        """The calibration that a wind takes when none is named."""
        return self.folder / CALIBRATION_FILE


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
    folder = folder_from(args)
    file = folder / SETTINGS_FILE
    try:
        with file.open(encoding="utf-8") as opened:
            text = opened.read(100_000)
        settings = json.loads(text)
        if not isinstance(settings, dict):
            raise ValueError
    except FileNotFoundError:
        settings = {}
    except NotADirectoryError:
        raise Problem(f"The home '{folder}' is not a folder: name one with --home.") from None
    except OSError as error:
        raise Problem(
            f"The settings '{file}' cannot be read ({error.strerror}): check the folder's permissions."
        ) from None
    except (ValueError, RecursionError):
        raise Problem(f"The settings '{file}' are not a JSON object: fix the file or move it away.") from None
    return Home(folder, settings)


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
