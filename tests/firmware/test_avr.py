"""The sketch built for AVR, run cycle by cycle against a modelled converter, bouncing switches and a port."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tests.firmware.build import Run, Script, run_rig
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.commissioning.conforming import Conformance
from winding_coach.meter.frames import (
    LINE_DROPPED,
    NO_DATA,
    OVERLOAD,
    RAW_MAX,
    RAW_MIN,
    SATURATED,
    SETTLING,
    Frame,
    FrameParser,
    Hello,
    Sample,
    longest,
)
from winding_coach.meter.reader import MeterReader


def frames(run: Run) -> list[Frame]:
    """All that was sent; every byte of it must belong to a good line of lawful length."""
    parser = FrameParser()
    found = parser.feed(run.wire.rpartition(b"\n")[0] + b"\n")
    assert parser.bad_lines == 0
    assert all(len(line) + 1 <= longest(line) for line in run.wire.split(b"\n"))
    return found


def samples(run: Run) -> list[Sample]:
    return [frame for frame in frames(run) if isinstance(frame, Sample)]


def hellos(run: Run) -> list[Hello]:
    return [frame for frame in frames(run) if isinstance(frame, Hello)]


def lawful(run: Run) -> None:
    """The converter was used within its data sheet's limits: clock high 0.2 to 50 µs, low at least 0.2 µs."""
    shortest_us, longest_us = run.seen["high_us"]
    assert 0.2 <= shortest_us <= longest_us <= 50.0
    assert run.seen["low_us"] >= 0.2
    assert run.seen["torn"] == run.seen["wrong_clocks"] == 0


def test_every_conversion_arrives_once_in_order_and_as_it_was(rig: Path, firmware: Path, tmp_path: Path) -> None:
    rng = np.random.default_rng(11)
    edges = [RAW_MIN + 2, RAW_MAX - 1, -1, 0, 1, 2**22, -(2**22), 0x555555, 0x2AAAAA]
    values = [*edges, *(int(value) for value in rng.integers(RAW_MIN + 2, RAW_MAX, 150))]
    script = Script().at(0.0, "period", 12500).at(0.0, "raw", values[0])
    # The converter starts when the sketch has started it anew: four conversions later it gives the first.
    for number, value in enumerate(values[1:], 1):
        script.at(0.056 + 0.0125 * (number - 1), "raw", value)
    run = run_rig(rig, firmware, script.at(0.055 + 0.0125 * len(values), "end"), tmp_path)
    found = samples(run)
    assert [sample.raw for sample in found] == values[: len(found)]
    assert len(found) >= len(values) - 3
    assert [sample.seq for sample in found] == list(range(len(found)))
    assert [sample.flags for sample in found] == [SETTLING] * 4 + [0] * (len(found) - 4)
    # Stamped at the conversion, by an interrupt: to the 4 µs of its clock, and a little for one that was busy.
    steps = [after.t_us - before.t_us for before, after in pairwise(found)]
    assert all(abs(step - 12_500) <= 60 for step in steps)
    assert run.seen["untaken"] == 0
    assert run.seen["switched_off"] == 1
    lawful(run)


def test_the_port_runs_within_three_per_cent_of_its_speed(rig: Path, firmware: Path, tmp_path: Path) -> None:
    run = run_rig(rig, firmware, Script().at(0.2, "end"), tmp_path)
    assert run.seen["baud"] == pytest.approx(115_200, rel=0.03)


def test_hello_at_boot_every_five_seconds_and_on_request(rig: Path, firmware: Path, tmp_path: Path) -> None:
    script = Script().at(1.0, "host", ord("?")).at(2.0, "host", ord("x")).at(11.0, "end")
    run = run_rig(rig, firmware, script, tmp_path)
    found = frames(run)
    hello = found[0]
    assert isinstance(hello, Hello)
    assert hello.proto == 1
    assert (hello.board, hello.rate_hz, hello.channels) == ("uno", 80.0, "c")
    assert [hello.value(key) for key in ("adc", "gain", "rst")] == ["hx711", "128", "por"]
    before = [sample for sample, frame in pairwise(found) if isinstance(frame, Hello) and isinstance(sample, Sample)]
    assert [round(sample.t_us / 1e6, 1) for sample in before] == [1.0, 5.0, 10.0]


def test_the_firmware_conforms_to_the_protocol(rig: Path, firmware_all_channels: Path, tmp_path: Path) -> None:
    script = Script().at(0.0, "raw", 4711).at(0.0, "adc1", 713).at(3.0, "host", ord("?"))
    script.at(7.0, "silent", 1).at(9.0, "silent", 0)
    run = run_rig(rig, firmware_all_channels, script.at(12.0, "end"), tmp_path)
    held = Conformance()
    held.feed(0.0, b"\n")
    parser, at_s, asked = FrameParser(), 0.0, False
    for line in run.wire.rpartition(b"\n")[0].split(b"\n"):
        for frame in parser.feed(line + b"\n"):
            at_s = frame.t_us / 1e6 if isinstance(frame, Sample) else at_s
        if not asked and at_s >= 3.0:
            asked = True
            held.asked(3.0)
        held.feed(at_s, line + b"\n")
    held.end(at_s)
    assert held.samples > 700
    assert held.faults == ()


def test_flags_of_saturation_and_overload(rig: Path, firmware_all_channels: Path, tmp_path: Path) -> None:
    script = Script()
    expected = {RAW_MAX: SATURATED | OVERLOAD, RAW_MIN: SATURATED | OVERLOAD, 2_000_000: OVERLOAD, 1_999_999: 0}
    for number, raw in enumerate(expected):
        script.at(0.15 + 0.1 * number, "raw", raw)
    run = run_rig(rig, firmware_all_channels, script.at(0.6, "end"), tmp_path)
    flags = {sample.raw: sample.flags for sample in samples(run) if not sample.flags & SETTLING}
    assert flags == expected | {0: 0}
    lawful(run)


def test_turns_of_a_switch_that_bounces(rig: Path, firmware: Path, tmp_path: Path) -> None:
    script = Script()
    for number in range(20):
        script.turn(0.2 + 0.2 * number)
    # Interference shorter than a bounce counts for nothing.
    for number in range(40):
        script.at(4.5 + 0.01 * number, "a", 0).at(4.5015 + 0.01 * number, "a", 1)
    run = run_rig(rig, firmware, script.at(5.0, "end"), tmp_path)
    found = samples(run)
    assert found[0].crank == 0
    assert found[-1].crank == 20
    cranks = [sample.crank for sample in found if sample.crank is not None]
    assert all(after - before in (0, 1) for before, after in pairwise(cranks))
    # Each turn is in the line of its moment: the switch has been steady for 3 ms, lines are 12.5 ms apart.
    for number in range(20):
        first = next(sample.t_us for sample in found if sample.crank == number + 1)
        assert 0.0 <= first / 1e6 - (0.2 + 0.2 * number) < 0.03


def test_turns_go_down_in_reverse_with_two_switches(rig: Path, firmware_all_channels: Path, tmp_path: Path) -> None:
    script = Script()

    def quarter(at_s: float, pin: str, closes: bool) -> float:
        script.switch(at_s, pin, closes=closes)
        return at_s + 0.03

    at_s = 0.2
    for _ in range(7):
        for pin, closes in (("a", True), ("b", True), ("a", False), ("b", False)):
            at_s = quarter(at_s, pin, closes)
    for _ in range(3):
        for pin, closes in (("b", True), ("a", True), ("b", False), ("a", False)):
            at_s = quarter(at_s, pin, closes)
    run = run_rig(rig, firmware_all_channels, script.at(at_s + 0.1, "end"), tmp_path)
    found = samples(run)
    assert hellos(run)[0].channels == "qdt"
    assert max(sample.crank or 0 for sample in found) == 7
    assert found[-1].crank == 4


def test_distance_and_temperature(rig: Path, firmware_all_channels: Path, tmp_path: Path) -> None:
    script = Script().at(0.0, "adc0", 2500).at(0.0, "adc1", 713).at(0.3, "adc0", 5000).at(0.3, "adc1", 400)
    run = run_rig(rig, firmware_all_channels, script.at(0.6, "end"), tmp_path)
    found = samples(run)
    early, late = found[5], found[-1]
    # 10 bits: a step is 3.9 mm, and half a degree.
    assert early.distance_mm == pytest.approx(2000, abs=4)
    assert late.distance_mm == pytest.approx(4000, abs=4)
    assert early.temperature_dC == pytest.approx(213, abs=5)
    assert late.temperature_dC == pytest.approx(-100, abs=5)


@pytest.mark.parametrize("word", ["reset", "resetmid"])
def test_a_reset_gives_no_false_reading(rig: Path, firmware: Path, tmp_path: Path, word: str) -> None:
    script = Script().at(0.0, "raw", 0x2AAAAA).at(1.0, word, 0x02).at(2.0, "end")
    run = run_rig(rig, firmware, script, tmp_path)
    reader = MeterReader(SIMULATED)
    found = reader.feed(run.wire)
    assert {sample.raw for sample in found} == {0x2AAAAA}
    assert reader.restarts == 1
    assert reader.bad_lines <= 1
    hello = reader.hello
    assert hello is not None
    assert hello.value("rst") == "ext"
    after = [sample.settling for sample in found[next(i for i, s in enumerate(found) if s.restarted) :]]
    assert after[:5] == [True] * 4 + [False]
    lawful(run)


def test_a_converter_that_falls_silent_is_said_and_taken_up_again(rig: Path, firmware: Path, tmp_path: Path) -> None:
    script = Script().at(0.0, "raw", 4711).at(1.0, "silent", 1).at(3.0, "silent", 0).at(4.0, "end")
    run = run_rig(rig, firmware, script, tmp_path)
    reader = MeterReader(SIMULATED)
    found = reader.feed(run.wire)
    silent = [sample for sample in found if sample.no_data]
    assert [sample.raw for sample in silent] == [None] * 3
    last_good = max(sample.device_s for sample in found if not sample.no_data and sample.device_s < 2)
    gaps = [after - before for before, after in pairwise([last_good, *(sample.device_s for sample in silent)])]
    assert all(0.6 <= gap < 0.602 for gap in gaps)
    again = [sample for sample in found if sample.device_s > silent[-1].device_s]
    assert len(again) > 50
    assert {sample.raw for sample in again} == {4711}
    assert (reader.lost_lines, reader.restarts) == (0, 0)


def test_no_converter_at_all(rig: Path, firmware: Path, tmp_path: Path) -> None:
    run = run_rig(rig, firmware, Script().at(0.0, "silent", 1).at(2.0, "end"), tmp_path)
    assert [(sample.raw, sample.flags) for sample in samples(run)] == [(None, NO_DATA)] * 3
    assert len(hellos(run)) == 1


@pytest.mark.parametrize(("lines_per_s", "lost_share"), [(10, 0.0), (80, 0.0), (240, 0.0), (320, 0.1)])
def test_lost_lines_at_a_rate(rig: Path, firmware: Path, tmp_path: Path, lines_per_s: int, lost_share: float) -> None:
    seconds = 3.0 if lines_per_s > 10 else 6.0
    script = Script().at(0.0, "period", round(1e6 / lines_per_s)).at(0.0, "raw", -1_234_567)
    for number in range(10):
        script.turn(0.5 + 0.2 * number)
    run = run_rig(rig, firmware, script.at(seconds, "end"), tmp_path)
    found = samples(run)
    sent = found[-1].seq + 1
    assert sent >= (seconds - 0.1) * lines_per_s - 6
    # 115200 baud carry 11,764 bytes a second: 302 lines of 39 bytes, and at 320 the rest is lost.
    assert (sent - len(found)) / sent <= lost_share
    assert run.seen["untaken"] == 0
    assert found[-1].crank == 10
    lawful(run)


def test_lines_that_the_port_cannot_carry_are_dropped_whole_and_flagged(
    rig: Path, firmware_all_channels: Path, tmp_path: Path
) -> None:
    # 320 lines of up to 50 bytes a second are a quarter more than 115200 baud carry.
    script = Script().at(0.0, "period", 3125).at(0.0, "raw", -1_234_567).at(0.0, "adc1", 713)
    run = run_rig(rig, firmware_all_channels, script.at(2.0, "end"), tmp_path)
    found = samples(run)
    gaps = [after.seq - before.seq - 1 for before, after in pairwise(found)]
    assert sum(gaps) > 60
    assert [bool(sample.flags & LINE_DROPPED) for sample in found[1:]] == [gap > 0 for gap in gaps]
    assert run.seen["untaken"] == 0
    lawful(run)


def test_a_host_that_chatters_disturbs_no_reading(rig: Path, firmware: Path, tmp_path: Path) -> None:
    script = Script().at(0.0, "raw", 0x2AAAAA)
    for number in range(5000):
        script.at(0.2 + 0.0002 * number, "host", ord("?") if number % 50 == 0 else ord("z"))
    run = run_rig(rig, firmware, script.at(1.5, "end"), tmp_path)
    found = samples(run)
    assert {sample.raw for sample in found} == {0x2AAAAA}
    assert [sample.seq for sample in found] == list(range(len(found)))
    assert len(hellos(run)) > 20
    # A clock pulse with its reading takes 10 µs of the processor: no interrupt has come into any.
    assert run.seen["high_us"][1] < 11.0
    lawful(run)


def test_a_late_clock_of_the_device_wraps_and_stays_true(rig: Path, firmware: Path, tmp_path: Path) -> None:
    run = run_rig(rig, firmware, Script().at(0.5, "end"), tmp_path)
    found = samples(run)
    # Device time against the simulator's: the firmware boots within a few ms.
    assert found[-1].t_us == pytest.approx(run.seen["at_us"], abs=30_000)
