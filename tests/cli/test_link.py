"""A wind by the real program over a real port on which all goes wrong at once: nothing false is shown, all is kept."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.test_coaching import SMALL, Processes, lines_until, start
from tests.cli.test_main import run
from tests.scenario import SMALL as SETTINGS
from tests.scenario import coached, wind
from winding_coach.traces.files import read_trace

FAULTS = (
    *("reset@25", "reset@37", "unplug@16:4", "silent@31:3", "garbage@21:0.5"),
    *("flip=0.0005", "lost=0.01", "cut=0.01"),
)


def test_resets_gaps_and_damaged_lines_in_one_wind(home: Path, tmp_path: Path, processes: Processes) -> None:
    link = tmp_path / "meter"
    faults = [word for fault in FAULTS for word in ("--fault", fault)]
    # No faster: steps and the back-off are told apart by how many seconds torque lies low.
    words = ("--speed", "3", "--seed", "1", "--link", str(link), "--wait", *faults)
    meter = start(processes, "meter", "emulate", *SMALL, *words)
    lines_until(meter, str(link))
    coach_words = ("--port", str(link), "--calibration", "simulated", "--headless", "--json", "--readings", "100")
    coach = start(processes, "wind", *SMALL, *coach_words)
    events = [json.loads(line) for line in lines_until(coach, '"summary"')]
    assert coach.wait(20) == 0

    _, clean = coached(wind("good", 1, settings=SETTINGS), SETTINGS)
    peak_mNm = clean[-1].as_json()["peak_torque_mNm"]
    shown = [event["torque_mNm"] for event in events if event["event"] == "reading" and event["torque_mNm"] is not None]
    # How many there are depends on how busy the computer is; each of them must be right.
    assert len(shown) > 50
    # The cell's zero is 0.06 mN·m off by design until the tare.
    assert min(shown) > -0.2
    assert max(shown) < 1.05 * peak_mNm
    states = [event["state"] for event in events if event["event"] == "link"]
    assert states.count("up") >= 2
    assert "down" in states
    assert events[-1]["outcome"] == "done"
    assert abs(events[-1]["peak_torque_mNm"] / peak_mNm - 1) < 0.05
    assert events[-1]["lost_lines"] > 20
    (trace,) = (home / "traces").glob("*.wind.jsonl")
    assert read_trace(trace).summary == events[-1]
    check = run("replay", str(trace), "--check")
    assert check.returncode == 0, check.stderr
