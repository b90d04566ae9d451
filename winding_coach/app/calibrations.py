"""Which calibration a wind takes, and whether it is too old."""

from __future__ import annotations

import re
from datetime import date, datetime
from pathlib import Path

from winding_coach.app.home import Home
from winding_coach.app.problem import Problem
from winding_coach.meter.calibration import SIMULATED, Calibration, CalibrationError

SIMULATED_NAME = "simulated"
"""Typed in place of a calibration's file, for the simulated meter."""


def expired(calibration: Calibration, today: date | None = None) -> str | None:
    """Return a sentence if the calibration was to be repeated by now, None if not or if it does not say."""
    until = calibration.more.get("expires")
    now = (today or datetime.now().astimezone().date()).isoformat()
    if not isinstance(until, str) or not re.fullmatch(r"\d{4}-\d\d-\d\d", until) or now <= until:
        return None
    return f"Its calibration was good until {until}: calibrate again."


def read_text(path: str | Path, what: str) -> str:
    """Return a small text file.

    Raises:
        Problem: it cannot be read.
    """
    try:
        with open(path, encoding="utf-8") as opened:
            return opened.read(2_000_000)
    except OSError as error:
        raise Problem(f"The {what} '{path}' cannot be read ({error.strerror}): check the name.") from None
    except UnicodeDecodeError:
        raise Problem(f"The {what} '{path}' is not a text file.") from None


def calibration_from(named: str | None, home: Home, *, simulated: bool) -> Calibration:
    """Return the calibration to use: the file named, else the home's, else the simulated meter's own.

    Raises:
        Problem: there is none, or it cannot be used.
    """
    if named == SIMULATED_NAME or (named is None and simulated):
        return SIMULATED
    path = home.calibration if named is None else Path(named)
    if named is None and not path.exists():
        raise Problem(
            "This meter has no calibration: make one with 'meter calibrate', or name its file with --calibration"
            f" (for the emulator: --calibration {SIMULATED_NAME})."
        )
    try:
        return Calibration.from_json(read_text(path, "calibration"))
    except CalibrationError as error:
        raise Problem(f"The calibration '{path}' cannot be used. {error}") from None
