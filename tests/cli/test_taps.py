"""A meter that dies in mid-wind, on a real pseudo-terminal: taps on the keys carry the wind to its end."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.scenario import SETTINGS
from winding_coach.live.sources.simulated import SimulatedMeter

pytestmark = [pytest.mark.usefixtures("hurried_disk"), pytest.mark.no_cover]
MOTOR = ["--loop", "30 cm", "--mass", "1.40 g", "--orings", "0.08 g", "--hooks", "22 cm"]
MOST_LINES = 5000


class Coached:
    """A `wind --headless --json` in a process of its own."""

    def __init__(self, device: str) -> None:
        words = ["wind", "--port", device, "--calibration", "simulated", "--headless", "--json", *MOTOR]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "winding_coach", *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )

    def press(self, name: str, times: int = 1) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{name}\n" * times)
        self.process.stdin.flush()

    def until(self, **wanted: Any) -> dict[str, Any]:
        """The next line with these values."""
        assert self.process.stdout is not None
        for _ in range(MOST_LINES):
            line = json.loads(self.process.stdout.readline())
            if all(line.get(key) == value for key, value in wanted.items()):
                return dict(line)
        raise AssertionError(wanted)


def test_a_wind_whose_meter_is_pulled_out_ends_within_two_per_cent_of_its_target(home: Path) -> None:
    meter = SimulatedMeter(["--script", "good", "--speed", "10", "--fault", "unplug@70:9999", *MOTOR])
    coached = Coached(meter.device)
    try:
        coached.until(event="phase", phase="wind_stretched")
        coached.until(event="alarm", code="meter_silent", active=True)
        coached.press("count")
        left = coached.until(event="prompt", code="count_on")["crank_turns"]
        assert left > 20
        coached.press("count", round(left))
        coached.until(event="phase", phase="back_off")
        off = coached.until(event="prompt", code="back_off")["crank_turns"]
        coached.press("count", round(off + 0.5))
        coached.until(event="phase", phase="ready")
        coached.press("next")
        found = coached.until(event="summary")
        assert coached.process.wait(60) == 0
    finally:
        coached.process.kill()
        coached.process.communicate()
        meter.close()
    assert found["outcome"] == "done"
    assert found["peak_turns"] == pytest.approx(SETTINGS.plan.target_turns, rel=0.02)
    assert found["launch_turns"] == pytest.approx(
        SETTINGS.plan.target_turns - SETTINGS.plan.back_off_turns, abs=1.5 * SETTINGS.winder.ratio
    )
