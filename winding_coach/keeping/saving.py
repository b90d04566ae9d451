"""A data folder in, a verified copy of it out: the shelf by SQLite's own backup, each other file with its SHA-256.

A copy gets its name only when all of it has been read back; what is half made is called so and is no backup.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from winding_coach import __version__
from winding_coach.base.errors import WrongFile
from winding_coach.base.private import private_folder, written_whole
from winding_coach.base.system import onto_disk
from winding_coach.shelf.schema import ShelfError
from winding_coach.shelf.store import SHELF_FILE, Shelf
from winding_coach.traces.glance import fingerprint

MANIFEST = "backup.json"
FORMAT, VERSION = "winding-coach backup", 1
HALF_MADE = ".half-made"
CHUNK = 2**20
BESIDE_SHELF = (f"{SHELF_FILE}-wal", f"{SHELF_FILE}-shm")
"""SQLite's own; what they hold is in the backup of the shelf."""


class SavingError(WrongFile):
    """A backup that cannot be made or is not sound; the message is one sentence that says what to do."""


@dataclass(frozen=True, slots=True)
class Saved:
    """What was copied: files and bytes, and how much is on the shelf's copy."""

    folder: Path
    files: int
    size: int
    winds: int
    flights: int
    damaged: str | None = None
    """What is wrong with the shelf, which was copied as it is; None when it is sound."""


def back_up(home: Path, to: Path, made: datetime, told: Callable[[int, int], None] | None = None) -> Saved:
    """Copy a data folder into one that is new or empty, and read all of it back.

    told: hears how many of how many files are done.

    Raises:
        SavingError: there is nothing to copy, the folder is taken, or something does not arrive as it was.
        ShelfError: the shelf cannot be read.
    """
    if not home.is_dir():
        raise SavingError(f"There is no data in '{home}' yet: name the folder with --home.")
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise SavingError(f"'{to}' is taken: name a new folder for the backup.")
    if to.resolve().is_relative_to(home.resolve()):
        raise SavingError(f"'{to}' is inside the data folder: name one outside, best on another disk.")
    names = list(_files(home))
    half = to.with_name(f"{to.name}{HALF_MADE}")
    try:
        _room_for(home, names, to)
        shutil.rmtree(half, ignore_errors=True)
        private_folder(half)
        damaged, winds, flights = None, 0, 0
        listed: dict[str, dict[str, Any]] = {}
        try:
            winds, flights = _copy_shelf(home, half)
        except (ShelfError, sqlite3.Error) as error:
            # The traces are worth saving all the same, and a damaged shelf may be mended one day.
            damaged = str(error)
            (half / SHELF_FILE).unlink(missing_ok=True)
            for name in (SHELF_FILE, *BESIDE_SHELF):
                if (home / name).is_file():
                    listed[name] = _entry(*copy_verified(home / name, half / name))
        if (half / SHELF_FILE).exists():
            listed[SHELF_FILE] = _entry(*fingerprint(half / SHELF_FILE))
        for number, name in enumerate(names, 1):
            listed[name] = _entry(*copy_verified(home / name, half / name))
            if told is not None:
                told(number, len(names))
        _write_manifest(half, made, listed, winds, flights)
        if to.exists():
            to.rmdir()
        half.rename(to)
    except OSError as error:
        shutil.rmtree(half, ignore_errors=True)
        why = "the disk is full" if error.errno == errno.ENOSPC else str(error.strerror)
        raise SavingError(f"The backup '{to}' cannot be made ({why}): name a folder on another disk.") from None
    except BaseException:
        shutil.rmtree(half, ignore_errors=True)
        raise
    return Saved(to, len(listed), sum(one["bytes"] for one in listed.values()), winds, flights, damaged)


def check_backup(folder: Path, told: Callable[[int, int], None] | None = None) -> Saved:
    """Read a backup again and compare it with its list.

    Raises:
        SavingError: it is none, or something in it is missing or not as it was.
    """
    try:
        manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        listed: dict[str, dict[str, Any]] = manifest["files"]
        if manifest["format"] != FORMAT or not isinstance(listed, dict):
            raise ValueError
        wanted = {name: (int(one["bytes"]), str(one["sha256"])) for name, one in listed.items()}
    except FileNotFoundError:
        raise SavingError(f"'{folder}' is no backup: it has no {MANIFEST}.") from None
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise SavingError(f"The list '{folder / MANIFEST}' cannot be read: make a new backup.") from None
    wrong = []
    for number, (name, expected) in enumerate(wanted.items(), 1):
        try:
            if fingerprint(folder / name) != expected:
                wrong.append(name)
        except OSError:
            wrong.append(name)
        if told is not None:
            told(number, len(wanted))
    if wrong:
        some = ", ".join(wrong[:5]) + (" and others" if len(wrong) > 5 else "")
        raise SavingError(f"{len(wrong)} of {len(wanted)} files in '{folder}' are not as they were: {some}.")
    size = sum(size for size, _ in wanted.values())
    return Saved(folder, len(wanted), size, int(manifest.get("winds", 0)), int(manifest.get("flights", 0)))


def copy_verified(source: Path, target: Path) -> tuple[int, str]:
    """Copy a file for the user's eyes only, put it on the disk, read it back; return its size and SHA-256.

    It gets its name at the end, and never that of a file that is there. A file that grows meanwhile is copied as far
    as it went.

    Raises:
        OSError: it cannot be copied, or does not arrive as it was.
    """
    private_folder(target.parent)
    made = hashlib.sha256()
    size = 0
    with written_whole(target) as half:
        with source.open("rb") as reading, half.open("wb") as writing:
            while data := reading.read(CHUNK):
                made.update(data)
                size += len(data)
                writing.write(data)
        if fingerprint(half) != (size, made.hexdigest()):
            raise OSError(errno.EIO, f"'{target.name}' does not arrive as it was")
        if target.exists():
            raise FileExistsError(errno.EEXIST, "a file of that name is there", str(target))
    return size, made.hexdigest()


def _fresh(path: Path) -> int:
    return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)


def _files(home: Path) -> Iterator[str]:
    """Yield the files to copy, below the folder: all but the shelf and what is half written."""
    for inside, folders, names in os.walk(home):
        folders.sort()
        for name in sorted(names):
            path = Path(inside, name)
            if name in (SHELF_FILE, *BESIDE_SHELF) and path.parent == home:
                continue
            if path.is_file() and not path.is_symlink() and not name.endswith(".new"):
                yield path.relative_to(home).as_posix()


def _room_for(home: Path, names: list[str], to: Path) -> None:
    """Refuse before anything is written if it will not fit."""
    shelf = home / SHELF_FILE
    needed = sum((home / name).stat().st_size for name in names) + (shelf.stat().st_size if shelf.exists() else 0)
    place = to.absolute().parent
    while not place.exists():
        place = place.parent
    free = shutil.disk_usage(place).free
    if free < needed:
        raise SavingError(
            f"The backup needs {needed / 1e6:.0f} MB and '{place}' has {free / 1e6:.0f} MB free: name a folder on"
            " another disk."
        )


def _copy_shelf(home: Path, half: Path) -> tuple[int, int]:
    """Copy the shelf as it is at one moment, whoever writes to it; return how many winds and flights it holds."""
    if not (home / SHELF_FILE).exists():
        return 0, 0
    target = half / SHELF_FILE
    with Shelf(home / SHELF_FILE, read_only=True) as shelf, shelf.connected() as db:
        os.close(_fresh(target))
        copy = sqlite3.connect(target)
        try:
            db.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
        finally:
            copy.close()
    with Shelf(target, read_only=True) as copied:
        wrong = copied.unsound()
        if wrong:
            raise ShelfError(wrong[0])
        return len(copied.files()), len(copied.flights())


def _entry(size: int, sha256: str) -> dict[str, Any]:
    return {"bytes": size, "sha256": sha256}


def _write_manifest(folder: Path, made: datetime, listed: dict[str, dict[str, Any]], winds: int, flights: int) -> None:
    content = {
        "format": FORMAT,
        "version": VERSION,
        "made": made.isoformat(timespec="seconds"),
        "software": f"winding-coach {__version__}",
        "winds": winds,
        "flights": flights,
        "files": listed,
    }
    with open(_fresh(folder / MANIFEST), "w", encoding="utf-8") as out:
        json.dump(content, out, ensure_ascii=False, indent=1)
        out.write("\n")
        out.flush()
        onto_disk(out.fileno())
