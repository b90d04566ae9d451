"""Numbers alone, as lines of the protocol: what they become, on a real pseudo-terminal too."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from winding_coach.cli import main
from winding_coach.live.sources.wires import open_wire
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.plain_lines import TORQUE_PER_COUNT_NM, PlainLines, counts_of
from winding_coach.meter.reader import MeterReader, TorqueSample


@pytest.mark.parametrize(
    ("line", "counts"),
    [
        ("84211", 84_211),
        ("-17", -17),
        (" raw: 84211 ", 84_211),
        ("Reading= 12.6", 13),
        ("84211 counts", 84_211),
        ("3.52 mN.m", round(3.52e-3 / TORQUE_PER_COUNT_NM)),
        ("0.5 ozf.in", round(0.5 * 7.061552e-3 / TORQUE_PER_COUNT_NM)),  # NIST SP 811
        ("12 g", None),
        ("HX711 ready", None),
        ("1,2,3", None),
        ("nan", None),
        ("", None),
    ],
)
def test_what_a_line_means(line: str, counts: int | None) -> None:
    found = counts_of(line)
    assert found == counts if counts is None or abs(counts) < 1e5 else found == pytest.approx(counts, abs=1)


def test_numbers_become_samples_with_times_of_arrival() -> None:
    plain, reader = PlainLines(), MeterReader(SIMULATED)
    samples: list[TorqueSample] = []
    for i in range(100):
        # Ten lines/s in pairs, cut in mid-number.
        text = f"{84_200 + i}\r\n{84_300 + i}\r\n".encode()
        assert plain.translate(0.2 * i + 0.1, text[:4]) in (b"",) or i
        samples += reader.feed(plain.translate(0.2 * i + 0.2, text[4:]))
    assert len(samples) == 199, "the first may be cut"
    assert reader.bad_lines == 0
    assert samples[-1].raw == 84_399
    steps = np.diff([sample.device_s for sample in samples[2:]])
    assert steps == pytest.approx(np.full(steps.size, 0.1), abs=1e-5)
    assert reader.hello is not None
    assert (reader.hello.board, reader.hello.rate_hz) == ("plain", 10.0)


def test_what_is_no_number_is_counted_as_damaged() -> None:
    plain, reader = PlainLines(), MeterReader(SIMULATED)
    samples = reader.feed(plain.translate(1.0, b"cut\n1\nboo\n2\n99999999\n"))
    assert [sample.raw for sample in samples] == [1, 2, 2**23 - 1]
    assert samples[-1].saturated
    assert reader.bad_lines == 1


@contextmanager
def sketch(noise: float = 45.0, end: bytes = b"\r\n") -> Iterator[str]:
    """A load-cell sketch on a pseudo-terminal: counts, 50 lines/s."""
    master, slave = os.openpty()
    tty.setraw(slave)
    ended = threading.Event()
    rng = np.random.default_rng(1_000_001)

    def send() -> None:
        while not ended.wait(0.02):
            os.write(master, b"%d%b" % (round(84_200 + noise * rng.standard_normal()), end))

    thread = threading.Thread(target=send)
    thread.start()
    try:
        yield os.ttyname(slave)
    finally:
        ended.set()
        thread.join(5)
        os.close(master)
        os.close(slave)


def test_a_plain_meter_is_checked(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with sketch() as device:
        assert main(["meter", "check", device, "--lines", "plain", "--seconds", "2"]) == 0
        said = capsys.readouterr().out
        assert "Meter OK." in said
        assert "no clock and no check sum" in said
        assert main(["meter", "check", device, "--seconds", "1"]) == 1
        assert "--lines plain" in capsys.readouterr().out
    with sketch(noise=0.0) as device:
        assert main(["meter", "check", device, "--lines", "plain", "--seconds", "2", "--json"]) == 1
        assert any("frozen" in words for words in json.loads(capsys.readouterr().out)["verdict"])


def test_a_port_must_be_named(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["meter", "check", "auto", "--lines", "plain"]) == 2
    assert "name the port" in capsys.readouterr().err


def test_what_a_plain_meter_sends_is_recorded_as_protocol_lines() -> None:
    with sketch() as device:
        wire = open_wire(f"plain://{device}")
        reader = MeterReader(SIMULATED)
        samples: list[TorqueSample] = []
        try:
            while len(samples) < 20:
                samples += reader.feed(wire.receive())
            wire.send(b"?")
        finally:
            wire.close()
    assert reader.bad_lines == 0
    assert all(sample.raw is not None and abs(sample.raw - 84_200) < 400 for sample in samples)


def test_a_wind_of_plain_lines_is_recorded_and_replayed(home: Path) -> None:
    me = [sys.executable, "-m", "winding_coach"]
    motor = ["--loop", "30 cm", "--mass", "1.40 g", "--hooks", "22 cm", "--calibration", "simulated", "--headless"]
    with sketch() as device:
        command = [*me, "wind", "--port", device, "--lines", "plain", *motor, "--json", "--readings", "5"]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as wind:
            assert wind.stdin is not None
            assert wind.stdout is not None
            for line in wind.stdout:
                if json.loads(line).get("torque_mNm") is not None:
                    break
            rest, _ = wind.communicate("quit\n", timeout=60)
    summary = json.loads(rest.splitlines()[-1])
    assert summary["event"] == "summary"
    trace = next((home / "traces").glob("*.wind.jsonl"))
    assert '"in":"bytes"' in trace.read_text()
    assert "board=plain" in trace.read_text()
    done = subprocess.run(
        [*me, "replay", str(trace), "--check"], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("unit", "reads", "calibrated"), [(" mN.m", "reading      2.500", True), ("", "reading      ", False)]
)
def test_a_check_without_a_calibration_says_so_unless_the_numbers_are_torque(
    home: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    unit: str,
    reads: str,
    calibrated: bool,
) -> None:
    """A meter that printed 0.0000 mN.m was shown as -1.15 mN·m, by the simulated meter's zero; and nothing said so."""
    rng = np.random.default_rng(5)

    def listen(
        _port: str, seconds: float, reader: MeterReader, *_: object, **__: object
    ) -> tuple[list[TorqueSample], int]:
        lines = PlainLines()
        numbers = (
            2.5 + rng.normal(0.0, 5e-4, int(80 * seconds)) if unit else rng.normal(2500.0, 40.0, int(80 * seconds))
        )
        pieces = [(0.0125 * i, f"{x:.4f}{unit}\r\n" if unit else f"{x:.0f}\r\n") for i, x in enumerate(numbers)]
        samples: list[TorqueSample] = []
        for at_s, text in pieces:
            samples += reader.feed(lines.translate(at_s, text.encode()))
        return samples, sum(len(text) for _, text in pieces)

    monkeypatch.setattr("winding_coach.cli.commands.meter.listen", listen)
    main(["meter", "check", "/dev/none", "--lines", "plain", "--seconds", "8"])
    said = capsys.readouterr().out
    assert reads in said
    assert ("not calibrated yet" in said) is not calibrated
