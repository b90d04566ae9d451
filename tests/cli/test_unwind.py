"""`unwind` as it is typed: a real child, a real pseudo-terminal, a real shelf; turns left go to the flight."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import pytest

from tests.cli.test_shelf import as_object, refused, said
from tests.scenario import SETTINGS
from tests.shelf.examples import a_wind
from winding_coach.cli import main
from winding_coach.live.sources.simulated import SimulatedMeter
from winding_coach.shelf.records import Flight
from winding_coach.shelf.store import Shelf
from winding_coach.simulator.letting_down import landed
from winding_coach.traces.files import TraceWriter
from winding_coach.traces.header import Header

pytestmark = pytest.mark.usefixtures("hurried_disk")
SIM = ("unwind", "--port", "sim", "--sim-speed", "5", "--headless")


@pytest.fixture(autouse=True)
def own_home(home: Path) -> Path:
    return home


def ran(*words: str) -> subprocess.CompletedProcess[str]:
    """A command in a process of its own, as it is typed."""
    command = [sys.executable, "-m", "winding_coach", *words]
    return subprocess.run(command, capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=120)


def truth(share: float) -> float:
    return landed(SETTINGS.plan, SETTINGS.motor, share).turns


def kept_wind(home: Path) -> str:
    """A wind on the shelf with its trace; return its id."""
    wind = a_wind(1, launch_turns=1275.0, peak_turns=None)
    header = Header(
        wind.id,
        datetime.fromisoformat(wind.started),
        calibration=SETTINGS.calibration,
        motor=SETTINGS.motor,
        winder=SETTINGS.winder,
        model=SETTINGS.model,
        plan=SETTINGS.plan,
    )
    writer = TraceWriter(home / "traces", header)
    writer.said({"event": "summary", "at_s": 1.0, "outcome": "done", "launch_turns": 1275.0, "energy_stored_J": 12.0})
    writer.close()
    with Shelf(home / "shelf.sqlite") as shelf:
        assert shelf.winds() == []
    return wind.id


def test_a_simulated_motor_is_let_down_and_counted(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    done = ran(*SIM, "--left", "20", "--json")
    assert done.returncode == 0, done.stderr
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    found = lines[-1]
    assert (found["event"], found["how"]) == ("unwound", "counted")
    assert found["turns_left"] == pytest.approx(truth(0.2), abs=SETTINGS.winder.ratio)
    assert [line["phase"] for line in lines if line["event"] == "phase"] == ["hook_up", "let_down", "empty"]
    (kept,) = (home / "unwindings").iterdir()
    assert found["trace"] == kept.name
    again = said(capsys, "unwind", "--again", str(kept))
    assert re.match(rf"{found['turns_left']:.0f} ", again)
    assert "unwind --again" in refused(capsys, 1, "replay", str(kept), "--headless")
    assert "No such wind" in said(capsys, "shelf", "winds")


def test_the_flight_of_the_wind_gets_its_turns_left(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wind = kept_wind(home)
    meter = SimulatedMeter(["--left", "25", "--speed", "20", "--loop", "30 cm", "--mass", "1.40 g", "--orings",
                            "0.08 g", "--hooks", "22 cm"])  # fmt: skip
    try:
        done = ran("unwind", "--port", meter.device, "--calibration", "simulated", "--headless")
    finally:
        meter.close()
    assert (done.returncode, "How long it flew" in done.stderr) == (0, True), done.stderr
    flight = as_object(capsys, "flight", "6:52")
    assert flight["wind"] == wind
    assert flight["duration_s"] == 412.0
    assert flight["turns_left"] == pytest.approx(truth(0.25), abs=SETTINGS.winder.ratio)
    assert flight["energy_used_J"] is not None
    with Shelf(home / "shelf.sqlite") as shelf:
        assert len(shelf.flights()) == 1


def test_turns_left_that_were_typed_are_not_overwritten(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wind = kept_wind(home)
    said(capsys, "flight", "6:52", "--left", "200")
    meter = SimulatedMeter(["--left", "25", "--speed", "20", "--loop", "30 cm", "--mass", "1.40 g", "--orings",
                            "0.08 g", "--hooks", "22 cm"])  # fmt: skip
    try:
        done = ran("unwind", "--port", meter.device, "--calibration", "simulated", "--headless")
    finally:
        meter.close()
    assert (done.returncode, "has 200 turns left already" in done.stderr) == (0, True), done.stderr
    with Shelf(home / "shelf.sqlite") as shelf:
        (kept,) = shelf.flights([wind])
    assert isinstance(kept, Flight)
    assert kept.turns_left == 200.0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--port", "sim", "--left", "many"), "--left"),
        (("--wind", "last"), "no wind"),
        (("--again", "nowhere.jsonl"), "nowhere.jsonl"),
        ((), "needs --loop and --mass"),
    ],
)
def test_wrong_words_are_one_sentence(capsys: pytest.CaptureFixture[str], words: tuple[str, ...], says: str) -> None:
    assert main(["unwind", "--headless", *words]) in (1, 2)
    error = capsys.readouterr().err
    assert says in error
    assert error.count("\n") == 1
