"""A disk that is full, slow, refuses or goes away: coaching continues, it is said, and what can be kept is kept."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from tests.scenario import SETTINGS, wind
from tests.traces.test_files import HEADER
from winding_coach.base.inputs import Input
from winding_coach.coach.step import Coach
from winding_coach.keeping.replaying import difference, settings_of
from winding_coach.live.session import Session
from winding_coach.live.sources.replay import ReplaySource
from winding_coach.traces.disk import GONE, SLOW
from winding_coach.traces.files import TraceWriter, read_trace

SMALL = """
import resource, sys
from winding_coach.cli import main
resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000))
sys.exit(main(sys.argv[1:]))
"""


def inputs() -> tuple[Input, ...]:
    """The beginning of a wind; not made while tests are collected."""
    return wind("good")[:1500]


def wound(folder: Path) -> tuple[Session, TraceWriter]:
    """A wind of some seconds, kept in a folder."""
    writer = TraceWriter(folder, HEADER)
    session = Session(ReplaySource(inputs(), None), Coach(SETTINGS), writer)
    session.run()
    return session, writer


@pytest.mark.skipif(os.name != "posix", reason="limits the size of files as POSIX does")
def test_a_disk_that_fills_up_costs_the_rest_of_the_trace_only(home: Path) -> None:
    """The real program on a file system that takes 40 kB of a file and no more."""
    words = ("--loop", "30 cm", "--mass", "1.40 g", "--orings", "0.08 g", "--motor", "th-07", "--home", str(home))
    done = subprocess.run(
        [sys.executable, "-c", SMALL, "practice", "--headless", "--speed", "max", "--script", "good", *words],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
    )
    assert done.returncode == 1
    assert "Done." in done.stdout, "the wind was coached to its end"
    # Said at once while coaching, and once more at the end.
    assert len({line.removeprefix("winding-coach practice: ") for line in done.stderr.splitlines()}) == 1
    assert "The trace cannot be written (File too large): make room on the disk; coaching continues." in done.stderr
    (path,) = (home / "traces").iterdir()
    kept = read_trace(path)
    assert kept.cut
    assert kept.summary is None
    assert len(kept.inputs) > 100
    assert difference(kept, settings_of(kept)) is None


@pytest.mark.skipif(sys.platform != "linux" or os.geteuid() != 0, reason="mounts a small disk, which only root may")
def test_a_full_disk_gets_everything_once_there_is_room(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)], check=False)
    if mounted.returncode != 0:
        pytest.skip("nothing can be mounted here")
    try:
        (disk / "filler").write_bytes(b"x" * 50_000)
        writer = TraceWriter(disk, HEADER)
        for event in inputs()[:1400]:
            writer.input(event)
        assert "No space left" in str(writer.trouble)
        subprocess.run(["mount", "-o", "remount,size=4m", str(disk)], check=True)
        writer.input(inputs()[1400])
        writer.sync()
        writer.settle()
        assert str(writer.trouble) == "None"
        writer.close()
        assert read_trace(writer.path).inputs == inputs()[:1401]
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False)


def test_a_slow_disk_keeps_nobody_waiting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It was synced in the coach's own loop: three seconds of a slow stick were three seconds without a word."""
    hangs = threading.Event()
    writer = TraceWriter(tmp_path, HEADER)
    writer.settle()
    now_s = [100.0]
    monkeypatch.setattr(writer._disk, "_clock", lambda: now_s[0])
    monkeypatch.setattr(os, "fsync", lambda _file: hangs.wait(20.0))
    coach = Coach(SETTINGS)
    for event in inputs():
        coach.step(event)
        writer.input(event)
    assert coach.view.reading.torque_Nm is not None
    while writer._disk._begun_s is None:
        threading.Event().wait(0.001)
    now_s[0] += 2.5
    assert writer.trouble == SLOW
    assert read_trace(writer.path).inputs == inputs(), "the system has it all"
    hangs.set()
    writer.close()
    assert str(writer.trouble) == "None"


def test_a_disk_that_is_taken_away_is_said(tmp_path: Path) -> None:
    folder = tmp_path / "stick"
    writer = TraceWriter(folder, HEADER)
    shutil.rmtree(folder)
    coach = Coach(SETTINGS)
    for event in inputs():
        coach.step(event)
        writer.input(event)
    writer.settle()
    assert writer.trouble == GONE
    assert coach.view.reading.torque_Nm is not None
    writer.close()


def test_what_the_session_says_of_its_disk_is_the_writers_word(tmp_path: Path) -> None:
    session, writer = wound(tmp_path / "traces")
    assert session.trouble is None
    (tmp_path / "traces" / writer.path.name).unlink()
    writer._disk._refused = GONE
    assert session.trouble == GONE


def test_a_folder_that_cannot_be_written_is_refused_before_the_wind(home: Path) -> None:
    """Nothing is lost yet: the sentence names the other folder that would do."""
    home.mkdir(exist_ok=True)
    (home / "traces").write_text("a file in the place of the folder")
    words = ("wind", "--headless", "--port", "none", "--calibration", "simulated", "--loop", "30 cm", "--mass", "1 g")
    done = subprocess.run(
        [sys.executable, "-m", "winding_coach", *words, "--home", str(home)], capture_output=True, text=True
    )
    assert done.returncode == 1
    assert "name another folder with --home" in done.stderr
    assert "Traceback" not in done.stderr
