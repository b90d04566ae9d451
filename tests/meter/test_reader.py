"""The wire to the torque: what a line becomes, and what the reader remembers across tares, links and restarts."""

from __future__ import annotations

import pytest

from winding_coach.meter.calibration import SIMULATED, Calibration
from winding_coach.meter.frames import (
    NO_DATA,
    OVERLOAD,
    SATURATED,
    SETTLING,
    Hello,
    Sample,
    encode_hello,
    encode_sample,
)
from winding_coach.meter.reader import MeterReader, TorqueSample

CELL = Calibration("", "", "", zero_counts=1000.0, Nm_per_count=1e-6, rating_Nm=20e-3)
PLAIN = TorqueSample(0.0, 4000, 3e-3, False, False, False, False, None, False, None, None, 0, False)
"""What a line without anything out of the way becomes."""


def only(reader: MeterReader, sample: Sample) -> TorqueSample:
    """Feed one line; return the one sample that comes of it."""
    (found,) = reader.feed(encode_sample(sample))
    return found


def test_a_plain_line() -> None:
    assert only(MeterReader(CELL), Sample(7, 50_000, 4000)) == PLAIN


def test_a_line_with_all_channels_in_si_units() -> None:
    found = only(MeterReader(CELL), Sample(812, 10_200_124, 4000, 0, 17, 3120, 213))
    assert (found.crank_turns, found.distance_m, found.temperature_C) == (0, 3.12, 21.3)
    assert found.torque_Nm == pytest.approx(3e-3)


@pytest.mark.parametrize(
    ("flags", "names"),
    [
        (0, set()),
        (SATURATED, {"saturated"}),
        (OVERLOAD, {"overload"}),
        (SETTLING, {"settling"}),
        (NO_DATA, {"no_data"}),
        (SATURATED | OVERLOAD | SETTLING, {"saturated", "overload", "settling"}),
        (0xE0, set()),
    ],
)
def test_flags_by_name(flags: int, names: set[str]) -> None:
    found = only(MeterReader(CELL), Sample(1, 1, 4000, flags))
    assert {name for name in ("saturated", "overload", "settling", "no_data") if getattr(found, name)} == names


@pytest.mark.parametrize("sample", [Sample(1, 1, None, NO_DATA), Sample(1, 1, None, 0), Sample(1, 1, 900_000, NO_DATA)])
def test_a_converter_without_a_reading_gives_no_torque(sample: Sample) -> None:
    found = only(MeterReader(CELL), sample)
    assert (found.raw, found.torque_Nm, found.no_data, found.overload) == (None, None, True, False)


def test_overload_by_the_calibrations_rating_though_the_meter_says_nothing() -> None:
    """A cell of 1 mV/V is at its rating at a quarter of the converter's range: saturation does not protect it."""
    reader = MeterReader(CELL)
    assert not only(reader, Sample(1, 1, 20_900)).overload
    assert only(reader, Sample(2, 12_501, 21_100)).overload
    assert only(reader, Sample(3, 25_001, -19_100)).overload


def test_a_tare_does_not_unload_a_cell() -> None:
    reader = MeterReader(CELL)
    reader.tare(21_100)
    found = only(reader, Sample(1, 1, 21_100))
    assert (found.torque_Nm, found.overload) == (0.0, True)


def test_tare_replaces_the_zero_from_now_on() -> None:
    reader = MeterReader(CELL)
    assert reader.zero_counts == 1000.0
    assert only(reader, Sample(1, 1, 4000)).torque_Nm == pytest.approx(3e-3)
    reader.tare(3000.0)
    assert reader.zero_counts == 3000.0
    assert only(reader, Sample(2, 12_501, 4000)).torque_Nm == pytest.approx(1e-3)
    assert MeterReader(CELL, 3000.0).zero_counts == 3000.0


def test_a_meters_reset_keeps_the_tare() -> None:
    reader = MeterReader(CELL)
    reader.feed(encode_sample(Sample(900, 60_000_000, 4000, 0, 12)))
    reader.tare(4000.0)
    reader.feed(encode_hello(Hello(1, (("board", "uno"), ("rst", "wdt")))))
    found = only(reader, Sample(0, 50_000, 4000, SETTLING, 0))
    assert (found.torque_Nm, found.restarted, found.crank_turns) == (0.0, True, 0)
    assert reader.restarts == 1
    assert reader.lost_lines == 0


def test_hello_is_kept_and_tells_a_two_sensor_crank() -> None:
    reader = MeterReader(CELL)
    assert MeterReader(CELL).hello is None
    assert not only(reader, Sample(1, 1, 4000, 0, 5)).quadrature
    assert reader.feed(encode_hello(Hello(1, (("board", "uno"), ("ch", "qd"))))) == []
    assert reader.hello is not None
    assert reader.hello.board == "uno"
    found = only(reader, Sample(2, 12_501, 4000, 0, 4))
    assert (found.quadrature, found.crank_turns) == (True, -1)


def test_four_counts_make_a_turn_where_the_hello_says_so() -> None:
    reader = MeterReader(CELL)
    reader.feed(encode_hello(Hello(1, (("ch", "q"), ("ppr", "4")))))
    only(reader, Sample(1, 1, 4000, 0, 65535))
    found = [only(reader, Sample(seq, 12_500 * seq, 4000, 0, crank)) for seq, crank in ((2, 0), (3, 5), (4, 4))]
    assert [sample.crank_turns for sample in found] == [0.25, 1.5, 1.25]
    assert found[0].pulses_per_turn == 4


def test_a_hello_that_comes_late_tells_what_the_counts_before_it_were() -> None:
    reader = MeterReader(CELL)
    only(reader, Sample(1, 1, 4000, 0, 10))
    assert only(reader, Sample(2, 12_501, 4000, 0, 12)).crank_turns == 2
    reader.feed(encode_hello(Hello(1, (("ch", "c"), ("ppr", "4")))))
    assert only(reader, Sample(3, 25_001, 4000, 0, 13)).crank_turns == 0.75


def test_a_ppr_that_is_no_number_is_taken_for_one_pulse_a_turn() -> None:
    reader = MeterReader(CELL)
    reader.feed(encode_hello(Hello(1, (("ch", "c"), ("ppr", "four")))))
    only(reader, Sample(1, 1, 4000, 0, 0))
    assert only(reader, Sample(2, 12_501, 4000, 0, 2)).crank_turns == 2


def test_an_encoder_s_hundred_counts_between_two_lines_are_no_new_counter() -> None:
    """2.2 turns a second and 0.4 s between two lines: 88 counts of a hundred a turn."""
    reader = MeterReader(CELL)
    reader.feed(encode_hello(Hello(1, (("ch", "q"), ("ppr", "100")))))
    only(reader, Sample(1, 1, 4000, 0, 0))
    assert only(reader, Sample(2, 400_001, 4000, 0, 88)).crank_turns == 0.88


def test_lost_double_and_damaged_lines_are_told_apart() -> None:
    reader = MeterReader(CELL)
    first, last = encode_sample(Sample(1, 12_500, 4000)), encode_sample(Sample(5, 62_500, 4000))
    assert len(reader.feed(first + first + first[:-3] + b"\r\n" + last)) == 2
    assert (reader.lost_lines, reader.bad_lines, reader.restarts) == (3, 1, 0)


def test_after_a_new_link_a_cut_line_is_no_error_and_a_gap_no_loss() -> None:
    reader = MeterReader(CELL)
    line = encode_sample(Sample(1, 12_500, 4000))
    reader.feed(line + line[:9])
    reader.link_up()
    (found,) = reader.feed(line[12:] + encode_sample(Sample(401, 5_012_500, 4000)))
    assert (found.device_s, found.lost_before) == (5.0, 0)
    assert (reader.lost_lines, reader.bad_lines) == (0, 0)


def test_the_page_s_lines_through_the_simulated_cell() -> None:
    """Lines 812 and 817 of the protocol's page; the torque by hand: (1187340 − 84200) / 72994 mN·m = 15.113."""
    reader = MeterReader(SIMULATED)
    samples = reader.feed(
        b"$D,812,10200124,1187340,00,c=17,d=3120,t=213*A5CC\r\n$D,817,10350112,1187102,10,c=18*B224\r\n"
    )
    assert samples[0].torque_Nm == pytest.approx(15.113e-3, abs=0.5e-6)
    assert (samples[1].device_s, samples[1].crank_turns, samples[1].lost_before) == (0.149988, 1, 4)
