"""Faults: the bytes are spoilt as asked for and nothing else is. Each is seen through the real parser and clock."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.scenario import MOTOR, PLAN, WINDER
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.frames import FrameParser, Sample
from winding_coach.meter.reader import MeterReader, TorqueSample
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.faults import KINDS, NOISE_NM, Fault, FaultError, FaultyBench, parse_fault
from winding_coach.simulator.hands import STYLES, ScriptedHands
from winding_coach.simulator.motor import SimulatedMotor

TICK_S = 0.05
USUAL = MeterModel()


def faulty(*texts: str, seed: int = 3, meter: MeterModel = USUAL) -> FaultyBench:
    """A bench of the scenario's motor with these faults."""
    rng = np.random.default_rng(seed)
    hands = ScriptedHands(PLAN, MOTOR, WINDER, STYLES["good"], rng)
    bench = Bench(SimulatedMotor(MOTOR), hands, WINDER.ratio, meter, rng)
    return FaultyBench(bench, tuple(parse_fault(text) for text in texts), np.random.default_rng(seed + 100))


def received(bench: FaultyBench, seconds: float) -> bytes:
    """What arrives in so many seconds."""
    return b"".join(bench.advance(TICK_S) for _ in range(round(seconds / TICK_S)))


def chunks(bench: FaultyBench, seconds: float) -> Iterator[tuple[float, bytes]]:
    """What arrives, with the bench's time at the end of each call."""
    for _ in range(round(seconds / TICK_S)):
        data = bench.advance(TICK_S)
        yield bench.truth.at_s, data


def read(data: bytes) -> tuple[MeterReader, list[TorqueSample]]:
    """A reader that has read this, and its samples."""
    reader = MeterReader(SIMULATED)
    return reader, reader.feed(data)


class TestWriting:
    @pytest.mark.parametrize(
        ("text", "fault"),
        [
            ("reset@40", Fault("reset", 40.0, 1.5)),
            ("unplug@55:4", Fault("unplug", 55.0, 4.0)),
            ("power@0.5:2.25", Fault("power", 0.5, 2.25)),
            ("garbage@30", Fault("garbage", 30.0, 1.0)),
            ("lost=0.01", Fault("lost", share=0.01)),
            ("cut=1", Fault("cut", share=1.0)),
            ("double=1.0", Fault("double", share=1.0)),
            ("spike=0", Fault("spike")),
        ],
    )
    def test_as_it_is_written(self, text: str, fault: Fault) -> None:
        assert parse_fault(text) == fault

    @pytest.mark.parametrize(
        "text",
        [
            "",
            "reset",
            "reset@",
            "reset@x",
            "reset=0.1",
            "reset@1:0",
            "reset@٤",
            "reset@40 ",
            "RESET@40",
            "reset@1e3",
            "melt@3",
            "lost@40",
            "lost=2",
            "lost=-1",
            "lost=1.5",
            "lost=0.1\n",
            "lost=nan",
        ],
    )
    def test_anything_else_is_one_sentence_that_says_what_to_write(self, text: str) -> None:
        with pytest.raises(FaultError, match=r"is no fault: write KIND@SECONDS .* or KIND=SHARE .*\.$") as caught:
            parse_fault(text)
        words = str(caught.value)
        assert "\n" not in words
        assert all(kind in words for kind in KINDS)

    @given(st.text(max_size=60))
    def test_no_text_gives_another_error_or_reaches_a_terminal_raw(self, text: str) -> None:
        with pytest.raises(FaultError) as caught:
            parse_fault(f"{text}!")
        assert str(caught.value).isprintable()


class TestNothing:
    def test_without_faults_the_bytes_are_the_benchs_own(self) -> None:
        bench, alone = faulty(), faulty().bench
        for _ in range(1600):
            assert bench.advance(0.0125) == alone.advance(0.0125)

    def test_the_same_seed_spoils_the_same_bytes(self) -> None:
        faults = ("lost=0.02", "cut=0.02", "flip=0.001", "double=0.02", "garbage@3", "reset@6", "spike=0.01")
        assert received(faulty(*faults), 12) == received(faulty(*faults), 12)
        assert received(faulty(*faults), 12) != received(faulty(*faults, seed=4), 12)

    def test_it_is_done_with_its_hands_and_answers_for_its_meter(self) -> None:
        bench = faulty()
        received(bench, 1)
        assert not bench.done
        bench.answer(b"?")
        assert received(bench, 0.1).startswith(b"$H,1,")


class TestTimes:
    def test_a_reset_is_a_pause_and_a_new_beginning(self) -> None:
        data = received(faulty("reset@40"), 60)
        reader, samples = read(data)
        assert reader.restarts == 1
        assert data.count(b"rst=ext") == 4, "at its boot and every 5 s after it"
        (restart,) = [i for i, sample in enumerate(samples) if sample.restarted]
        assert samples[restart].settling
        plain = read(received(faulty(), 60))[1]
        # 1.5 s of lines are missing, and what the raw counts say afterwards is as before: the meter never tares.
        assert len(plain) - len(samples) == pytest.approx(1.5 * 80, abs=5)
        assert samples[-1].torque_Nm == pytest.approx(plain[-1].torque_Nm, rel=0.01)

    def test_unplugged_nothing_comes_and_the_meter_goes_on(self) -> None:
        bench = faulty("unplug@5:4")
        out = [at_s for at_s, data in chunks(bench, 12) if not data]
        assert min(out) == pytest.approx(5.0, abs=2 * TICK_S)
        assert max(out) == pytest.approx(9.0, abs=2 * TICK_S)
        assert len(out) == pytest.approx(4.0 / TICK_S, abs=2)
        reader, _ = read(received(faulty("unplug@5:4"), 12))
        assert reader.restarts == 0
        assert reader.lost_lines == pytest.approx(4 * 80, abs=5)

    def test_plugged_says_whether_the_lead_is_in(self) -> None:
        bench = faulty("unplug@1:1", "power@3:1")
        seen = []
        for _ in range(100):
            bench.advance(TICK_S)
            seen.append(bench.plugged)
        changes = [round((i + 1) * TICK_S, 2) for i in range(1, 100) if seen[i] != seen[i - 1]]
        assert changes == pytest.approx([1.0, 2.0, 3.0, 4.0], abs=2 * TICK_S)

    def test_a_lead_that_feeds_the_meter_restarts_it(self) -> None:
        data = received(faulty("power@5:4"), 12)
        assert read(data)[0].restarts == 1
        assert data.count(b"rst=por") == 2, "at the first boot and at the second; the next is due at 14 s"

    def test_silence_loses_lines_and_nothing_else(self) -> None:
        data = received(faulty("silent@5:2"), 12)
        reader, _ = read(data)
        assert reader.lost_lines == pytest.approx(2 * 80, abs=5)
        assert (reader.restarts, reader.bad_lines) == (0, 0)

    def test_garbage_is_never_taken_for_a_line(self) -> None:
        reader, samples = read(received(faulty("garbage@5:2"), 12))
        assert reader.bad_lines > 0
        assert reader.lost_lines == pytest.approx(2 * 80, abs=5)
        plain = {sample.device_s: sample.raw for sample in read(received(faulty(), 12))[1]}
        assert all(plain[sample.device_s] == sample.raw for sample in samples)

    def test_a_burst_of_noise_scatters_the_readings_and_ends(self) -> None:
        quiet = MeterModel(noise_Nm=0.0, jitter_us=0.0)
        _, samples = read(received(faulty("noise@1:2", meter=quiet), 4))
        torque = np.array([sample.torque_Nm for sample in samples])
        during = torque[(np.arange(len(torque)) > 85) & (np.arange(len(torque)) < 230)]
        assert np.std(during) == pytest.approx(NOISE_NM, rel=0.2)
        assert np.std(torque[:70]) < 1e-7
        assert np.std(torque[-70:]) < 1e-7


class TestShares:
    """Counts over 30 s of 80 lines a second, within four standard deviations of a binomial."""

    SECONDS = 30.0
    LINES = 2400

    @pytest.mark.parametrize("share", [0.01, 0.2])
    def test_lost_lines_are_missed_by_their_sequence(self, share: float) -> None:
        reader, samples = read(received(faulty(f"lost={share}"), self.SECONDS))
        sd = (self.LINES * share * (1 - share)) ** 0.5
        assert reader.lost_lines == pytest.approx(self.LINES * share, abs=4 * sd)
        assert len(samples) + reader.lost_lines == pytest.approx(self.LINES, abs=8)

    @pytest.mark.parametrize("fault", ["cut=0.1", "flip=0.005"])
    def test_spoilt_lines_are_dropped_not_believed(self, fault: str) -> None:
        reader, samples = read(received(faulty(fault), self.SECONDS))
        plain = {sample.device_s: sample.raw for sample in read(received(faulty(), self.SECONDS))[1]}
        assert 100 < reader.lost_lines < 700
        assert all(plain[sample.device_s] == sample.raw for sample in samples)

    def test_a_line_that_comes_twice_counts_once(self) -> None:
        data = received(faulty("double=0.5"), self.SECONDS)
        assert data.count(b"$D") == pytest.approx(1.5 * self.LINES, abs=100)
        _, samples = read(data)
        assert [s.raw for s in samples] == [s.raw for s in read(received(faulty(), self.SECONDS))[1]]

    def test_spikes_jump_for_one_line(self) -> None:
        _, samples = read(received(faulty("spike=0.05"), 4))
        torque = np.array([sample.torque_Nm for sample in samples])
        assert np.count_nonzero(np.abs(torque) > 4e-3) == pytest.approx(0.05 * 4 * 80, abs=16)

    def test_a_converter_that_gives_nothing_leaves_the_reading_out(self) -> None:
        frames = FrameParser().feed(received(faulty("nodata=0.1"), self.SECONDS))
        empty = [frame for frame in frames if isinstance(frame, Sample) and frame.raw is None]
        assert len(empty) == pytest.approx(240, abs=60)
        assert {frame.flags & 0x02 for frame in empty} == {0x02}

    def test_a_line_that_the_meter_drops_is_flagged_in_the_next(self) -> None:
        frames = FrameParser().feed(received(faulty("drop=0.1"), self.SECONDS))
        samples = [frame for frame in frames if isinstance(frame, Sample)]
        for before, after in pairwise(samples):
            assert bool(after.flags & 0x10) == (after.seq - before.seq > 1)
        assert sum(bool(sample.flags & 0x10) for sample in samples) > 150
