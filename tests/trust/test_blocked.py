"""Nothing stops the coach: the real program with a pipe, a terminal and a disk that take nothing, or go away."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import signal
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from tests.trust.killing import WORDS, Meter
from winding_coach.cli.output.lines_out import BLOCKED
from winding_coach.keeping.replaying import difference, settings_of
from winding_coach.traces import pen
from winding_coach.traces.files import Trace, read_trace

pytestmark = [pytest.mark.no_cover, pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals")]
PATIENCE_S = 60.0


def until(so: Callable[[], Any], what: str) -> None:
    """Wait until something is so; only a broken program waits for long."""
    end = time.monotonic() + PATIENCE_S
    while not so():
        assert time.monotonic() < end, what
        time.sleep(0.02)


def trace_in(home: Path) -> Path | None:
    return next(iter((home / "traces").glob("*.wind.jsonl")), None)


def has_rows(home: Path, count: int = 40) -> bool:
    path = trace_in(home)
    return path is not None and path.read_bytes().count(b'"in":"bytes"') > count


def kept(home: Path) -> Trace:
    """The wind that was closed and saved, and replays as it was."""
    path = trace_in(home)
    assert path is not None
    trace = read_trace(path)
    assert trace.summary is not None, "the wind was not closed"
    assert difference(trace, settings_of(trace)) is None
    return trace


def goes_on(process: subprocess.Popen[bytes], home: Path) -> str:
    """Wait until the output is said to be blocked and the coach has gone on; close the wind; return stderr."""
    assert process.stderr is not None
    seen = b""
    while BLOCKED.encode() not in seen:
        line = process.stderr.readline()
        assert line, "it ended"
        seen += line
    path = trace_in(home)
    assert path is not None
    before = path.read_bytes().count(b"\n")
    until(lambda: path.read_bytes().count(b"\n") > before + 20, "the coach stopped")
    process.send_signal(signal.SIGTERM)
    return (seen + process.communicate(timeout=PATIENCE_S)[1]).decode()


@contextmanager
def winding(home: Path, folder: Path, *more: str, **streams: Any) -> Iterator[subprocess.Popen[bytes]]:
    """The real program on an emulated meter that runs 25 times as fast."""
    home.mkdir(exist_ok=True)
    (home / "settings.json").write_text('{"units": "metric"}')
    meter = Meter(folder, 1)
    words = ["wind", "--port", str(meter.link), "--calibration", "simulated", "--home", str(home), *WORDS, *more]
    process = subprocess.Popen([sys.executable, "-m", "winding_coach", *words], **streams)
    try:
        yield process
    finally:
        process.kill()
        process.wait(30)
        meter.unplug()


@contextmanager
def terminal() -> Iterator[tuple[int, int]]:
    """A pseudo-terminal: its master, for the test, and its slave, for the program."""
    master, slave = pty.openpty()
    try:
        yield master, slave
    finally:
        for number in (master, slave):
            with suppress(OSError):
                os.close(number)


HEADLESS = ("--headless",)
TALKATIVE = ("--headless", "--json", "--readings", "1000")


def test_a_pipe_that_nobody_reads_does_not_stop_the_coach(home: Path, tmp_path: Path) -> None:
    """The last word was "Keep cranking", and the trace ended there."""
    reading, writing = os.pipe()
    fcntl.fcntl(writing, getattr(fcntl, "F_SETPIPE_SZ", 1031), 4096)
    with winding(
        *(home, tmp_path, *TALKATIVE), stdin=subprocess.DEVNULL, stdout=writing, stderr=subprocess.PIPE
    ) as process:
        os.close(writing)
        said = goes_on(process, home)
    os.close(reading)
    assert process.returncode == 1
    assert "The output was not read to its end. The wind is saved as" in said
    assert "Traceback" not in said
    kept(home)


def test_a_fifo_that_is_not_read_does_not_stop_the_coach(home: Path, tmp_path: Path) -> None:
    fifo = tmp_path / "fifo"
    os.mkfifo(fifo)
    held = os.open(fifo, os.O_RDWR)
    fcntl.fcntl(held, getattr(fcntl, "F_SETPIPE_SZ", 1031), 4096)
    with winding(
        *(home, tmp_path, *TALKATIVE), stdin=subprocess.DEVNULL, stdout=held, stderr=subprocess.PIPE
    ) as process:
        goes_on(process, home)
    os.close(held)
    kept(home)


def test_ctrl_s_in_the_terminal_does_not_stop_the_coach(home: Path, tmp_path: Path) -> None:
    """Flow control held the output, and with it the loop."""
    with (
        terminal() as (master, slave),
        winding(
            *(home, tmp_path, *HEADLESS), stdin=subprocess.DEVNULL, stdout=slave, stderr=subprocess.PIPE
        ) as process,
    ):
        os.read(master, 100)
        os.write(master, b"\x13")
        goes_on(process, home)
        kept(home)


def test_after_ctrl_q_old_sentences_are_left_out_and_counted(home: Path, tmp_path: Path) -> None:
    with (
        terminal() as (master, slave),
        winding(
            *(home, tmp_path, "--headless", "--readings", "100"),
            stdin=subprocess.DEVNULL,
            stdout=slave,
            stderr=subprocess.PIPE,
        ) as process,
    ):
        os.read(master, 100)
        os.write(master, b"\x13")
        assert process.stderr is not None
        seen = b""
        while BLOCKED.encode() not in seen:
            seen += process.stderr.readline()
        time.sleep(2.5)  # So long that a sentence is out of date: this is what is tested.
        os.write(master, b"\x11")
        heard = b""
        while b"were left out while the output was not read" not in heard:
            heard += os.read(master, 65536)
        process.send_signal(signal.SIGTERM)
        while b"Saved as" not in heard:
            heard += os.read(master, 65536)
        process.communicate(timeout=PATIENCE_S)
    kept(home)


def test_a_closed_pipe_closes_and_saves_the_wind(home: Path, tmp_path: Path) -> None:
    """It ended at the next sentence, without a summary."""
    reading, writing = os.pipe()
    with winding(
        *(home, tmp_path, *TALKATIVE), stdin=subprocess.DEVNULL, stdout=writing, stderr=subprocess.PIPE
    ) as process:
        os.close(writing)
        until(lambda: has_rows(home), "nothing was wound")
        os.close(reading)
        _, said = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 1
    assert "The output was closed, so the wind was closed too. The wind is saved as" in said.decode()
    assert b"Traceback" not in said
    assert (kept(home).summary or {})["outcome"] == "stopped"


def controlling(slave: int) -> Callable[[], None]:
    def begin() -> None:
        os.setsid()
        fcntl.ioctl(slave, termios.TIOCSCTTY, 0)

    return begin


@pytest.mark.parametrize("more", [HEADLESS, ()], ids=["headless", "screen"])
def test_a_terminal_that_hangs_up_closes_and_saves_the_wind(home: Path, tmp_path: Path, more: tuple[str, ...]) -> None:
    """SIGHUP ended the program, and the wind was left open."""
    with terminal() as (master, slave):
        fcntl.ioctl(slave, termios.TIOCSWINSZ, b"\x18\x00\x50\x00\x00\x00\x00\x00")
        with winding(
            home,
            tmp_path,
            *more,
            stdin=slave,
            stdout=slave,
            stderr=slave,
            preexec_fn=controlling(slave),
            env=os.environ | {"TERM": "xterm-256color"},
        ) as process:
            os.close(slave)
            reader = threading.Thread(target=drain, args=(master, lambda: has_rows(home)), daemon=True)
            reader.start()
            until(lambda: has_rows(home), "nothing was wound")
            reader.join(10)
            os.close(master)
            process.wait(PATIENCE_S)
    assert (kept(home).summary or {})["outcome"] == "stopped"


def drain(master: int, enough: Callable[[], bool]) -> None:
    """Read what the screen draws, until that is enough."""
    while not enough():
        os.read(master, 65536)


def test_a_screen_whose_terminal_takes_nothing_can_be_ended_and_saves_the_wind(home: Path, tmp_path: Path) -> None:
    """Its writes blocked, so that SIGTERM changed nothing."""
    with (
        terminal() as (_, slave),
        winding(
            *(home, tmp_path), stdin=slave, stdout=slave, stderr=slave, env=os.environ | {"TERM": "xterm-256color"}
        ) as process,
    ):
        until(lambda: has_rows(home, 100), "the coach waited for the terminal")
        process.send_signal(signal.SIGTERM)
        process.wait(PATIENCE_S)
    kept(home)


@pytest.fixture
def freezing(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own, which can be frozen: then every write to it blocks in the kernel."""
    image, at = tmp_path / "image", tmp_path / "disk"
    at.mkdir()
    with image.open("wb") as out:
        out.truncate(32 * 2**20)
    made = [["mkfs.ext4", "-q", str(image)], ["mount", "-o", "loop", str(image), str(at)]]
    try:
        if any(subprocess.run(words, capture_output=True).returncode for words in made):
            pytest.skip("nothing can be mounted here")
    except FileNotFoundError:
        pytest.skip("there is no mkfs.ext4 here")
    yield at
    subprocess.run(["fsfreeze", "-u", str(at)], capture_output=True)
    subprocess.run(["umount", "-l", str(at)], capture_output=True)


@pytest.mark.skipif(sys.platform != "linux" or os.geteuid() != 0, reason="mounts a disk, which only root may")
def test_a_disk_that_blocks_in_write_does_not_stop_the_coach(freezing: Path, tmp_path: Path) -> None:
    """Twelve seconds in which a frozen disk took nothing were twelve seconds without a word."""
    home = freezing / "home"
    with winding(
        home,
        tmp_path,
        "--headless",
        "--json",
        "--readings",
        "5",
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        assert process.stdout is not None
        events: list[dict[str, Any]] = []

        def read_on(so: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
            assert process.stdout is not None
            while True:
                line = process.stdout.readline()
                assert line, "it ended"
                events.append(json.loads(line))
                if so(events[-1]):
                    return events[-1]

        frozen_s = read_on(lambda event: event["event"] == "reading" and event["at_s"] > 1.0)["at_s"]
        subprocess.run(["fsfreeze", "-f", str(freezing)], check=True)
        try:
            trouble = read_on(lambda event: event["event"] == "trouble")
            assert trouble["text"] == pen.BLOCKED
            assert trouble["of"] == "trace"
            assert trouble["active"] is True
            assert trouble["at_s"] - frozen_s < 25 * 2.0 + 1.0, (
                "within two seconds (the wind's clock is the computer's)"
            )
            read_on(lambda event: event["event"] == "reading" and event["at_s"] > trouble["at_s"] + 0.5)
        finally:
            subprocess.run(["fsfreeze", "-u", str(freezing)], check=True)
        gone = read_on(lambda event: event["event"] == "trouble")
        assert gone["active"] is False
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0
    trace = kept(home)
    said = [event["at_s"] for event in events if event["event"] == "reading"]
    assert trace.inputs[-1].at_s >= said[-1], "nothing is missing"
