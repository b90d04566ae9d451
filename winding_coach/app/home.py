"""Where the data live and what was set: `--home`, else $WINDING_COACH_HOME, else the platform's data folder.

Settings are one small JSON file there; a missing one means the defaults, a spoilt one is said and not overwritten.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from winding_coach.app.problem import Problem

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


def home_at(folder: Path) -> Home:
    """Return the home in a folder, with its settings.

    Raises:
        Problem: the settings cannot be read.
    """
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
