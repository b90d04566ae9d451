"""RP2040 and ESP32: the sketch compiled for their core's documented names and run on a model of converter and port.

Their real cores come from no package registry that these tests may use; so this is no proof that they compile there.
"""

from __future__ import annotations

import subprocess
from itertools import pairwise
from pathlib import Path

import pytest

from tests.firmware.build import HERE, SKETCH, need
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.conforming import Conformance
from winding_coach.meter.frames import FrameParser, Hello, Sample
from winding_coach.meter.reader import MeterReader

BOARDS = {
    "rp2040": ("-DARDUINO_ARCH_RP2040",),
    "esp32": ("-DARDUINO_ARCH_ESP32",),
    "esp32 by wifi": ("-DARDUINO_ARCH_ESP32", '-DWIFI_SSID="x"', '-DWIFI_PASSWORD="y"'),
    "four magnets": ("-DARDUINO_ARCH_RP2040", "-DCRANK_PULSES_PER_TURN=4"),
    "gain 64": ("-DARDUINO_ARCH_RP2040", "-DCONVERTER=CONVERTER_HX711_64"),
    "ads1232": ("-DARDUINO_ARCH_RP2040", "-DCONVERTER=CONVERTER_ADS1232"),
    "no name": ('-DBOARD="other"',),
}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The sketch for each board, to run on this computer."""
    need("cc")
    folder = tmp_path_factory.mktemp("boards")
    core = folder / "core.o"
    subprocess.run(["cc", "-std=c99", "-Wall", "-Werror", "-c", SKETCH / "meter_core.c", "-o", core], check=True)
    found = {}
    for name, options in BOARDS.items():
        found[name] = folder / name.replace(" ", "-")
        strict = ["-std=c++11", "-Wall", "-Wextra", "-Werror", f"-I{HERE / 'other_board'}", f"-I{SKETCH}", *options]
        sketch, model = found[name].with_suffix(".o"), found[name].with_suffix(".model.o")
        ino = ["-include", "Arduino.h", "-x", "c++", str(SKETCH / "winding_meter.ino")]
        modelled = ["-include", str(SKETCH / "config.h"), str(HERE / "other_board" / "host_model.cpp")]
        for source, made in ((ino, sketch), (modelled, model)):
            done = subprocess.run(
                ["c++", *strict, *source, "-c", "-o", made], capture_output=True, text=True, check=False
            )
            assert done.returncode == 0, done.stderr
        subprocess.run(["c++", sketch, model, core, "-o", found[name]], check=True)
    return found


def sent(program: Path, *words: str) -> bytes:
    return subprocess.run([program, *words], capture_output=True, timeout=60, check=True).stdout


@pytest.mark.parametrize("board", BOARDS)
def test_a_board_whose_port_never_says_that_it_has_room_speaks(built: dict[str, Path], board: str) -> None:
    wire = sent(built[board], "12", "ask")
    found = Conformance()
    found.feed(0.0, b"\n")
    at_s = 0.0
    for line in wire.splitlines(keepends=True):
        at_s += 0.0125 if line.startswith(b"$D") else 0.0
        found.feed(at_s, line)
    found.end(at_s)
    assert found.faults == ()
    frames = FrameParser().feed(wire)
    samples = [frame for frame in frames if isinstance(frame, Sample)]
    assert 940 <= len(samples) <= 960
    assert [sample.raw for sample in samples[:3]] == [84_207, 84_214, 84_221]
    assert all(b.t_us - a.t_us == pytest.approx(12_500, abs=60) for a, b in pairwise(samples))


def test_a_data_line_held_low_was_taken_for_data(built: dict[str, Path]) -> None:
    """783 lines/s of raw 0: after the last clock the line must be high. Now the silence is said, each 0.6 s."""
    reader = MeterReader(SIMULATED)
    samples = reader.feed(sent(built["rp2040"], "10", "low"))
    assert 14 <= len(samples) <= 17
    assert all(sample.no_data for sample in samples)


def test_nothing_is_written_to_a_port_that_nobody_opened(built: dict[str, Path]) -> None:
    for board in ("rp2040", "esp32 by wifi"):
        assert sent(built[board], "3", "closed") == b""
        frames = FrameParser().feed(sent(built[board], "4", "late"))
        numbers = [frame.seq for frame in frames if isinstance(frame, Sample)]
        assert numbers[-1] > 300, "the lines that found no reader are counted"


@pytest.mark.parametrize(
    ("board", "fields"),
    [
        ("rp2040", {"board": "pico", "adc": "hx711", "gain": "128"}),
        ("esp32", {"board": "esp32", "ch": "c"}),
        ("four magnets", {"ppr": "4"}),
        ("gain 64", {"gain": "64"}),
        ("ads1232", {"adc": "ads1232"}),
    ],
)
def test_the_hello_says_what_config_says(built: dict[str, Path], board: str, fields: dict[str, str]) -> None:
    hello = next(frame for frame in FrameParser().feed(b"\n" + sent(built[board], "1")) if isinstance(frame, Hello))
    assert {key: hello.value(key) for key in fields} == fields
