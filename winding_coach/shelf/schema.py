"""The shelf's file: opened, private to the user, brought up to the present schema; a newer or foreign one is refused.

Each migration is one numbered step in one transaction, and the file as it was is kept beside it before the first.
A step that was once released is never changed: see `STEPS`. A new value of a wind needs none: see `GROWING`.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from winding_coach.base.errors import WrongFile
from winding_coach.base.private import private_folder, written_whole
from winding_coach.base.wind_values import VALUES

APPLICATION_ID = 0x57435348
"""In the file's header, so that another program's database is not taken for a shelf."""
BUSY_S = 10.0
"""So long one program waits for another that writes; writes last milliseconds."""
SYNCHRONOUS = "FULL"
"""What was typed is on the disk when the command ends, whatever happens to the power then."""

STEPS = (
    """
    CREATE TABLE batch (
        name TEXT PRIMARY KEY COLLATE NOCASE, received TEXT, densities_kg_per_m TEXT NOT NULL,
        remarks TEXT NOT NULL, retired INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE motor (
        name TEXT PRIMARY KEY COLLATE NOCASE, loop_m REAL NOT NULL, mass_kg REAL NOT NULL, orings_kg REAL NOT NULL,
        strands INTEGER NOT NULL, batch TEXT COLLATE NOCASE REFERENCES batch (name), made TEXT,
        state TEXT NOT NULL CHECK (state IN ('in_use', 'retired', 'broken')),
        remarks TEXT NOT NULL, uses_before INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE winder (
        name TEXT PRIMARY KEY COLLATE NOCASE, ratio REAL NOT NULL, limit_Nm REAL,
        remarks TEXT NOT NULL, retired INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE model (
        name TEXT PRIMARY KEY COLLATE NOCASE, hooks_m REAL, mass_kg REAL, launch_torque_Nm REAL,
        turner TEXT NOT NULL, remarks TEXT NOT NULL, retired INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE person (
        name TEXT PRIMARY KEY COLLATE NOCASE, remarks TEXT NOT NULL, retired INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE meter (
        name TEXT PRIMARY KEY COLLATE NOCASE, calibration TEXT, calibrated TEXT, remarks TEXT NOT NULL
    ) STRICT;
    CREATE TABLE wind (
        id TEXT PRIMARY KEY, started TEXT NOT NULL, trace TEXT NOT NULL, outcome TEXT NOT NULL,
        person TEXT, motor TEXT, batch TEXT, winder TEXT, model TEXT, meter TEXT, calibration TEXT,
        use INTEGER, share REAL, loop_m REAL, mass_kg REAL, orings_kg REAL, strands INTEGER,
        breaking_turns REAL, target_turns REAL, target_peak_torque_Nm REAL, target_launch_torque_Nm REAL,
        peak_torque_Nm REAL, peak_turns REAL, backed_off_turns REAL, launch_torque_Nm REAL, launch_turns REAL,
        energy_stored_J REAL, stalls INTEGER, stalled_s REAL, time_in_rate_band REAL, lost_lines INTEGER,
        duration_s REAL, ratio REAL, hooks_m REAL, simulated INTEGER NOT NULL,
        trace_bytes INTEGER, trace_sha256 TEXT, started_s REAL NOT NULL
    ) STRICT;
    CREATE INDEX wind_started ON wind (started_s);
    CREATE TABLE typed (
        wind TEXT PRIMARY KEY, person TEXT, motor TEXT, batch TEXT, winder TEXT, model TEXT, use INTEGER,
        remarks TEXT NOT NULL DEFAULT ''
    ) STRICT;
    CREATE TABLE flight (
        id TEXT PRIMARY KEY, wind TEXT NOT NULL REFERENCES wind (id) DEFERRABLE INITIALLY DEFERRED,
        flown TEXT NOT NULL, duration_s REAL, turns_left REAL, height_m REAL, ceiling INTEGER,
        remarks TEXT NOT NULL, energy_used_J REAL
    ) STRICT;
    CREATE INDEX flight_wind ON flight (wind);
    """,
    """
    CREATE TABLE calibration (
        id TEXT PRIMARY KEY, meter TEXT, made TEXT, content TEXT NOT NULL
    ) STRICT;
    CREATE TABLE passed_over (
        trace TEXT PRIMARY KEY, trace_bytes INTEGER NOT NULL, why TEXT NOT NULL
    ) STRICT;
    CREATE TABLE again (
        wind TEXT PRIMARY KEY, coach TEXT NOT NULL, trace_sha256 TEXT, outcome TEXT, trouble TEXT,
        peak_torque_Nm REAL, peak_turns REAL, backed_off_turns REAL, launch_torque_Nm REAL, launch_turns REAL,
        energy_stored_J REAL, stalls INTEGER, stalled_s REAL, time_in_rate_band REAL, lost_lines INTEGER,
        duration_s REAL
    ) STRICT;
    """,
    """
    ALTER TABLE motor ADD COLUMN measured_at_use INTEGER;
    ALTER TABLE motor ADD COLUMN voided INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE wind ADD COLUMN purpose TEXT;
    ALTER TABLE typed ADD COLUMN purpose TEXT;
    ALTER TABLE typed ADD COLUMN voided INTEGER;
    ALTER TABLE flight ADD COLUMN kind TEXT;
    ALTER TABLE flight ADD COLUMN spoilt TEXT;
    ALTER TABLE flight ADD COLUMN spacer_kg REAL;
    ALTER TABLE flight ADD COLUMN spacer_m REAL;
    ALTER TABLE flight ADD COLUMN temperature_C REAL;
    ALTER TABLE flight ADD COLUMN humidity REAL;
    ALTER TABLE flight ADD COLUMN ceiling_m REAL;
    ALTER TABLE flight ADD COLUMN hall TEXT;
    ALTER TABLE flight ADD COLUMN voided INTEGER NOT NULL DEFAULT 0;
    CREATE TABLE strip (
        id TEXT PRIMARY KEY, batch TEXT NOT NULL COLLATE NOCASE REFERENCES batch (name), weighed TEXT NOT NULL,
        length_m REAL NOT NULL, mass_kg REAL NOT NULL, width_m REAL, remarks TEXT NOT NULL, voided INTEGER NOT NULL
    ) STRICT;
    CREATE INDEX strip_batch ON strip (batch);
    """,
    """
    ALTER TABLE model ADD COLUMN hand TEXT;
    ALTER TABLE wind ADD COLUMN direction TEXT;
    ALTER TABLE typed ADD COLUMN outcome TEXT;
    """,
    """
    ALTER TABLE wind ADD COLUMN wait_s REAL;
    ALTER TABLE wind ADD COLUMN checks TEXT;
    """,
)
"""What brings the schema from version n to n + 1. Only ever added to.

`wind`, `calibration`, `passed_over` (files in the traces' folder that are no winds to keep) and `again` (what a later
coach makes of a wind) come from traces and can be made again from them. All that people typed is in the other tables,
`typed` among them: it holds what was corrected or added to a wind, null where the trace's word stands.
"""
NEWEST = len(STEPS)

GROWING = {
    "wind": {value.name: value.sql_type for value in VALUES},
    "again": {value.name: value.sql_type for value in VALUES} | {"trace_lacks": "TEXT"},
}
"""Columns that are added where a file lacks them, by table: each of a wind's values has one. No step names a new one.

They may be null and no program writes rows by place, so one that does not know a column goes on as before; the
schema's number stays.
"""


class ShelfError(WrongFile):
    """The shelf cannot do it; the message is one sentence that says what to do."""


def open_file(path: Path, *, read_only: bool = False) -> sqlite3.Connection:
    """Return a connection to the shelf in `path`, made and migrated if need be.

    read_only: the file must exist; an older schema is read from a migrated copy in memory.

    Raises:
        ShelfError: it cannot be opened, is no shelf, or is of a newer program; the file is then as it was.
    """
    with told(path):
        if read_only:
            return _looked_at(path)
        _make_private(path)
        db = _connect(f"{_uri(path)}?mode=rw")
        try:
            version = _version(db, path)
            _check_files_around(db)
            if version < NEWEST:
                _migrate(db, path)
            if _lacking(db):
                with writing(db):
                    _add_columns(db)
        except BaseException:
            db.close()
            raise
        return db


@contextlib.contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what SQLite and the system say into one sentence.

    Raises:
        ShelfError: instead of theirs.
    """
    try:
        yield
    except sqlite3.Error as error:
        raise ShelfError(_sentence(path, error)) from None
    except UnicodeDecodeError:
        # Text of a damaged file, or SQLite's own words about it, which quote the file.
        raise ShelfError(_DAMAGED.format(path=path)) from None
    except OSError as error:
        raise ShelfError(
            f"The shelf '{path}' cannot be opened ({error.strerror}): name another folder with --home."
        ) from None


@contextlib.contextmanager
def writing(db: sqlite3.Connection) -> Iterator[None]:
    """Do all inside or nothing. Within another `writing` it is part of that one."""
    inner = db.in_transaction
    if not inner:
        db.execute("BEGIN IMMEDIATE")
    try:
        yield
        if not inner:
            db.execute("COMMIT")
    except BaseException:
        # A full disk may have rolled back by itself.
        if not inner and db.in_transaction:
            db.execute("ROLLBACK")
        raise


def _uri(path: Path) -> str:
    return path.absolute().as_uri().replace("?", "%3f")


def _connect(uri: str) -> sqlite3.Connection:
    db = sqlite3.connect(uri, uri=True, timeout=BUSY_S, isolation_level=None)
    db.execute("PRAGMA foreign_keys = ON")
    return db


def _make_private(path: Path) -> None:
    """Make the file for the user's eyes only; SQLite gives what it lays beside it the same permissions."""
    private_folder(path.parent)
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))


def _version(db: sqlite3.Connection, path: Path) -> int:
    """Return the file's schema version, 0 for an empty file."""
    (version,), (application,) = db.execute("PRAGMA user_version").fetchone(), _application(db)
    (tables,) = db.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    if application != APPLICATION_ID and (tables or version or application):
        raise ShelfError(f"The file '{path}' is no shelf: move it away, or name another folder with --home.")
    if version > NEWEST:
        raise ShelfError(
            f"The shelf '{path}' is of a newer version of this program (schema {version}, this one knows {NEWEST}):"
            " update the program; the file was not touched."
        )
    return int(version)


def _application(db: sqlite3.Connection) -> tuple[int]:
    found: tuple[int] = db.execute("PRAGMA application_id").fetchone()
    return found


def _check_files_around(db: sqlite3.Connection) -> None:
    """Let readers and one writer work at once; a file system that cannot do that keeps the usual journal."""
    db.execute("PRAGMA journal_mode = WAL")
    db.execute(f"PRAGMA synchronous = {SYNCHRONOUS}")


def _migrate(db: sqlite3.Connection, path: Path) -> None:
    """Take the missing steps; another program that did so meanwhile is no mistake."""
    (before,) = db.execute("PRAGMA user_version").fetchone()
    if before:
        _keep_copy(db, path.with_name(f"{path.name}.schema-{before}"))
    with writing(db):
        (now,) = db.execute("PRAGMA user_version").fetchone()
        _take_steps(db, now)


def _take_steps(db: sqlite3.Connection, version: int) -> None:
    for number, step in enumerate(STEPS[version:], version + 1):
        for statement in step.split(";"):
            if statement.strip():
                db.execute(statement)
        # A pragma takes no parameters; the numbers are ours.
        db.execute(f"PRAGMA user_version = {number:d}")
    db.execute(f"PRAGMA application_id = {APPLICATION_ID:d}")


def _lacking(db: sqlite3.Connection) -> list[tuple[str, str, str]]:
    """Return the columns of `GROWING` that the file does not have: table, name, type."""
    found = []
    for table, columns in GROWING.items():
        there = {name for _, name, *_ in db.execute(f"PRAGMA table_info({table})")}
        found += [(table, name, kind) for name, kind in columns.items() if name not in there]
    return found


def _add_columns(db: sqlite3.Connection) -> None:
    """Add what is lacking; nothing that is there is touched, so no copy is kept."""
    for table, name, kind in _lacking(db):
        db.execute(f"ALTER TABLE {table} ADD COLUMN {name} {kind}")


def _keep_copy(db: sqlite3.Connection, beside: Path) -> None:
    """Keep the file as it is before it is changed; one that is there from an earlier try is whole and stays."""
    if beside.exists():
        return
    with written_whole(beside) as fresh:
        copy = sqlite3.connect(fresh)
        try:
            db.backup(copy)
        finally:
            copy.close()


def _looked_at(path: Path) -> sqlite3.Connection:
    """Return a connection that cannot write; to a copy in memory if the schema is older."""
    if not path.exists():
        raise ShelfError(f"There is no shelf '{path}': check the folder.")
    db = _reading(path)
    try:
        if _version(db, path) < NEWEST or _lacking(db):
            memory = _connect("file::memory:")
            db.backup(memory)
            db.close()
            db = memory
            with writing(db):
                _take_steps(db, int(db.execute("PRAGMA user_version").fetchone()[0]))
                _add_columns(db)
        db.execute("PRAGMA query_only = ON")
    except BaseException:
        db.close()
        raise
    return db


_DAMAGED = (
    "The shelf '{path}' is damaged: move it away and put a backup in its place; then 'shelf rebuild' brings back the"
    " winds that came after it."
)


def _reading(path: Path) -> sqlite3.Connection:
    """Return a connection that reads. SQLite lays shared memory beside the file for that, which a folder without
    write permission or a full disk refuses; no one else can write then, and the file is read as it lies there."""
    db = _connect(f"{_uri(path)}?mode=ro")
    try:
        db.execute("SELECT count(*) FROM sqlite_schema")
    except sqlite3.OperationalError:
        db.close()
        log = path.with_name(f"{path.name}-wal")
        if log.exists() and log.stat().st_size:
            raise  # The newest that was written is in there.
        db = _connect(f"{_uri(path)}?mode=ro&immutable=1")
    except BaseException:
        db.close()
        raise
    return db


_SENTENCES = (
    ("full", "The disk of the shelf '{path}' is full: make room; nothing that was there is lost."),
    ("I/O error", "The disk of the shelf '{path}' refuses: make room or check it; nothing that was there is lost."),
    ("readonly", "The shelf '{path}' cannot be written: check its permissions, or name another folder with --home."),
    ("locked", "Another program has kept the shelf '{path}' busy for too long: close it and try again."),
    ("not a database", "The file '{path}' is no shelf: move it away, then 'shelf rebuild' makes one from the traces."),
    ("malformed", _DAMAGED),
    ("unable to open", "The shelf '{path}' cannot be opened: check its permissions, or name another with --home."),
)


def _sentence(path: Path, error: sqlite3.Error) -> str:
    """Return what to do about an error of SQLite's."""
    for sign, sentence in _SENTENCES:
        if sign in str(error):
            return sentence.format(path=path)
    return f"The shelf '{path}' cannot be used ({error}): check it with 'shelf check'."
