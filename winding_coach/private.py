"""Folders and files that only their user can read, written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path


def private_folder(folder: Path) -> None:
    """Make a folder for its user alone, and those above it that are missing too; one that is there stays as it is.

    Raises:
        OSError: it cannot be made.
    """
    missing = []
    above = folder
    while not above.exists() and above != above.parent:
        missing.append(above)
        above = above.parent
    # mkdir(parents=True) would give the ones above the usual mode.
    for one in [*reversed(missing), folder]:
        one.mkdir(mode=0o700, exist_ok=True)


def write_private(path: Path, text: str) -> None:
    """Write a text file for its user alone; a fault on the way leaves the one that was there.

    Raises:
        OSError: it cannot be written.
    """
    private_folder(path.parent)
    fresh = path.with_name(f"{path.name}.{os.getpid()}.new")
    try:
        with open(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8") as opened:
            opened.write(text)
            opened.flush()
            os.fsync(opened.fileno())
        os.replace(fresh, path)
    except (OSError, ValueError):
        fresh.unlink(missing_ok=True)
        raise
