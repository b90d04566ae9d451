"""A fault of the program: one sentence, its traceback kept, and one file to send that tells of nobody unasked."""

from __future__ import annotations

import errno
import io
import json
import os
import pty
import stat
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from winding_coach.app.fault import FAULT_FILE
from winding_coach.cli import main
from winding_coach.cli.commands import plan

PLAN = ["plan", "--loop", "30 cm", "--mass", "1.40 g", "--hooks", "22 cm"]


@pytest.fixture
def broken(monkeypatch: pytest.MonkeyPatch) -> None:
    """A program that is wrong inside `plan`."""

    def run(args: object) -> int:
        raise KeyError("no such strand")

    monkeypatch.setattr(plan, "run", run)


def test_a_fault_of_the_program_is_one_sentence_and_kept(
    broken: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*PLAN, "--home", str(tmp_path)]) == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "not yours" in said
    assert "no such strand" in said
    assert "report-fault" in said
    kept = tmp_path / FAULT_FILE
    assert "Traceback" in kept.read_text()
    assert "no such strand" in kept.read_text()
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600


def test_a_fault_where_nothing_can_be_kept_says_how_to_log_it(
    broken: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("")
    assert main([*PLAN, "--home", str(tmp_path / "file" / "below")]) == 1
    assert "--log FILE" in capsys.readouterr().err


def test_a_log_has_the_command_and_the_traceback_for_its_user_alone(broken: None, tmp_path: Path) -> None:
    log = tmp_path / "a.log"
    main([*PLAN, "--home", str(tmp_path), "--log", str(log)])
    main(["--log", str(log), *PLAN, "--home", str(tmp_path)])
    written = log.read_text()
    assert written.count("command: plan") == 2
    assert written.count("Traceback") == 2
    assert stat.S_IMODE(log.stat().st_mode) == 0o600


def test_a_log_tells_what_a_wind_was_told(recorded: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    log = tmp_path / "a.log"
    assert main(["replay", str(recorded), "--headless", "--home", str(tmp_path), "--log", str(log)]) == 0
    written = log.read_text()
    assert "said: PhaseSaid" in written
    assert "in: LinkUp" in written


def test_a_log_that_cannot_be_written_is_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*PLAN, "--log", str(tmp_path / "none" / "a.log")]) == 1
    assert "name another file with --log" in capsys.readouterr().err


@pytest.fixture
def recorded() -> Path:
    """A short wind that was recorded."""
    return min((Path(__file__).parents[2] / "recordings").glob("*.wind.jsonl*"), key=lambda path: path.stat().st_size)


@pytest.fixture
def home(tmp_path: Path, recorded: Path) -> Path:
    """A folder of data that tells of somebody."""
    folder = tmp_path / "of-somebody"
    (folder / "traces").mkdir(parents=True)
    (folder / "traces" / "a.wind.jsonl").write_bytes(recorded.read_bytes())
    (folder / "settings.json").write_text('{"person": "Grebe"}')
    (folder / FAULT_FILE).write_text(f"winding-coach wind\nTraceback in {folder}/x.py")
    return folder


def inside(file: Path | bytes) -> dict[str, bytes]:
    """What is in a report."""
    with zipfile.ZipFile(file if isinstance(file, Path) else io.BytesIO(file)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def test_a_report_tells_of_nobody_unasked(home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("y\ny\ny\n"))  # No terminal: nobody was asked.
    out = tmp_path / "r.zip"
    assert main(["report-fault", str(out), "--home", str(home)]) == 0
    held = inside(out)
    assert set(held) == {"about.json", FAULT_FILE}
    assert b"of-somebody" not in b"".join(held.values())
    assert b"Grebe" not in b"".join(held.values())
    about = json.loads(held["about.json"])
    assert about["data"]["traces"] == 1
    assert {"numpy", "textual", "pyserial"} <= set(about["libraries"])
    assert stat.S_IMODE(out.stat().st_mode) == 0o600


def test_a_report_with_what_was_named(home: Path, tmp_path: Path) -> None:
    out, log = tmp_path / "r.zip", tmp_path / "a.log"
    log.write_text("a line")
    assert main(["report-fault", str(out), "--home", str(home), "--with", f"settings, trace,log={log}"]) == 0
    assert set(inside(out)) == {
        "about.json",
        FAULT_FILE,
        "settings/settings.json",
        "trace/a.wind.jsonl",
        "log/a.log",
    }


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (["r.txt"], 2, "must end in .zip"),
        (["r.zip", "--with", "everything"], 2, "is not one of"),
        (["r.zip", "--with", "calibration"], 1, "there is no calibration"),
        (["r.zip", "--with", "log=/nowhere/a.log"], 1, "cannot be read"),
    ],
)
def test_a_report_asked_for_wrongly(
    words: list[str], status: int, said: str, home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report-fault", str(tmp_path / words[0]), *words[1:], "--home", str(home)]) == status
    assert said in capsys.readouterr().err
    assert not (tmp_path / words[0]).exists()


def test_at_a_terminal_each_part_is_asked_for(home: Path, tmp_path: Path) -> None:
    ours, theirs = pty.openpty()
    os.write(ours, b"n\ny\n")
    out = tmp_path / "r.zip"
    command = [sys.executable, "-m", "winding_coach", "report-fault", str(out), "--home", str(home)]
    done = subprocess.run(command, stdin=theirs, capture_output=True, text=True, timeout=60, check=True)
    os.close(ours)
    os.close(theirs)
    assert done.stdout.count("? y or n") == 2
    assert set(inside(out)) == {"about.json", FAULT_FILE, "trace/a.wind.jsonl"}


@pytest.mark.parametrize(("of_output", "faults"), [(True, 0), (False, 1)])
def test_a_terminal_that_hung_up_is_no_fault_and_a_disk_that_fails_is_one(
    of_output: bool, faults: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class HungUp(io.StringIO):
        def flush(self) -> None:
            if of_output:
                raise OSError(errno.EIO, "Input/output error")

        def fileno(self) -> int:
            return spare

    def run(args: object) -> int:
        raise OSError(errno.EIO, "Input/output error")

    spare = os.open(os.devnull, os.O_WRONLY)
    monkeypatch.setattr(plan, "run", run)
    monkeypatch.setattr(sys, "stdout", HungUp())
    assert main([*PLAN, "--home", str(tmp_path)]) == 1
    os.close(spare)
    assert len(list(tmp_path.glob(FAULT_FILE))) == faults
