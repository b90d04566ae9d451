"""RP2040 and ESP32: the sketch compiled for their core's documented names and run on a model of converter and port.

Their real cores come from no package registry that these tests may use; so this is no proof that they compile there.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest

from tests.firmware.build import HERE, SKETCH, build_modelled
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.commissioning.conforming import Conformance, Fault
from winding_coach.meter.frames import (
    FROZEN,
    LONGEST_HELLO,
    LONGEST_LINE,
    NO_DATA,
    SETTLING,
    FrameParser,
    Hello,
    Sample,
)
from winding_coach.meter.reader import MeterReader

BOARDS = {
    "rp2040": ("-DARDUINO_ARCH_RP2040",),
    "esp32": ("-DARDUINO_ARCH_ESP32",),
    "esp32 by wifi": ("-DARDUINO_ARCH_ESP32", '-DWIFI_SSID="x"', '-DWIFI_PASSWORD="y"'),
    "four magnets": ("-DARDUINO_ARCH_RP2040", "-DCRANK_PULSES_PER_TURN=4"),
    "gain 64": ("-DARDUINO_ARCH_RP2040", "-DCONVERTER=CONVERTER_HX711_64"),
    "ads1232": ("-DARDUINO_ARCH_RP2040", "-DCONVERTER=CONVERTER_ADS1232"),
    "nau7802": ("-DARDUINO_ARCH_RP2040", "-DCONVERTER=CONVERTER_NAU7802"),
    "nau7802 at 320": ("-DARDUINO_ARCH_ESP32", "-DCONVERTER=CONVERTER_NAU7802", "-DRATE=320"),
    "nau7802 at 10": ("-DARDUINO_ARCH_RP2040", "-DCONVERTER=CONVERTER_NAU7802", "-DRATE=10"),
    "ads1220": ("-DARDUINO_ARCH_RP2040", "-DCONVERTER=CONVERTER_ADS1220"),
    "ads1220 at 330": ("-DARDUINO_ARCH_ESP32", "-DCONVERTER=CONVERTER_ADS1220", "-DRATE=330"),
    "longest hello": (
        *("-DARDUINO_ARCH_RP2040", "-DCONVERTER=CONVERTER_ADS1220", "-DCRANK_B_PIN=6", "-DDISTANCE_PIN=A0"),
        *("-DTEMPERATURE_PIN=A1", "-DCRANK_PULSES_PER_TURN=1000"),
    ),
    "no name": ('-DBOARD="other"',),
}
RATES = {"nau7802 at 320": 320, "nau7802 at 10": 10, "ads1220": 90, "ads1220 at 330": 330, "longest hello": 90}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The sketch for each board, to run on this computer."""
    return build_modelled(tmp_path_factory.mktemp("boards"), BOARDS)


def ran(program: Path, *words: str) -> tuple[bytes, dict[str, int]]:
    """What it sent, and what the models of converter and port saw."""
    done = subprocess.run([program, *words], capture_output=True, timeout=60, check=True)
    return done.stdout, json.loads(done.stderr)


def sent(program: Path, *words: str) -> bytes:
    return ran(program, *words)[0]


def faults_of(wire: bytes, rate: float) -> tuple[Fault, ...]:
    found = Conformance()
    found.feed(0.0, b"\n")
    at_s = 0.0
    for line in wire.splitlines(keepends=True):
        at_s += 1.0 / rate if line.startswith(b"$D") else 0.0
        found.feed(at_s, line)
    found.end(at_s)
    return found.faults


@pytest.mark.parametrize("board", BOARDS)
def test_a_board_whose_port_never_says_that_it_has_room_speaks(built: dict[str, Path], board: str) -> None:
    rate = RATES.get(board, 80)
    wire, seen = ran(built[board], "12", "ask", "turns=1.3")
    assert faults_of(wire, rate) == ()
    samples = [frame for frame in FrameParser().feed(wire) if isinstance(frame, Sample)]
    assert 11.6 * rate <= len(samples) <= 12 * rate
    settled = [sample.raw for sample in samples[4:] if sample.raw is not None]
    assert all(after - before == 7 for before, after in pairwise(settled)), "each conversion once, none torn"
    assert all(b.t_us - a.t_us == pytest.approx(1e6 / rate, abs=100) for a, b in pairwise(samples))
    assert [sample.flags & ~SETTLING for sample in samples] == [0] * len(samples)
    assert [bool(sample.flags & SETTLING) for sample in samples[:6]] == [True] * 4 + [False] * 2
    # Before the first of them the crank was seen too; after it nothing is missing.
    assert seen["untaken"] == seen["early"] == seen["torn"] == seen["stray"] == 0


@pytest.mark.parametrize("board", ["rp2040", "esp32 by wifi"])
def test_each_byte_was_asked_about_and_sent_by_itself(built: dict[str, Path], board: str) -> None:
    """The official RP2040 core takes 1 ms to say whether its port is open: 40 bytes took 40 ms, 25 lines/s were left.

    By WiFi each byte was a packet of its own.
    """
    wire, seen = ran(built[board], "4")
    lines = wire.count(b"\n")
    assert lines > 300
    assert seen["writes"] <= 1.2 * lines


def test_a_core_that_knows_its_room_is_never_waited_for(built: dict[str, Path]) -> None:
    wire, _ = ran(built["rp2040"], "4", "room")
    assert wire.count(b"$D") > 300


def test_a_frozen_converter_is_flagged(built: dict[str, Path]) -> None:
    """After 32 equal values; its own noise makes no converter of 24 bits repeat so often."""
    samples = [f for f in FrameParser().feed(sent(built["rp2040"], "2", "frozen")) if isinstance(f, Sample)]
    assert [bool(sample.flags & FROZEN) for sample in samples] == [False] * 32 + [True] * (len(samples) - 32)


@pytest.mark.parametrize("board", ["nau7802", "ads1220"])
@pytest.mark.parametrize("fault", ["absent", "gain"])
def test_a_converter_that_is_absent_or_keeps_no_register_gives_no_reading(
    built: dict[str, Path], board: str, fault: str
) -> None:
    """A gain that was not taken would be a wrong torque: what is written is read back, and tried again each 0.6 s."""
    wire, seen = ran(built[board], "5", fault)
    samples = [frame for frame in FrameParser().feed(wire) if isinstance(frame, Sample)]
    assert 7 <= len(samples) <= 9
    assert all(sample.raw is None and sample.flags & NO_DATA for sample in samples)
    assert seen["taken"] == 0


def test_a_nau7802_that_does_not_wake_gives_no_reading(built: dict[str, Path]) -> None:
    samples = [f for f in FrameParser().feed(sent(built["nau7802"], "3", "unpowered")) if isinstance(f, Sample)]
    assert samples
    assert all(sample.raw is None for sample in samples)


def test_a_ready_line_that_hangs_open_gives_no_stray_reading(built: dict[str, Path]) -> None:
    """NAU7802: it floats high, as if always ready; the chip's CR bit says when one is. ADS1220: nothing is ready."""
    wire, seen = ran(built["nau7802"], "3", "open")
    raws = [f.raw for f in FrameParser().feed(wire) if isinstance(f, Sample) and not f.flags & SETTLING]
    assert len(raws) > 200
    assert all(b - a == 7 for a, b in pairwise(raws) if a is not None and b is not None)
    assert seen["stray"] == 0
    samples = [f for f in FrameParser().feed(sent(built["ads1220"], "3", "open")) if isinstance(f, Sample)]
    assert {sample.raw for sample in samples} == {None}


def test_the_longest_hello_of_a_recommended_chip_keeps_the_limit(built: dict[str, Path]) -> None:
    """`adc=ads1220` on a Pico made 64 bytes where 62 were allowed."""
    wire = sent(built["longest hello"], "1")
    hello = next(line for line in wire.splitlines(keepends=True) if line.startswith(b"$H"))
    assert 62 < len(hello) <= LONGEST_HELLO
    assert b"ppr=1000" in hello
    assert b"adc=ads1220,gain=128" in hello
    assert max(len(line) for line in wire.splitlines(keepends=True) if line.startswith(b"$D")) <= LONGEST_LINE


@pytest.mark.parametrize(("board", "counts"), [("rp2040", 13), ("four magnets", 52)])
def test_magnets_are_counted(built: dict[str, Path], board: str, counts: int) -> None:
    wire = sent(built[board], "10", "turns=1.3", f"magnets={counts // 13}")
    samples = [frame for frame in FrameParser().feed(wire) if isinstance(frame, Sample)]
    assert samples[-1].crank == pytest.approx(counts, abs=1)


def test_an_arm_compiler_takes_the_sketch_for_the_rp2040s_processor(tmp_path: Path) -> None:
    """The processor's own compiler, without the board's core: types and sizes are those of the board."""
    if shutil.which("arm-none-eabi-g++") is None:
        pytest.skip("Debian's gcc-arm-none-eabi is not installed")
    flags = ["-mcpu=cortex-m0plus", "-mthumb", "-Os", "-Wall", "-Wextra", "-Werror", "-DARDUINO_ARCH_RP2040"]
    shared = [*flags, f"-I{HERE / 'other_board'}", f"-I{SKETCH}", "-c", "-o", str(tmp_path / "x.o")]
    for chip in ("HX711", "NAU7802", "ADS1220"):
        ino = ["-std=gnu++17", "-fno-exceptions", f"-DCONVERTER=CONVERTER_{chip}", "-include", "Arduino.h", "-x", "c++"]
        command = ["arm-none-eabi-g++", *ino, str(SKETCH / "winding_meter.ino"), *shared]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
    command = ["arm-none-eabi-gcc", "-std=c99", "-Wconversion", "-pedantic", str(SKETCH / "meter_core.c"), *shared]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


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
        ("nau7802", {"adc": "nau7802", "gain": "128", "rate": "80"}),
        ("ads1220", {"adc": "ads1220", "rate": "90"}),
    ],
)
def test_the_hello_says_what_config_says(built: dict[str, Path], board: str, fields: dict[str, str]) -> None:
    hello = next(frame for frame in FrameParser().feed(b"\n" + sent(built[board], "1")) if isinstance(frame, Hello))
    assert {key: hello.value(key) for key in fields} == fields
