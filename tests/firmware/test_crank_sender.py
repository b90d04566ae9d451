"""A crank sender's firmware: its core against the reader's own parser, the sketch on a model of board and port."""

from __future__ import annotations

import ctypes
import json
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest

from tests.firmware.build import build_modelled, build_sketch, need
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.commissioning.conforming import Conformance
from winding_coach.meter.frames import LINE_DROPPED, LONGEST_LINE, U32, CrankLine, FrameParser
from winding_coach.meter.reader import MeterReader

BOARDS = {
    "esp32 by wifi": ("-DARDUINO_ARCH_ESP32", '-DWIFI_SSID="x"', '-DWIFI_PASSWORD="y"'),
    "four magnets": ("-DARDUINO_ARCH_ESP32", '-DWIFI_SSID="x"', '-DWIFI_PASSWORD="y"', "-DCRANK_PULSES_PER_TURN=4"),
    "two sensors": ("-DARDUINO_ARCH_RP2040", "-DCRANK_B_PIN=6", "-DCRANK_PULSES_PER_TURN=4", "-DCRANK_BOUNCE_US=300"),
    "battery": ("-DARDUINO_ARCH_ESP32", "-DBATTERY_PIN=A0"),
}


class Sender:
    """The shim's functions by what they do."""

    def __init__(self, core: ctypes.CDLL, fields: bytes = b"", two: bool = False, now_us: int = 0) -> None:
        self._core = core
        self._parser = FrameParser()
        core.shim_sender_start(fields, two, 3000, ctypes.c_uint32(now_us))

    def look(self, closed: bool, now_us: int, b: bool = False) -> list[CrankLine]:
        self._core.shim_sender_look(closed, b, ctypes.c_uint32(now_us % U32))
        return self.take()

    def take(self, most: int = 200) -> list[CrankLine]:
        out = ctypes.create_string_buffer(200)
        length = self._core.shim_sender_take(out, ctypes.c_size_t(most))
        sent = out.raw[:length]
        assert all(len(line) + 1 <= LONGEST_LINE for line in sent.split(b"\n"))
        found = self._parser.feed(sent)
        assert self._parser.bad_lines == 0
        return [frame for frame in found if isinstance(frame, CrankLine)]


def test_a_line_comes_at_each_count_and_each_tenth_of_a_second(core: ctypes.CDLL) -> None:
    sender = Sender(core, b",ppr=4")
    found = []
    for now_us in range(0, 3_000_000, 1000):
        # A magnet passes each 400 ms, for 50 ms.
        found += sender.look(now_us % 400_000 >= 350_000, now_us)
    assert [line.seq for line in found] == list(range(len(found)))
    assert all(b.t_us - a.t_us <= 100_000 for a, b in pairwise(found))
    counted = [b for a, b in pairwise(found) if b.crank != a.crank]
    assert [line.crank for line in counted] == [1, 2, 3, 4, 5, 6, 7]
    # The switch has been steady for 3 ms, and the line of before may have been sent just now.
    assert all(0 <= (line.t_us - 353_000) % 400_000 <= 20_000 for line in counted)
    assert {line.pulses_per_turn for line in found} == {4}
    assert found[0].age_ms is None
    for before, after in pairwise(found[5:]):
        if after.crank == before.crank:
            assert before.age_ms is not None
            assert after.age_ms == pytest.approx(before.age_ms + (after.t_us - before.t_us) / 1000, abs=1)


def test_an_age_has_an_end_and_stays_there_when_the_clock_wraps(core: ctypes.CDLL) -> None:
    sender = Sender(core)
    sender.look(True, 0)
    sender.look(True, 4_000)
    found = [line for now in range(100_000, 2 * U32, 20_000_000) for line in sender.look(True, now)]
    ages = [line.age_ms for line in found]
    assert ages[0] == 96
    assert set(ages[4:]) == {65_535}
    assert {line.crank for line in found} == {1}


def test_counts_go_down_with_two_sensors(core: ctypes.CDLL) -> None:
    sender = Sender(core, b",ch=q", two=True)
    now, found = 0, []
    for steps in ([(1, 0), (1, 1), (0, 1), (0, 0)] * 3, [(0, 1), (1, 1), (1, 0), (0, 0)] * 5):
        for a, b in steps:
            now += 30_000
            for later in (0, 5_000, 25_000):
                found += sender.look(bool(a), now + later, bool(b))
    assert [line.crank for line in found][-1] == (3 - 5) % 65_536
    assert max(line.crank for line in found if line.crank < 1000) == 3
    assert all(line.two_sensors for line in found)


def test_a_line_without_room_is_dropped_whole_counted_and_flagged(core: ctypes.CDLL) -> None:
    sender = Sender(core)
    for number in range(1, 20):
        core.shim_sender_look(False, False, ctypes.c_uint32(100_000 * number))
    before = sender.take()
    after = sender.look(False, 2_000_000)
    assert 3 <= len(before) <= 8
    assert [line.seq for line in before] == list(range(len(before)))
    assert after[0].seq == 19
    assert after[0].flags == LINE_DROPPED


# -- the sketch


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The sender for each board, to run on this computer."""
    return build_modelled(tmp_path_factory.mktemp("senders"), BOARDS, "-DCRANK_SENDER")


@pytest.mark.parametrize("board", ["esp32 by wifi", "four magnets", "two sensors"])
def test_the_sketch_conforms_and_counts(built: dict[str, Path], board: str) -> None:
    magnets = 1 if board == "esp32 by wifi" else 4
    done = subprocess.run(
        [built[board], "12", "turns=1.3", f"magnets={magnets}"], capture_output=True, timeout=60, check=True
    )
    lines = done.stdout.splitlines(keepends=True)
    held, parser, reader = Conformance(), FrameParser(), MeterReader(SIMULATED)
    held.feed(0.0, b"\n")
    for line in lines:
        for frame in parser.feed(line):
            assert isinstance(frame, CrankLine)
            held.feed(frame.t_us / 1e6, line)
            reader.feed(line, frame.t_us / 1e6)
    held.end(12.0)
    assert held.faults == ()
    assert held.sender.counts == pytest.approx(12 * 1.3 * magnets, abs=1)
    assert reader.crank_sender.pulses_per_turn == magnets
    assert reader.crank_sender.two_sensors == (board == "two sensors")
    assert json.loads(done.stderr)["writes"] <= 1.1 * len(lines)


def test_a_flat_battery_is_flagged(built: dict[str, Path]) -> None:
    # 500 of 4095 at the pin are 0.8 V of the cell.
    wire = subprocess.run([built["battery"], "2"], capture_output=True, timeout=60, check=True).stdout
    (flags,) = {frame.flags for frame in FrameParser().feed(wire) if isinstance(frame, CrankLine)}
    assert flags == 0x40


def test_it_is_built_for_avr_too(tmp_path: Path) -> None:
    """With a radio at its serial port."""
    need("avr")
    assert build_sketch(tmp_path, "-DCRANK_SENDER").exists()


@pytest.mark.parametrize("chip", ["NAU7802", "ADS1220"])
def test_other_converters_are_built_for_avr_with_its_real_core(chip: str, tmp_path: Path) -> None:
    need("avr")
    assert build_sketch(tmp_path, f"-DCONVERTER=CONVERTER_{chip}").exists()
