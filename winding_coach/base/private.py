"""Folders and files that only their user can read, written whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from winding_coach.base.system import onto_disk, put_in_place


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


@contextmanager
def written_whole(path: Path, mode: int = 0o600) -> Iterator[Path]:
    """Lend the name of an empty file to fill; it takes the place of `path` when it is on the disk, else is removed.

    This is the one way in which the program replaces a file. Whoever is killed in between leaves the old one, or the
    new one, never half of one.

    mode: who may read it; by default its user alone, whatever the umask.

    Raises:
        OSError: it cannot be made, written or moved.
    """
    fresh = path.with_name(f"{path.name}.{os.getpid()}.new")
    try:
        os.close(os.open(fresh, os.O_RDWR | os.O_CREAT | os.O_TRUNC, mode))
        yield fresh
        with fresh.open("rb+") as written:
            onto_disk(written.fileno())
        put_in_place(fresh, path)
    except BaseException:
        with suppress(OSError, ValueError):
            fresh.unlink(missing_ok=True)
        raise


def write_private(path: Path, content: str | bytes) -> None:
    """Write a file for its user alone, text as UTF-8; a fault on the way leaves the one that was there.

    Raises:
        OSError: it cannot be written.
    """
    private_folder(path.parent)
    with written_whole(path) as fresh:
        fresh.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
