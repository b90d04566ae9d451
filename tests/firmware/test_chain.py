"""A wind of a small motor through the real chain: bench → converter → firmware → UART → pyserial → coach → trace."""

from __future__ import annotations

import mmap
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import groupby, pairwise
from pathlib import Path
from typing import Any

import pytest

from tests.firmware.build import Script, run_rig
from tests.scenario import SMALL, coached, wind
from winding_coach.app.beginning import header_for
from winding_coach.base.inputs import BytesArrived, Input, LinkUp
from winding_coach.coach.said import Said
from winding_coach.coach.step import Coach
from winding_coach.keeping.replaying import difference, settings_of
from winding_coach.live.session import Session
from winding_coach.live.sources.serial_port import SerialSource
from winding_coach.meter.frames import RAW_MAX, FrameParser, Sample
from winding_coach.simulator.bench import MeterModel
from winding_coach.traces.files import TraceWriter, read_trace

pytestmark = pytest.mark.no_cover
QUARTER_S = 0.02
STEPS = (("a", True), ("b", True), ("a", False), ("b", False))
"""Of a turn forwards: the first switch closes, the second, the first opens, the second."""
BENCH = MeterModel(channels="qdt", clock_ppm=0.0, jitter_us=0.0)


def good_wind() -> tuple[Input, ...]:
    return wind("good", 3, BENCH, settings=SMALL)


def bench_samples() -> list[Sample]:
    """What the bench's own meter would have sent: the converter's counts, turns and distances of a good wind."""
    parser = FrameParser()
    data = [event.data for event in good_wind() if isinstance(event, BytesArrived)]
    return [frame for part in data for frame in parser.feed(part) if isinstance(frame, Sample)]


def script_of(samples: list[Sample]) -> Script:
    """What the converter, the switches and the analogue inputs see of a wind."""
    script = Script()
    free_s = 0.0
    for sample in samples:
        # Between two conversions of the modelled converter, which gives the first after 56 ms.
        at_s = sample.t_us / 1e6
        script.at(at_s, "raw", sample.raw or 0)
        script.at(at_s, "adc0", round((sample.distance_mm or 0) * 5000 / 4000))
        script.at(at_s, "adc1", 500 + (sample.temperature_dC or 0))
    for before, after in pairwise(samples):
        change = (after.crank or 0) - (before.crank or 0)
        if change > 2**15:
            change -= 2**16
        if change < -(2**15):
            change += 2**16
        for _ in range(abs(change)):
            free_s = max(free_s, after.t_us / 1e6 - 4 * QUARTER_S)
            for pin, closes in STEPS if change > 0 else tuple((pin, not closes) for pin, closes in reversed(STEPS)):
                script.switch(free_s, pin, closes=closes)
                free_s += QUARTER_S
    return script


def words(said: list[Said], event: str, key: str) -> list[Any]:
    rows = [one.as_json() for one in said]
    return [row[key] for row in rows if row["event"] == event and row.get("active", True)]


def test_the_firmware_gives_the_coach_the_wind_that_the_bench_gave(
    rig: Path, firmware_all_channels: Path, tmp_path: Path
) -> None:
    samples = bench_samples()
    script = script_of(samples).at(samples[-1].t_us / 1e6 + 0.5, "end")
    run = run_rig(rig, firmware_all_channels, script, tmp_path)
    assert run.seen["torn"] == run.seen["wrong_clocks"] == run.seen["untaken"] == 0
    # Arrival times are the bytes' own rate: the coach takes rates from device time.
    pieces = [run.wire[i : i + 150] for i in range(0, len(run.wire), 150)]
    duration_s = samples[-1].t_us / 1e6
    inputs: list[Input] = [LinkUp(0.0, "firmware")]
    inputs += [BytesArrived(round(duration_s * (i + 1) / len(pieces), 6), piece) for i, piece in enumerate(pieces)]
    coach, said = coached(inputs, SMALL)
    bench_coach, bench_said = coached(good_wind(), SMALL)
    assert words(said, "phase", "phase") == words(bench_said, "phase", "phase")
    found, expected = coach.summary, bench_coach.summary
    assert found is not None
    assert expected is not None
    ours, benchs = found.as_json(), expected.as_json()
    assert ours["outcome"] == "done"
    assert ours["lost_lines"] == 0
    for key in ("peak_torque_mNm", "launch_torque_mNm", "energy_stored_J"):
        assert ours[key] == pytest.approx(benchs[key], rel=0.01)
    for key in ("peak_turns", "launch_turns"):
        assert ours[key] == pytest.approx(benchs[key], abs=10.1), key


RESET_S, SATURATED_S, GARBAGE_S, UNPLUGGED_S, PLUGGED_S = 16.0, 20.0, 24.0, 33.0, 36.0
GIVEN_UP_S = 240.0


class RigClock:
    """The rig's time as the host's clock: the rig waits for whoever looks, so a busy machine changes nothing."""

    def __init__(self, path: Path) -> None:
        path.write_bytes(bytes(16))
        with path.open("r+b") as file:
            self._words = mmap.mmap(file.fileno(), 16)

    def now(self) -> float:
        """Return the rig's seconds, and let it go on."""
        word = self._words[:8]
        self._words[8:] = word
        return int.from_bytes(word, "little") / 1e6

    def sleep(self, seconds: float) -> None:
        """Wait for seconds of the rig, which may have ended."""
        end_s, give_up_s = self.now() + seconds, time.monotonic() + 1.0
        while self.now() < end_s and time.monotonic() < give_up_s:
            time.sleep(1e-4)


@contextmanager
def running(rig: Path, firmware: Path, script: Path, link: Path, clock: Path) -> Iterator[None]:
    command = [str(part) for part in (rig, firmware, script, "--port", link, clock)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        deadline = time.monotonic() + 10
        while not link.exists() and time.monotonic() < deadline:
            time.sleep(0.005)
        yield
    finally:
        process.kill()
        process.wait(10)


def test_a_wind_through_a_real_port_with_all_that_can_go_wrong(
    rig: Path, firmware_all_channels: Path, tmp_path: Path
) -> None:
    samples = bench_samples()
    script = script_of(samples)
    script.at(RESET_S, "resetmid", 0x02)
    # Full scale for a moment: the events of the wind itself are taken out meanwhile.
    spared = [
        (at, word, value)
        for at, word, value in script.events
        if word != "raw" or not 0.0 <= at / 1e6 - SATURATED_S < 0.5
    ]
    script.events[:] = spared
    script.at(SATURATED_S, "raw", RAW_MAX)
    script.at(GARBAGE_S, "garbage", 300)
    script.at(UNPLUGGED_S, "unplug").at(PLUGGED_S, "plug")
    script.at(samples[-1].t_us / 1e6 + 10.0, "end")
    link = tmp_path / "meter"
    said: list[Said] = []
    clock = RigClock(tmp_path / "clock")
    with running(rig, firmware_all_channels, script.write(tmp_path / "script.txt"), link, tmp_path / "clock"):
        source = SerialSource(str(link), clock=clock.now, sleep=clock.sleep, list_ports=list)
        coach = Coach(SMALL)
        writer = TraceWriter(tmp_path / "traces", header_for(SMALL, source.started, str(link), "Wren"))
        session = Session(source, coach, writer, heard=said.append)
        session.start()
        deadline = time.monotonic() + GIVEN_UP_S
        while not session.finished and time.monotonic() < deadline:
            time.sleep(0.02)
        session.stop()
    assert session.failure is None
    summary = session.summary
    assert summary is not None
    row = summary.as_json()
    assert row["outcome"] == "done"
    # What the bench knows, in spite of everything: the meter lost its count at the reset, and what came while the
    # lead was out was told by the counter afterwards.
    expected = coached(good_wind(), SMALL)[0].summary
    assert expected is not None
    assert row["peak_torque_mNm"] == pytest.approx(expected.as_json()["peak_torque_mNm"], rel=0.02)
    assert row["peak_turns"] == pytest.approx(expected.as_json()["peak_turns"], abs=20.1)
    phases = words(said, "phase", "phase")
    assert phases[:5] == ["hook_up", "stretch_out", "wind_stretched", "walk_in", "final_turns"]
    alarms = set(words(said, "alarm", "code"))
    assert {"meter_saturated", "meter_silent"} <= alarms
    assert not {"motor_broke", "not_this_motor"} & alarms
    links = words(said, "link", "state")
    # "up" is said again where this computer was too busy to read for a second of the rig's time, and left bytes out.
    assert [state for state, _ in groupby(links)].count("up") == 2
    assert "down" in links
    (path,) = (tmp_path / "traces").iterdir()
    trace = read_trace(path)
    wire = b"".join(event.data for event in trace.inputs if isinstance(event, BytesArrived))
    assert b"rst=ext" in wire
    assert difference(trace, settings_of(trace)) is None
    assert row["launch_torque_mNm"] == pytest.approx(expected.as_json()["launch_torque_mNm"], rel=0.02)
