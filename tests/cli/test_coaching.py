"""`wind`, `practice` and `replay` as their user runs them: real processes, a real pseudo-terminal, real files."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from tests.cli.test_main import run
from winding_coach.cli import main
from winding_coach.traces.files import read_trace

MOTOR = ("--loop", "30 cm", "--mass", "1.40 g", "--orings", "0.08 g", "--hooks", "22 cm", "--motor", "th-07")
SMALL = ("--loop", "10 cm", "--mass", "0.467 g", "--orings", "0.027 g", "--hooks", "7.5 cm", "--motor", "th-02")
"""A third of that motor: wound in half the time, for tests that only need a wind."""


Processes = list[subprocess.Popen[str]]
PATIENCE_S = 240.0


def start(processes: Processes, *words: str, stdin: int = subprocess.DEVNULL) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-m", "winding_coach", *words],
        stdin=stdin,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    processes.append(process)
    return process


def lines_until(process: subprocess.Popen[str], what: str) -> list[str]:
    """Lines of its output until one holds `what`; a program that never says it is ended, so that no test hangs."""
    assert process.stdout is not None
    lines = []
    patience = threading.Timer(PATIENCE_S, process.kill)
    patience.start()
    try:
        for line in process.stdout:
            lines.append(line)
            if what in line:
                return lines
    finally:
        patience.cancel()
    raise AssertionError(f"it ended without saying {what!r}: {lines[-3:]}")


def test_a_practised_wind_is_saved_and_replays_the_same(home: Path) -> None:
    done = run("practice", *SMALL, "--script", "good", "--speed", "max", "--headless", "--json", "--readings", "2")
    assert done.returncode == 0, done.stderr
    events = [json.loads(line) for line in done.stdout.splitlines()]
    assert {event["event"] for event in events} >= {"link", "phase", "prompt", "alarm", "reading", "summary"}
    assert events[-1]["event"] == "summary"
    (trace,) = (home / "traces").glob("*.wind.jsonl")
    assert events[-1]["trace"] == trace.name
    check = run("replay", str(trace), "--check")
    assert check.returncode == 0, check.stderr
    assert "the same" in check.stdout
    again = run("replay", str(trace), "--speed", "max", "--headless", "--json")
    spoken = [event | {"trace": None} if event["event"] == "summary" else event for event in events]
    told = [json.loads(line) for line in again.stdout.splitlines()]
    assert told == [event for event in spoken if event["event"] != "reading"]


def test_every_field_of_the_contract_is_there(home: Path) -> None:
    done = run("practice", *SMALL, "--script", "stall", "--speed", "max", "--headless", "--json", "--readings", "1")
    fields = {
        "link": {"state", "port", "reason"},
        "phase": {"phase"},
        "prompt": {"code", "text"},
        "alarm": {"code", "level", "active", "text"},
        "reading": {
            *("torque_mNm", "torque_rate_mNm_per_s", "torque_rate_sd_mNm_per_s", "turns", "turns_source"),
            *("distance_m", "crank_rev_per_s", "cranking", "turns_left", "break_risk"),
        },
        "summary": {
            *("trace", "outcome", "peak_torque_mNm", "peak_turns", "backed_off_turns", "launch_torque_mNm"),
            *(
                "launch_turns",
                "energy_stored_J",
                "stalls",
                "stalled_s",
                "time_in_rate_band",
                "lost_lines",
                "duration_s",
            ),
        },
    }
    for line in done.stdout.splitlines():
        event = json.loads(line)
        assert fields[event["event"]] | {"event", "at_s"} <= set(event)


def test_plain_sentences_are_sentences(home: Path) -> None:
    words = ("--script", "good", "--speed", "max", "--headless", "--readings", "0.2", "--units", "inch")
    done = run("practice", *SMALL, *words)
    lines = done.stdout.splitlines()
    assert all(line.endswith(".") for line in lines)
    assert any("ozf·in" in line for line in lines)
    assert not any("mN·m" in line for line in lines)
    assert "Saved as" in lines[-1]


def test_a_wind_on_an_emulated_meter_over_a_pseudo_terminal(home: Path, processes: Processes) -> None:
    words = ("--port", "sim", "--sim-script", "good", "--sim-speed", "5", *SMALL, "--headless", "--json")
    done = run("wind", *words)
    assert done.returncode == 0, done.stderr
    events = [json.loads(line) for line in done.stdout.splitlines()]
    assert [event["phase"] for event in events if event["event"] == "phase"][-1] == "done"
    (trace,) = (home / "traces").glob("*th-02.wind.jsonl")
    assert run("replay", str(trace), "--check").returncode == 0


def test_a_killed_wind_is_readable_and_the_meter_goes_with_it(home: Path, processes: Processes) -> None:
    wind = start(processes, "wind", "--port", "sim", "--sim-speed", "5", *SMALL, "--headless", "--json")
    lines_until(wind, '"walk_in"')
    wind.send_signal(signal.SIGKILL)
    wind.wait(10)
    (trace,) = (home / "traces").glob("*.wind.jsonl")
    found = read_trace(trace)
    assert found.summary is None
    assert [said["phase"] for _, said in found.said if said["event"] == "phase"][-1] == "walk_in"
    assert run("replay", str(trace), "--check").returncode == 0


@pytest.mark.parametrize("how", ["stdin", "SIGINT", "SIGTERM"])
def test_a_wind_is_closed_and_saved_when_it_is_ended(home: Path, processes: Processes, how: str) -> None:
    words = ("wind", "--port", "sim", *MOTOR, "--headless", "--json")
    wind = start(processes, *words, stdin=subprocess.PIPE)
    assert wind.stdin is not None
    lines_until(wind, '"tare"')
    if how == "stdin":
        wind.stdin.write("next\nnonsense\nquit\n")
        wind.stdin.flush()
    else:
        wind.send_signal(getattr(signal, how))
    rest, errors = wind.communicate(timeout=20)
    assert wind.returncode == 0
    summary = json.loads(rest.splitlines()[-1])
    assert summary["event"] == "summary"
    assert summary["outcome"] == "stopped"
    if how == "stdin":
        assert "There is no key" in errors
        assert '"stretch_out"' in rest
    (trace,) = (home / "traces").glob("*.wind.jsonl")
    assert read_trace(trace).summary == summary


def test_unplugging_and_replugging_in_mid_wind(home: Path, tmp_path: Path, processes: Processes) -> None:
    link = tmp_path / "meter"
    meter = start(
        processes,
        "meter",
        "emulate",
        *MOTOR,
        *("--speed", "10", "--wait", "--link", str(link), "--fault", "unplug@60:30"),
    )  # no faster: the rules hold in real seconds, and a back-off of half a second is a motor that broke
    lines_until(meter, str(link))
    wind = start(processes, "wind", "--port", str(link), "--calibration", "simulated", *MOTOR, "--headless", "--json")
    lines_until(wind, '"down"')
    lines_until(wind, '"up"')
    out = lines_until(wind, '"summary"')
    events = [json.loads(line) for line in out]
    assert events[-1]["outcome"] == "done"
    wind.wait(20)
    (trace,) = (home / "traces").glob("*.wind.jsonl")
    assert run("replay", str(trace), "--check").returncode == 0


def said(capsys: pytest.CaptureFixture[str], status: int, *words: str) -> str:
    """Run in this process; return the one sentence on stderr."""
    assert main(list(words)) == status
    error = capsys.readouterr().err
    assert "Traceback" not in error
    assert error.count("\n") == 1
    return error


def test_wrong_input_gets_one_clear_sentence(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    headless = ("--headless",)
    assert "--loop and --mass" in said(capsys, 2, "wind", "--port", "sim", "--loop", "30cm", *headless)
    assert "impossible for a strip" in said(
        capsys, 2, "wind", "--port", "sim", "--loop", "30cm", "--mass", "900g", *headless
    )
    assert "no calibration: make one with 'meter calibrate'" in said(capsys, 1, "wind", *MOTOR, *headless)
    assert "--json goes with" in said(capsys, 2, "wind", "--port", "sim", *MOTOR, "--json")
    assert "--readings" in said(capsys, 2, "wind", "--port", "sim", *MOTOR, *headless, "--readings", "fast")
    assert "--readings goes" in said(capsys, 2, "wind", "--port", "sim", *MOTOR, "--readings", "5")
    assert "needs a terminal" in said(capsys, 2, "practice", "--script", "good")
    assert "There is no trace" in said(capsys, 1, "replay", str(tmp_path / "none"), *headless)
    (tmp_path / "no").write_text("hello\n")
    assert "line 1 is not JSON" in said(capsys, 1, "replay", str(tmp_path / "no"), "--check")
    assert "neither a number" in said(capsys, 2, "replay", str(tmp_path / "no"), "--speed", "quick")
    assert "no style" in said(capsys, 2, "practice", "--script", "dance", *headless)
    assert "--seed" in said(capsys, 2, "practice", "--script", "good", "--seed", "x", *headless)
    assert "--speed" in said(capsys, 2, "practice", "--script", "good", "--speed", "0", *headless)
    assert "--calibration" not in said(capsys, 1, "wind", *MOTOR, *headless, "--calibration", str(tmp_path / "no"))
    assert "cannot be read" in said(capsys, 1, "wind", *MOTOR, *headless, "--calibration", str(tmp_path))
    (tmp_path / "bytes").write_bytes(b"\xff\xfe")
    assert "not a text file" in said(capsys, 1, "wind", *MOTOR, *headless, "--calibration", str(tmp_path / "bytes"))
    taken = home.parent / "taken"
    taken.write_text("")
    assert "not a folder" in said(capsys, 1, "practice", "--script", "good", *headless, "--home", str(taken))


@pytest.mark.skipif(os.geteuid() != 0, reason="only the superuser can take the write permission from everybody")
def test_no_place_for_the_trace_is_a_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "traces").write_text("in the way")
    sentence = said(capsys, 1, "practice", "--script", "good", "--speed", "max", "--headless", "--home", str(tmp_path))
    assert "No trace can be written" in sentence


def test_a_wrong_word_about_the_simulated_meter_names_its_own_option(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ("wind", "--port", "sim", *MOTOR, "--headless")
    assert "--sim-script: there is no style 'dance'" in said(capsys, 2, *words, "--sim-script", "dance")
    assert "--sim-speed" in said(capsys, 2, *words, "--sim-speed", "0")
    assert not (home / "traces").exists()


def test_replay_with_another_calibration_differs_and_says_where(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("practice", *SMALL, "--script", "good", "--speed", "max", "--headless").returncode == 0
    (trace,) = (home / "traces").glob("*.wind.jsonl")
    from dataclasses import replace

    from winding_coach.meter.calibration import SIMULATED

    other = tmp_path / "other.json"
    other.write_text(replace(SIMULATED, Nm_per_count=1.1 * SIMULATED.Nm_per_count).to_json())
    sentence = said(capsys, 1, "replay", str(trace), "--check", "--calibration", str(other))
    assert "differs: after input" in sentence
