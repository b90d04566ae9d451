"""`watch`: which trace it follows, what it refuses, and that it sees what the wind's own coach saw."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from tests.scenario import MODEL, MOTOR, PLAN, SETTINGS, WINDER, coached, wind
from winding_coach.cli import main
from winding_coach.cli.commands.watch import Watched, newest_trace
from winding_coach.live.sources.clock import started_now
from winding_coach.meter.calibration import SIMULATED
from winding_coach.traces.files import TraceWriter
from winding_coach.traces.header import Header
from winding_coach.traces.rows import TraceError


def written(folder: Path, style: str, until_s: float) -> Path:
    header = Header("id", started_now(), calibration=SIMULATED, motor=MOTOR, winder=WINDER, model=MODEL, plan=PLAN)
    writer = TraceWriter(folder, header)
    for event in wind(style):
        if event.at_s > until_s:
            break
        writer.input(event)
    writer.close()
    return writer.path


def until(said: object, wanted: object) -> None:
    """Wait a little for a thread."""
    assert callable(said)
    deadline = time.monotonic() + 5.0
    while said() != wanted and time.monotonic() < deadline:
        time.sleep(0.01)
    assert said() == wanted


def test_it_sees_what_the_wind_s_own_coach_saw(tmp_path: Path) -> None:
    path = written(tmp_path, "good", 30.0)
    watched = Watched(lambda: path, fixed=True)
    watched.start()
    try:
        events = [event for event in wind("good") if event.at_s <= 30.0]
        coach, _ = coached(events, SETTINGS)
        until(lambda: watched.view.reading.turns, coach.view.reading.turns)
        assert watched.view.phase is coach.view.phase
        assert watched.trace_name == path.name
        assert watched.trouble is None
        assert watched.curve.points()
        watched.press("stop")
    finally:
        watched.stop()
    assert watched.finished


def test_after_one_wind_it_goes_on_to_the_next(tmp_path: Path) -> None:
    now = [0.0]
    first = written(tmp_path, "good", 5.0)
    with first.open("a") as file:
        file.write('{"event":"summary","at_s":5.0,"outcome":"stopped"}\n')
    which = [first]
    watched = Watched(lambda: which[0], fixed=False, clock=lambda: now[0])
    watched.start()
    try:
        until(lambda: watched.finished, True)
        which[0] = tmp_path / "gone"
        now[0] += 2.0
        until(lambda: watched.view.summary is not None, True)
        which[0] = written(tmp_path, "good", 6.0)
        now[0] += 2.0
        until(lambda: watched.view.summary is None, True)
        assert watched.trace_name == which[0].name
    finally:
        watched.stop()


def test_the_newest_trace_is_the_one_written_to_last(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match="no trace to watch"):
        newest_trace(tmp_path)
    old, new = written(tmp_path, "good", 1.0), written(tmp_path, "good", 1.0)
    os.utime(old, (1000, 1000))
    assert newest_trace(tmp_path) == new


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (["watch"], 1, "no trace to watch"),
        (["watch", "none.wind.jsonl"], 1, "cannot be read"),
        (["watch", "--serve", "here"], 2, "is no address"),
        (["watch", "--serve", "127.0.0.1:99999"], 2, "is no address"),
    ],
)
def test_what_cannot_be_watched_is_said(
    words: list[str], status: int, said: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == status
    assert said in capsys.readouterr().err


def test_a_screen_needs_a_terminal_and_a_page_an_address(
    tmp_path: Path, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(written(tmp_path, "good", 1.0))
    assert main(["watch", path]) == 2
    assert "needs a terminal" in capsys.readouterr().err
    assert main(["watch", path, "--serve", "203.0.113.77:8270"]) == 1  # TEST-NET-3 (RFC 5737): never ours.
    assert "No page can be served" in capsys.readouterr().err
