"""The screens as their user sees them: real processes on a pseudo-terminal, driven by keys."""

from __future__ import annotations

import fcntl
import gzip
import json
import os
import pty
import select
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from winding_coach.traces.files import read_trace

RECORDINGS = Path(__file__).parents[2] / "recordings"
MOTOR = ("--loop", "30 cm", "--mass", "1.40 g", "--orings", "0.08 g", "--hooks", "22 cm", "--motor", "th-07")
PATIENCE_S = 30.0


class Terminal:
    """A program on a terminal of 80 by 24."""

    def __init__(self, master: int, process: subprocess.Popen[bytes]) -> None:
        self._master, self.process = master, process
        self.seen = ""

    def wait_for(self, text: str) -> None:
        deadline = time.monotonic() + PATIENCE_S
        while text not in self.seen:
            ready, _, _ = select.select([self._master], [], [], 0.05)
            if ready:
                try:
                    self.seen += os.read(self._master, 65536).decode("utf-8", "replace")
                except OSError:
                    break
            assert time.monotonic() < deadline, f"{text!r} never came"
        assert text in self.seen

    def press(self, keys: str) -> None:
        os.write(self._master, keys.encode())

    def leave(self) -> str:
        """Press q, and return what the program prints after its screen has gone."""
        self.press("q")
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            ready, _, _ = select.select([self._master], [], [], 0.05)
            try:
                data = os.read(self._master, 65536) if ready else b""
            except OSError:
                data = b""
            self.seen += data.decode("utf-8", "replace")
            if not data and self.process.poll() is not None:
                break
        assert self.process.returncode == 0
        return self.seen.rpartition("\x1b[?1049l")[2]


@contextmanager
def terminal(*words: str) -> Iterator[Terminal]:
    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    environment = os.environ | {"TERM": "xterm-256color", "COLORTERM": "truecolor", "PYTHONUTF8": "1"}
    environment.pop("NO_COLOR", None)
    process = subprocess.Popen(
        [sys.executable, "-m", "winding_coach", *words],
        stdin=slave,
        stdout=slave,
        stderr=slave,
        start_new_session=True,
        env=environment,
    )
    os.close(slave)
    try:
        yield Terminal(master, process)
    finally:
        process.kill()
        process.wait(5)
        os.close(master)


def test_a_practised_wind_on_the_screen_is_saved_when_it_is_left(home: Path) -> None:
    with terminal("practice", "--script", "good", "--speed", "8", *MOTOR) as screen:
        screen.wait_for("● WIND")
        screen.press("s")
        screen.wait_for("for the motor's label")
        said = screen.leave()
    assert "th-07" in said
    (trace,) = (home / "traces").iterdir()
    summary = read_trace(trace).summary
    assert summary is not None
    assert summary["outcome"] == "stopped"


def test_a_replay_on_the_screen_with_another_wind_beside_it(home: Path) -> None:
    traces = [str(RECORDINGS / f"{name}.wind.jsonl.gz") for name in ("stalled-crank", "good-wind")]
    with terminal("replay", traces[0], "--against", traces[1]) as screen:
        screen.wait_for("thin line: good-wind")
        screen.press(" \x1b[F")  # Pause, end.
        screen.wait_for("paused")
        screen.leave()


def test_the_first_wind_asks_first_and_keeps_the_answers(home: Path) -> None:
    with terminal("wind", "--set-up", "--port", "sim", *MOTOR) as screen:
        screen.wait_for("Before the first wind")
        screen.wait_for("Save and continue")
        screen.press("\x13")  # ctrl+s
        screen.wait_for("ZERO")
        screen.leave()
    assert json.loads((home / "settings.json").read_text(encoding="utf-8"))["ratio"] == "10"


def test_a_second_screen_follows_a_trace_of_the_folder(home: Path) -> None:
    (home / "traces").mkdir(parents=True)
    whole = gzip.decompress((RECORDINGS / "good-wind.wind.jsonl.gz").read_bytes())
    cut = whole[: len(whole) // 2]
    (home / "traces" / "2026-03-01-140509-th-07.wind.jsonl").write_bytes(cut)
    with terminal("watch") as screen:
        screen.wait_for("WATCHING")
        screen.wait_for("● W")
        screen.leave()


def test_the_finished_screen_goes_on_to_the_next_wind_on_the_same_port(home: Path) -> None:
    """One key and enter; the meter stays, and so does its zero, so nobody is asked for one again."""
    words = ("--model", "Bluebell", "--sim-script", "good", "--sim-speed", "4", "--sound", "off")
    for made in (
        ("model", "add", "Bluebell", "--hooks", "7.5 cm"),
        ("motor", "add", "moss-1", "--loop", "10 cm", "--mass", "0.46 g"),
        ("motor", "add", "moss-2", "--loop", "10.2 cm", "--mass", "0.46 g"),
    ):
        subprocess.run([sys.executable, "-m", "winding_coach", *made], check=True, capture_output=True, timeout=60)
    with terminal("wind", "--port", "sim", "--ratio", "10", "--motor", "moss-1", *words) as screen:
        screen.wait_for("n next wind")
        screen.press("n")
        screen.wait_for("moss-2")
        screen.press("\r")
        screen.wait_for("-moss-2.wind.jsonl")
        screen.seen = ""
        screen.wait_for("n next wind")
        screen.leave()
    first, second = sorted((home / "traces").iterdir(), key=lambda path: path.name.endswith("moss-2.wind.jsonl"))
    headers = [read_trace(path).header for path in (first, second)]
    assert [None if header.motor is None else header.motor.name for header in headers] == ["moss-1", "moss-2"]
    assert headers[0].tare is None
    assert headers[1].tare is not None
