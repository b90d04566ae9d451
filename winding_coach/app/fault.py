"""A fault of the program itself: kept with its traceback where `report-fault` finds it, told in one sentence."""

from __future__ import annotations

import logging
import traceback
from contextlib import suppress
from pathlib import Path

from winding_coach.base.private import write_private

FAULT_FILE = "last-fault.txt"
"""In the folder of the data: the newest fault only."""
LOGGER = logging.getLogger(__name__)


def keep_fault(folder: Path, command: str, fault: BaseException) -> bool:
    """Write a fault's traceback into the folder of the data and into the log; return whether the folder took it."""
    LOGGER.error("a fault of the program in %s", command, exc_info=fault)
    text = "".join(traceback.format_exception(fault))
    with suppress(OSError):
        write_private(folder / FAULT_FILE, f"{command}\n{text}")
        return True
    return False


def fault_told(fault: BaseException, *, kept: bool) -> str:
    """Return the sentence for a fault. kept: its traceback was written."""
    what = f"{type(fault).__name__}: {fault}" if str(fault) else type(fault).__name__
    then = (
        "'winding-coach report-fault' makes one file of what helps to find it."
        if kept
        else "type the command again with --log FILE, and send that file with your report."
    )
    return f"This is a fault of the program ({what}), not yours; what was saved is kept. To report it: {then}"
