"""The shelf's files by commands: export, backup, import, rebuild, who may read them."""

from __future__ import annotations

import csv
import io
import os
import sqlite3
import sys
from pathlib import Path

import pytest

from tests.cli.test_shelf import TH_07, as_object, refused, said
from tests.shelf.examples import a_wind
from tests.test_indexing import make_trace
from winding_coach.cli import main
from winding_coach.shelf.records import Motor
from winding_coach.shelf.store import Shelf


@pytest.fixture(autouse=True)
def own_home(home: Path) -> Path:
    """Nothing is read from or written to the home of whoever runs the tests."""
    return home


def test_export_carries_units_in_names_and_comes_back(
    capsys: pytest.CaptureFixture[str], home: Path, tmp_path: Path
) -> None:
    import pyarrow.parquet  # type: ignore[import-untyped]

    for number in range(1, 3):
        make_trace(home / "traces", number)
    said(capsys, "batch", "add", "amber", "--density", "2.19 g/m, 2.2 g/m")
    said(capsys, "flight", "400", "--left", "254", "--ceiling", "--remarks", 'said "up, up"')
    said(capsys, "export", str(tmp_path / "winds.csv"))
    rows = list(csv.DictReader(io.StringIO((tmp_path / "winds.csv").read_text(encoding="utf-8"))))
    assert [row["flight_duration_s"] for row in rows] == ["400.0", ""]
    assert float(rows[0]["peak_torque_Nm"]) == pytest.approx(7.0973e-3)
    assert (rows[0]["flight_ceiling"], rows[0]["simulated"]) == ("true", "false")
    assert rows[0]["flight_remarks"] == 'said "up, up"'
    figures = {"use_number", "ratio_turns_per_crank_turn", "share_of_breaking_turns", "flight_left_turns"}
    assert figures <= set(rows[0])
    said(capsys, "export", str(tmp_path / "season"), "--format", "parquet")
    names = sorted(path.name for path in (tmp_path / "season").iterdir())
    tables = "batches coached_again flights meters models motors people strips winders winds"
    assert names == [f"{name}.parquet" for name in tables.split()]
    table = pyarrow.parquet.read_table(tmp_path / "season" / "winds.parquet").to_pylist()
    assert [row["flight_duration_s"] for row in table] == [400.0, None]
    assert table[0]["flight_ceiling"] is True
    (batch,) = pyarrow.parquet.read_table(tmp_path / "season" / "batches.parquet").to_pylist()
    assert batch["densities_kg_per_m"] == pytest.approx([2.19e-3, 2.2e-3])
    written = as_object(capsys, "export", str(tmp_path / "some.csv"), "--motor", "none-such")["written"]
    assert written == {str(tmp_path / "some.csv"): 0}


def test_without_pyarrow_parquet_is_refused_and_csv_is_not(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    assert "pip install 'winding-coach[parquet]'" in refused(capsys, 1, "export", str(tmp_path / "x.parquet"))
    said(capsys, "export", str(tmp_path / "x.csv"))


def test_the_readings_of_a_wind_are_exported(capsys: pytest.CaptureFixture[str], home: Path, tmp_path: Path) -> None:
    recording = Path(__file__).parents[2] / "recordings" / "good-wind.wind.jsonl.gz"
    (home / "traces").mkdir(parents=True)
    (home / "traces" / recording.name).write_bytes(recording.read_bytes())
    said(capsys, "export", str(tmp_path / "readings.csv"), "--readings", "last")
    rows = list(csv.DictReader(io.StringIO((tmp_path / "readings.csv").read_text())))
    # By the recording's own summary: 7.0973 mN·m at 1310 turns.
    assert max(float(row["torque_Nm"]) for row in rows) == pytest.approx(7.0973e-3, rel=0.02)
    assert max(float(row["turns"] or 0) for row in rows) == 1310.0
    assert rows[-1]["phase"] in ("ready", "done")
    assert "no wind 'x'" in refused(capsys, 1, "export", str(tmp_path / "r.csv"), "--readings", "x")


def test_backup_and_import_as_commands(capsys: pytest.CaptureFixture[str], home: Path, tmp_path: Path) -> None:
    make_trace(home / "traces")
    said(capsys, "motor", "add", *TH_07)
    said(capsys, "flight", "400")
    copy, new = tmp_path / "copy", tmp_path / "new"
    assert as_object(capsys, "backup", str(copy))["flights"] == 1
    assert "is as it was" in said(capsys, "backup", "--check", str(copy))
    assert "is taken" in refused_after_bar(capsys, "backup", str(copy))
    dry = as_object(capsys, "import", str(copy), "--dry-run", "--home", str(new))
    assert (len(dry["winds"]), len(dry["flights"]), dry["records"][0]["name"]) == (1, 1, "th-07")
    text = said(capsys, "import", str(copy), "--home", str(new))
    assert text == "Imported: 1 wind; 1 flight; motor th-07.\n"
    said(capsys, "motor", "edit", "th-07", "--loop", "31 cm", "--home", str(new))
    text = said(capsys, "import", str(copy), "--home", str(new))
    assert text.splitlines() == [
        "Imported: nothing.",
        "Here already: 1 of wind, 1 of flight.",
        "These differ; yours stay as they are:",
        "  motor th-07: loop_m 0.31 here, 0.3 there; measured_at_use 1 here, 0 there.",
    ]
    assert "own data folder" in refused(capsys, 2, "import", str(home))


def refused_after_bar(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main([*words]) == 1
    return capsys.readouterr().err


@pytest.mark.parametrize(
    ("sql", "hint"),
    [
        ("PRAGMA user_version = 99", "newer version"),
        ("UPDATE batch SET densities_kg_per_m = 'x'", "holds what no shelf does"),
        ("UPDATE wind SET started = 'soon'", "holds what no shelf does"),
        ("DROP TABLE motor", "cannot be used"),
    ],
)
def test_a_shelf_that_cannot_be_brought_in_changes_nothing(
    capsys: pytest.CaptureFixture[str], home: Path, tmp_path: Path, sql: str, hint: str
) -> None:
    other = str(tmp_path / "other")
    said(capsys, "batch", "add", "amber", "--home", other)
    (make_trace(tmp_path / "other" / "traces")).rename(tmp_path / "elsewhere.wind.jsonl")
    with Shelf(tmp_path / "other" / "shelf.sqlite") as theirs:
        theirs.log(a_wind(1))
    db = sqlite3.connect(tmp_path / "other" / "shelf.sqlite")
    db.execute(sql)
    db.commit()
    db.close()
    said(capsys, "motor", "add", *TH_07)
    assert hint in refused(capsys, 1, "import", other)
    with Shelf(home / "shelf.sqlite") as shelf:
        assert shelf.winds() == []
        assert len(shelf.all(Motor)) == 1


def test_an_import_that_cannot_copy_says_so(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_trace(tmp_path / "other" / "traces")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("winding_coach.keeping.merging.copy_verified", full)
    assert "No space left" in refused_after_bar(capsys, "import", str(tmp_path / "other"))


def test_a_rebuild_tells_what_moved_is_missing_and_passed_over(capsys: pytest.CaptureFixture[str], home: Path) -> None:
    paths = [make_trace(home / "traces", number) for number in range(1, 4)]
    said(capsys, "shelf", "winds")
    (home / "traces" / "older").mkdir()
    paths[0].rename(home / "traces" / "older" / paths[0].name)
    paths[1].unlink()
    for number in range(7):
        (home / "traces" / f"{number}.wind.jsonl").write_text("?")
    text = said(capsys, "shelf", "rebuild")
    assert "2 winds are on the shelf" in text
    assert "1 wind of the index has no trace any more" in text
    assert "Passed over 2 more files" in text
    again = as_object(capsys, "shelf", "rebuild")
    assert (again["missing"], len(again["passed_over"])) == ([paths[1].name], 7)


def test_recompute_is_kept_told_and_goes_on(capsys: pytest.CaptureFixture[str], home: Path) -> None:
    for number in range(1, 4):
        make_trace(home / "traces", number)
    first = as_object(capsys, "shelf", "recompute", "--motor", "th-07", "--processes", "1")
    assert (first["winds"], first["done_now"], len(first["changed"])) == (3, 3, 3)  # The summaries are invented.
    assert as_object(capsys, "shelf", "recompute")["done_now"] == 0
    make_trace(home / "traces", 4, calibration=None)
    assert main(["shelf", "recompute"]) == 1
    out, _ = capsys.readouterr()
    assert "1 wind coached again" in out
    assert "knows no calibration" in out


def test_labels_are_written(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    said(capsys, "motor", "add", *TH_07, "--used", "1")
    said(capsys, "motor", "label", "--to", str(tmp_path / "a.svg"))
    svg = (tmp_path / "a.svg").read_text()
    for text in ("th-07", "30.0 cm · 1.40 g", "2.200 g/m"):
        assert text in svg
    assert "1 label in" in said(capsys, "motor", "label", "th", "--to", str(tmp_path / "a.pdf"))
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF-1.4")


def test_a_folder_that_cannot_be_written_can_still_be_listed(
    capsys: pytest.CaptureFixture[str], home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the user may do everything, permissions do not hold: the shelf's own refusal is what is tested."""
    from winding_coach.shelf import schema

    said(capsys, "motor", "add", *TH_07)
    make_trace(home / "traces")

    def refuse(*_: object) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(schema, "_make_private", refuse)
    assert main(["motor", "list"]) == 0
    assert "th-07" in capsys.readouterr().out
    assert main(["shelf", "winds"]) == 0
    assert "cannot be written" in capsys.readouterr().err
    assert "Read-only file system" in refused(capsys, 1, "motor", "retire", "th-07")


def test_files_are_for_their_user_only(capsys: pytest.CaptureFixture[str], home: Path, tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        said(capsys, "person", "add", "Wren")
        make_trace(home / "traces")
        said(capsys, "backup", str(tmp_path / "copy"))
    finally:
        os.umask(before)
    for folder in (home, tmp_path / "copy"):
        assert all(path.stat().st_mode & 0o077 == 0 for path in (folder, *folder.rglob("*")))
