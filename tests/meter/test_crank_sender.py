"""A crank sender's lines joined with the meter's: what the handle did, when it did it, lost and late named."""

from __future__ import annotations

import math
from binascii import crc_hqx
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.commissioning.conforming import Conformance, line_faults
from winding_coach.meter.crank_sender import DELAY_S, GONE_S, UNHEARD_S, CrankSender
from winding_coach.meter.frames import (
    BATTERY_LOW,
    LONGEST_LINE,
    U16,
    U32,
    CrankLine,
    FrameParser,
    Sample,
    encode_crank,
    encode_sample,
)
from winding_coach.meter.reader import MeterReader, TorqueSample
from winding_coach.simulator.crank_sender import Radio, SimulatedSender

Way = Callable[[float], float]
LINE_S = 0.0125


def steady(at_s: float) -> float:
    """A handle that stands for 2 s, then turns evenly."""
    return 1.3 * max(at_s - 2.0, 0.0)


def back(at_s: float) -> float:
    """Ten turns forwards and then back."""
    return 10.0 - abs(10.0 - 1.3 * at_s)


def joined(
    seconds: float,
    way: Way = steady,
    *,
    per_turn: int = 1,
    two: bool = False,
    radio: Callable[[float], Radio] = lambda at_s: Radio(),
    seed: int = 4,
) -> tuple[MeterReader, list[tuple[float, TorqueSample]]]:
    """What a reader makes of a meter and a sender, each with a clock of its own; the time is the handle's."""
    sender, reader = SimulatedSender(per_turn, two, np.random.default_rng(seed)), MeterReader(SIMULATED)
    found = []
    for number in range(round(seconds / LINE_S)):
        at_s = number * LINE_S
        sender.radio = radio(at_s)
        sender.move(at_s, way(at_s))
        # The meter's clock gains 40 ppm and began elsewhere; its lines are 2 ms on their way.
        line = encode_sample(Sample(number % U16, round(1e6 * (0.05 + at_s * (1 + 40e-6))) % U32, 84_000 + number % 7))
        found += [(at_s, sample) for sample in reader.feed(sender.arrived() + line, at_s + 0.002)]
    return reader, found


def off(found: list[tuple[float, TorqueSample]], way: Way, per_turn: int, from_s: float = 1.0) -> list[float]:
    """By how many turns the count is off what the handle had done, a delay before."""
    whole = [math.floor(per_turn * way(at_s - DELAY_S)) / per_turn for at_s, _ in found]
    first = next(sample.crank_turns for at_s, sample in found if at_s >= from_s and sample.crank_turns is not None)
    return [
        sample.crank_turns - first - true
        for (at_s, sample), true in zip(found, whole, strict=True)
        if at_s >= from_s and sample.crank_turns is not None
    ]


@given(
    st.builds(
        CrankLine,
        st.integers(0, U16 - 1),
        st.integers(0, U32 - 1),
        st.integers(0, U16 - 1),
        st.none() | st.integers(0, U16 - 1),
        st.sampled_from([0, 0x10, 0x40, 0x50]),
        st.integers(1, 1000),
        st.booleans(),
    )
)
def test_a_line_comes_back_as_it_was_and_keeps_its_length(line: CrankLine) -> None:
    written = encode_crank(line)
    assert len(written) <= LONGEST_LINE
    assert FrameParser().feed(written) == [line]
    assert list(line_faults(written.removesuffix(b"\n"))) == []


def test_the_pages_example() -> None:
    assert encode_crank(CrankLine(41, 8_200_456, 17, 312, 0, 4)) == b"$C,41,8200456,17,312,00,ppr=4*F238\r\n"


@pytest.mark.parametrize(
    "body",
    [
        *("C,1,2,3,4", "C,1,2,3,4,0", "C,65536,2,3,4,00", "C,1,4294967296,3,4,00", "C,1,2,65536,4,00"),
        *("C,1,2,3,65536,00", "C,1,2,3,-4,00", "C,1,2,3,4,00,ppr=0", "C,1,2,3,4,00,ppr=1001", "C,01,2,3,4,00"),
    ],
)
def test_what_is_no_line_is_dropped_and_counted_and_named(body: str) -> None:
    line = b"$%b*%04X\r\n" % (body.encode(), crc_hqx(body.encode(), 0xFFFF))
    parser = FrameParser()
    assert parser.feed(b"\n" + line) == []
    assert parser.bad_lines == 1
    assert list(line_faults(line.removesuffix(b"\n"))) != []


@pytest.mark.parametrize("per_turn", [1, 4])
@pytest.mark.parametrize("seed", range(5))
def test_counts_come_a_fixed_delay_after_the_handle(per_turn: int, seed: int) -> None:
    reader, found = joined(60.0, per_turn=per_turn, seed=seed)
    wrong = off(found, steady, per_turn)
    assert len(wrong) > 4700
    # A line of the meter is 12.5 ms, the radio's jitter is taken out: but for the edge of a count, all are right.
    assert np.mean(np.abs(wrong) > 1e-9) < 0.05 * per_turn
    assert max(np.abs(wrong)) <= 1.0 / per_turn + 1e-9
    assert wrong[-1] == pytest.approx(0.0, abs=1.0 / per_turn)
    assert (reader.crank_sender.lost, reader.crank_sender.late, reader.crank_sender.trouble) == (0, 0, None)


@pytest.mark.parametrize("seed", range(5))
def test_lost_lines_lose_no_count_and_are_named(seed: int) -> None:
    reader, found = joined(60.0, per_turn=4, radio=lambda at_s: Radio(lost=0.2), seed=seed)
    wrong = off(found, steady, 4)
    assert max(np.abs(wrong)) <= 0.75, "what was lost comes with the next line, and is spread over the time between"
    assert abs(wrong[-1]) <= 0.25
    sender = reader.crank_sender
    assert 0.15 < sender.lost / (sender.lines + sender.lost) < 0.25
    assert sender.trouble is not None
    assert "of the crank sender's lines are lost: bring it nearer" in sender.trouble


def test_late_lines_are_named_and_lose_no_count() -> None:
    reader, found = joined(60.0, radio=lambda at_s: Radio(late=0.05))
    assert abs(off(found, steady, 1)[-1]) <= 1.0
    assert reader.crank_sender.late > 5
    assert reader.crank_sender.worst_late_s > 0.25
    assert reader.crank_sender.lost == 0
    assert reader.crank_sender.trouble is not None
    assert "more than 0.25 s late" in reader.crank_sender.trouble


def test_a_sender_that_is_not_heard_says_nothing_of_the_handle() -> None:
    """Its last count was taken for a handle that stands."""
    reader, found = joined(40.0, radio=lambda at_s: Radio(silent=20.0 <= at_s < 22.0))
    unheard = [at_s for at_s, sample in found if sample.crank_turns is None and at_s > 1.0]
    assert unheard[0] == pytest.approx(20.0 + UNHEARD_S, abs=0.12)
    assert unheard[-1] == pytest.approx(22.0, abs=0.12)
    assert all(sample.crank_unheard for at_s, sample in found if at_s in unheard)
    assert abs(off(found, steady, 1)[-1]) <= 1.0, "what was turned meanwhile comes with the first line"
    assert reader.crank_sender.trouble is None


def test_a_sender_that_is_gone_is_named() -> None:
    reader, _ = joined(20.0 + GONE_S + 0.6, radio=lambda at_s: Radio(silent=at_s >= 20.0))
    assert reader.crank_sender.gone
    assert reader.crank_sender.trouble is not None
    assert "silent for" in reader.crank_sender.trouble


def test_two_sensors_show_the_way_back() -> None:
    _, found = joined(14.0, back, per_turn=4, two=True)
    wrong = off(found, back, 4, from_s=0.5)
    assert max(np.abs(wrong)) <= 0.5
    assert all(sample.quadrature for _, sample in found[20:])
    turns = [sample.crank_turns for _, sample in found if sample.crank_turns is not None]
    assert turns[-1] < max(turns) - 7.0


def test_clock_and_count_wrap() -> None:
    sender = CrankSender()
    seen = []
    for number in range(200):
        at_s = 0.1 * number
        t_us = (U32 - 5_000_000 + round(1e6 * at_s)) % U32
        sender.take(CrankLine((U16 - 50 + number) % U16, t_us, (U16 - 20 + number // 5) % U16, 0), at_s)
        seen.append(sender.count(7.0 + at_s, at_s))
    assert seen[-1] == pytest.approx(39, abs=1)
    assert (sender.lost, sender.restarts) == (0, 0)


def test_a_sender_that_restarts_goes_on_from_its_count() -> None:
    sender = CrankSender()
    for number in range(100):
        sender.take(CrankLine(500 + number, 60_000_000 + 100_000 * number, 300 + number // 10, 0), 0.1 * number)
        before = sender.count(0.1 * number, 0.1 * number)
    for number in range(100):
        at_s = 12.0 + 0.1 * number
        sender.take(CrankLine(number, 50_000 + 100_000 * number, number // 10, None if number < 10 else 0), at_s)
        after = sender.count(at_s, at_s)
    assert before == pytest.approx(9, abs=1)
    assert after == pytest.approx(18, abs=1)
    assert sender.restarts == 1


def test_a_low_battery_is_named() -> None:
    sender = CrankSender()
    sender.take(CrankLine(1, 1000, 0, None, BATTERY_LOW), 0.0)
    assert sender.trouble == "the crank sender's battery is low"


def test_a_meter_of_its_own_crank_is_not_asked_where_a_sender_is_heard() -> None:
    reader = MeterReader(SIMULATED)
    for number in range(100):
        line = encode_sample(Sample(number, 12_500 * number, 84_000 + number % 3, 0, 5 * number))
        more = (
            encode_crank(CrankLine(number // 8, 100_000 * (number // 8), number // 40, 0)) if number % 8 == 0 else b""
        )
        samples = reader.feed(more + line, 0.0125 * number)
    assert samples[-1].crank_turns == 2


# -- conformance


def stream(change: Callable[[int, CrankLine], CrankLine | None], seconds: float = 12.0) -> Conformance:
    """A good sender, one line changed or left out, held against the protocol."""
    found = Conformance()
    found.feed(0.0, b"\n")
    for number in range(round(seconds / 0.1)):
        at_s = 0.1 * number
        count = number // 8
        line = change(number, CrankLine(number, 40_000 + round(1e6 * at_s), count, 100 * (number % 8), 0, 1))
        if line is not None:
            found.feed(at_s, encode_crank(line))
    found.end(seconds)
    return found


def test_a_good_sender_conforms() -> None:
    found = stream(lambda number, line: line)
    assert found.faults == ()
    assert (found.sender.lines, found.sender.counts) == (120, 14)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda n, c: CrankLine(0, c.t_us, c.crank, c.age_ms), "seq of the crank sender does not count up"),
        (lambda n, c: None if n % 10 == 3 else c, "Lines of the crank sender are missing"),
        (lambda n, c: CrankLine(c.seq, 5, c.crank, c.age_ms), "t_us of the crank sender does not advance"),
        (lambda n, c: CrankLine(c.seq, c.t_us // 1000, c.crank, None), "counts milliseconds"),
        (lambda n, c: CrankLine(c.seq, c.t_us * 11 // 10, c.crank, c.age_ms), "makes 1.10 s of each second"),
        (lambda n, c: CrankLine(c.seq, c.t_us, 1000 - c.crank, c.age_ms), "goes down, and it does not say ch=q"),
        (lambda n, c: CrankLine(c.seq, c.t_us, c.crank, 60_000), "age of the crank sender is from before"),
        (lambda n, c: CrankLine(c.seq, c.t_us, c.crank, 5), "age of the crank sender does not grow"),
        (lambda n, c: CrankLine(c.seq // 4, c.t_us, c.crank, c.age_ms) if n % 4 == 0 else None, "More than 0.2 s"),
    ],
)
def test_what_a_sender_may_do_wrong_is_named(change: Callable[[int, CrankLine], CrankLine | None], says: str) -> None:
    found = stream(change)
    assert any(says in fault.words for fault in found.faults), found.faults
