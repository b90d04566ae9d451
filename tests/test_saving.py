"""A backup is whole or not at all, is read back, and tells when it was changed since."""

from __future__ import annotations

import errno
import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.shelf.examples import WREN, a_wind
from tests.test_indexing import make_trace
from winding_coach.keeping import saving
from winding_coach.keeping.indexing import look
from winding_coach.keeping.saving import SavingError, back_up, check_backup, copy_verified
from winding_coach.shelf.records import Flight, Person
from winding_coach.shelf.store import Shelf

NOW = datetime(2026, 3, 8, tzinfo=UTC)

pytestmark = pytest.mark.usefixtures("hurried_disk")


@pytest.fixture
def home(tmp_path: Path) -> Path:
    home = tmp_path / "home"
    make_trace(home / "traces", 1)
    make_trace(home / "traces" / "older", 2)
    (home / "settings.json").write_text('{"ratio": "10"}')
    (home / "batches").mkdir()
    (home / "batches" / "amber.json").write_text("{}")
    (home / "settings.json.new").write_text("half written")
    with Shelf(home / "shelf.sqlite") as shelf:
        shelf.add(WREN)
        look(home / "traces", shelf)
        shelf.fly(Flight("f", shelf.winds()[0].id, "2026-03-07T12:00:00+01:00", 400.0))
    return home


def test_all_of_it_is_copied_while_others_write(home: Path, tmp_path: Path) -> None:
    with Shelf(home / "shelf.sqlite") as busy, busy.writing():
        busy.log(a_wind(9))
        saved = back_up(home, tmp_path / "disk" / "copy", NOW)
    assert (saved.files, saved.winds, saved.flights) == (5, 2, 1)
    copy = saved.folder
    names = sorted(path.relative_to(copy).as_posix() for path in copy.rglob("*") if path.is_file())
    traces = sorted(path.relative_to(home).as_posix() for path in home.rglob("*.wind.jsonl"))
    assert names == sorted(["backup.json", "batches/amber.json", "settings.json", "shelf.sqlite", *traces])
    for name in ("settings.json", "batches/amber.json", *traces):
        assert (copy / name).read_bytes() == (home / name).read_bytes()
    assert all(path.stat().st_mode & 0o077 == 0 for path in copy.rglob("*"))
    with Shelf(copy / "shelf.sqlite", read_only=True) as shelf:
        assert shelf.all(Person) == [WREN]
        assert len(shelf.flights()) == 1
    assert check_backup(copy) == saved


def test_a_backup_that_was_changed_is_told(home: Path, tmp_path: Path) -> None:
    copy = back_up(home, tmp_path / "copy", NOW).folder
    (trace,) = copy.glob("traces/*.wind.jsonl")
    trace.write_bytes(trace.read_bytes().replace(b"Wren", b"Wran"))
    (copy / "settings.json").unlink()
    with pytest.raises(SavingError, match=r"2 of 5 files .* are not as they were: settings.json, traces/"):
        check_backup(copy)
    (copy / "backup.json").write_text("{}")
    with pytest.raises(SavingError, match="make a new backup"):
        check_backup(copy)
    with pytest.raises(SavingError, match="is no backup"):
        check_backup(home)


def test_what_is_there_is_never_written_over(home: Path, tmp_path: Path) -> None:
    taken = tmp_path / "taken"
    taken.mkdir()
    (taken / "letter.txt").write_text("dear")
    with pytest.raises(SavingError, match="is taken"):
        back_up(home, taken, NOW)
    with pytest.raises(SavingError, match="inside the data folder"):
        back_up(home, home / "copy", NOW)
    with pytest.raises(SavingError, match="no data"):
        back_up(tmp_path / "nowhere", tmp_path / "copy", NOW)
    assert [path.name for path in taken.iterdir()] == ["letter.txt"]
    with pytest.raises(FileExistsError):
        copy_verified(home / "settings.json", taken / "letter.txt")
    assert (taken / "letter.txt").read_text() == "dear"
    assert [path.name for path in taken.iterdir()] == ["letter.txt"]


def test_a_disk_that_fills_leaves_no_half_backup(home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(saving, "copy_verified", full)
        with pytest.raises(SavingError, match="the disk is full"):
            back_up(home, tmp_path / "copy", NOW)
    with monkeypatch.context() as patched:
        patched.setattr(shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(1, 1, 0))
        with pytest.raises(SavingError, match=r"needs .* MB"):
            back_up(home, tmp_path / "copy", NOW)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["home"]


def test_a_copy_that_does_not_arrive_is_told(home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(saving, "fingerprint", lambda _: (0, "another"))
    with pytest.raises(OSError, match="does not arrive"):
        copy_verified(home / "settings.json", tmp_path / "copy.json")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["home"]


def test_without_a_shelf_the_rest_is_saved(home: Path, tmp_path: Path) -> None:
    (home / "shelf.sqlite").unlink()
    (tmp_path / "copy").mkdir()
    saved = back_up(home, tmp_path / "copy", NOW)
    assert (saved.files, saved.winds) == (4, 0)
    assert json.loads((saved.folder / "backup.json").read_text())["made"] == "2026-03-08T00:00:00+00:00"
