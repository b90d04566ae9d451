"""A simulated meter in a process of its own: a real child, a real pseudo-terminal, and nothing left behind."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.sources.helpers import eventually, until
from winding_coach.base.inputs import BytesArrived, LinkDown, LinkUp
from winding_coach.live.sources import simulated
from winding_coach.live.sources.serial_port import SerialSource
from winding_coach.live.sources.simulated import SimulatedMeter, SimulatedMeterError
from winding_coach.meter.frames import FrameParser, Hello


@pytest.fixture
def temporary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Where the meter makes its folder; it must be empty again afterwards."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    yield tmp_path
    assert list(tmp_path.iterdir()) == []


def test_speaks_to_a_serial_source_and_ends_with_it(temporary: Path) -> None:
    meter = SimulatedMeter(["--seed", "3"])
    try:
        assert Path(meter.device).is_symlink()
        assert Path(meter.device).is_relative_to(temporary)
        source = SerialSource(meter.device)
        assert until(source, LinkUp)[0].port == meter.device
        parser = FrameParser()
        heard: list[object] = []

        def said_hello(event: BytesArrived) -> bool:
            heard.extend(parser.feed(event.data))
            return any(isinstance(frame, Hello) for frame in heard)

        until(source, BytesArrived, said_hello)
        source.close()
    finally:
        meter.close()
    assert not os.path.lexists(meter.device)


def test_a_child_that_says_why_it_will_not(temporary: Path) -> None:
    with pytest.raises(SimulatedMeterError, match=r"^The simulated meter did not start: .*fault") as caught:
        SimulatedMeter(["--fault", "earthquake@5"])
    assert "\n" not in str(caught.value)
    assert "Traceback" not in str(caught.value)
    assert temporary.exists()


def test_a_child_that_says_nothing(temporary: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/bin/true")
    with pytest.raises(SimulatedMeterError, match="it gave no port"):
        SimulatedMeter([])
    assert temporary.exists()


def test_a_system_without_pseudo_terminals_takes_a_local_socket(
    temporary: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delattr(os, "openpty")
    meter = SimulatedMeter(["--seed", "3", "--fault", "unplug@2:1", "--speed", "4"])
    try:
        assert meter.device.startswith("socket://127.0.0.1:")
        source = SerialSource(meter.device)
        until(source, LinkUp)
        until(source, BytesArrived)
        until(source, LinkDown)
        assert until(source, LinkUp)[0].port == meter.device
        parser = FrameParser()
        until(source, BytesArrived, lambda event: any(isinstance(one, Hello) for one in parser.feed(event.data)))
        source.close()
    finally:
        meter.close()
    assert temporary.exists()


def test_a_child_that_will_not_end_is_killed(temporary: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stubborn = temporary / "stubborn"
    stubborn.write_text("#!/bin/sh\ntrap '' TERM HUP\necho there\nexec sleep 60\n")
    stubborn.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(stubborn))
    monkeypatch.setattr(simulated, "ENDS_WITHIN_S", 0.05)
    started: list[subprocess.Popen[str]] = []
    popen = subprocess.Popen

    def noted(*words: object, **how: object) -> subprocess.Popen[str]:
        started.append(popen(*words, **how))  # type: ignore[call-overload]
        return started[-1]

    monkeypatch.setattr(subprocess, "Popen", noted)
    meter = SimulatedMeter([])
    meter.close()
    assert started[0].poll() == -9
    stubborn.unlink()


def test_it_ends_when_its_parent_is_killed() -> None:
    """Its standard input closes, however the parent ended."""
    parent = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "from winding_coach.live.sources.simulated import SimulatedMeter as M; import time\n"
            "m = M([]); print(m.device, m._child.pid, flush=True); time.sleep(60)",
        ],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert parent.stdout is not None
    device, _ = parent.stdout.readline().split()
    assert Path(device).is_symlink()
    parent.kill()
    parent.wait()
    parent.stdout.close()
    eventually(lambda: not Path(device).is_symlink())
    Path(device).parent.rmdir()
