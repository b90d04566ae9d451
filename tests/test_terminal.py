"""The real program in a real terminal: started, looked at, ended by its key."""

from __future__ import annotations

import shlex
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from winding_coach.traces.files import read_trace

PATIENCE_S = 120.0


@pytest.mark.skipif(shutil.which("tmux") is None, reason="tmux is not installed")
def test_a_wind_in_a_terminal_is_shown_and_saved(tmp_path: Path) -> None:
    socket = tmp_path / "tmux"
    words = [
        "wind",
        "--port",
        "sim",
        "--sim-script",
        "good",
        "--sim-speed",
        "5",
        "--loop",
        "30 cm",
        "--mass",
        "1.40 g",
        "--orings",
        "0.08 g",
    ]
    program = [sys.executable, "-m", "winding_coach", *words, "--ratio", "10", "--hooks", "22 cm", "--motor", "th-07"]
    program += ["--home", str(tmp_path / "home")]

    def tmux(*more: str) -> str:
        return subprocess.run(
            ["tmux", "-S", str(socket), *more], capture_output=True, text=True, check=True, timeout=20
        ).stdout

    def until(what: str) -> str:
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            seen = tmux("capture-pane", "-p", "-t", "wind")
            if what in seen:
                return seen
            time.sleep(0.05)
        raise AssertionError(f"{what!r} was never shown:\n{seen}")

    tmux("new-session", "-d", "-s", "wind", "-x", "80", "-y", "24", f"{shlex.join(program)}; sleep 60")
    try:
        until("Before you start")
        until("Keep cranking")
        until("motor's label")
        tmux("send-keys", "-t", "wind", "q")
        until("Saved as")
    finally:
        tmux("kill-server")
    (trace,) = (tmp_path / "home" / "traces").glob("*.wind.jsonl")
    found = read_trace(trace)
    assert found.summary is not None
    assert found.summary["outcome"] == "done"
