"""The firmware's core, compiled for this machine, against the reader's own encoder and parser."""

from __future__ import annotations

import ctypes
from binascii import crc_hqx
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from winding_coach.meter.clock import DeviceClock
from winding_coach.meter.frames import (
    FROZEN,
    LINE_DROPPED,
    NO_DATA,
    OVERLOAD,
    RAW_MAX,
    RAW_MIN,
    SATURATED,
    SETTLING,
    U16,
    U32,
    Frame,
    FrameParser,
    Hello,
    Sample,
    encode_hello,
    encode_sample,
)

CRANK, DISTANCE, TEMPERATURE = 1, 2, 4
FIELDS = b",board=uno,rate=80,ch=c,rst=ext"


class Core:
    """The shim's functions by what they do."""

    def __init__(self, library: ctypes.CDLL, has: int = CRANK, overload: int = RAW_MAX, now_us: int = 0) -> None:
        self._core = library
        self._core.shim_fields(FIELDS)
        self.start(has=has, overload=overload, now_us=now_us)

    def start(self, *, has: int = CRANK, overload: int = RAW_MAX, two: bool = False, a: bool = False, b: bool = False,
              now_us: int = 0) -> None:  # fmt: skip
        self._core.shim_start(has, overload, two, a, b, ctypes.c_uint32(now_us))

    def converted(self, raw: int, t_us: int) -> None:
        self._core.shim_converted(ctypes.c_uint32(raw & 0xFFFFFF), ctypes.c_uint32(t_us))

    def waited(self, now_us: int) -> bool:
        return bool(self._core.shim_waited(ctypes.c_uint32(now_us)))

    def crank(self, a: bool, b: bool, now_us: int) -> int:
        self._core.shim_crank(a, b, ctypes.c_uint32(now_us))
        return int(self._core.shim_turns())

    def ask(self, byte: bytes = b"?") -> None:
        self._core.shim_received(byte[0])

    def take(self, most: int = 4096) -> bytes:
        out = ctypes.create_string_buffer(most)
        length = self._core.shim_take(out, ctypes.c_size_t(most))
        return out.raw[:length]

    def frames(self) -> list[Frame]:
        parser = FrameParser()
        found = parser.feed(self.take())
        assert parser.bad_lines == 0
        return found


def samples(frames: list[Frame]) -> list[Sample]:
    return [frame for frame in frames if isinstance(frame, Sample)]


# -- lines


@given(
    seq=st.integers(0, U16 - 1),
    t_us=st.integers(0, U32 - 1),
    raw=st.integers(RAW_MIN, RAW_MAX) | st.sampled_from([0, -1, RAW_MIN, RAW_MAX]),
    flags=st.integers(0, 255),
    has=st.integers(0, 7),
    crank=st.integers(0, U16 - 1),
    distance_mm=st.integers(0, U16 - 1),
    temperature_dC=st.integers(-999, 9999),
)
def test_a_line_is_the_readers_own(
    core: ctypes.CDLL, seq: int, t_us: int, raw: int, flags: int, has: int, crank: int, distance_mm: int,
    temperature_dC: int,
) -> None:  # fmt: skip
    sample = Sample(
        seq,
        t_us,
        None if flags & NO_DATA else raw,
        flags,
        crank if has & CRANK else None,
        distance_mm if has & DISTANCE else None,
        temperature_dC if has & TEMPERATURE else None,
    )
    out = ctypes.create_string_buffer(80)
    length = core.shim_sample(out, seq, ctypes.c_uint32(t_us), raw, flags, has, crank, distance_mm, temperature_dC)
    assert out.raw[:length] == encode_sample(sample)
    assert FrameParser().feed(out.raw[:length]) == [sample]


@pytest.mark.parametrize(("asked", "sent"), [(-32768, -999), (32767, 9999)])
def test_a_temperature_that_cannot_be_keeps_the_line_within_its_length(
    core: ctypes.CDLL, asked: int, sent: int
) -> None:
    out = ctypes.create_string_buffer(80)
    length = core.shim_sample(out, U16 - 1, ctypes.c_uint32(U32 - 1), RAW_MIN, 0xFD, 7, U16 - 1, U16 - 1, asked)
    assert length <= 62
    (found,) = samples(FrameParser().feed(out.raw[:length]))
    assert found.temperature_dC == sent


def test_crc_is_that_of_the_catalogue(core: ctypes.CDLL) -> None:
    # RevEng catalogue of parametrised CRC algorithms: CRC-16/IBM-3740, check value.
    assert core.meter_crc(b"123456789", ctypes.c_size_t(9)) == 0x29B1


@given(st.binary(max_size=80))
def test_crc_is_the_librarys(core: ctypes.CDLL, data: bytes) -> None:
    assert core.meter_crc(data, ctypes.c_size_t(len(data))) == crc_hqx(data, 0xFFFF)


@given(st.binary(min_size=3, max_size=3))
def test_24_bits_have_their_sign(core: ctypes.CDLL, bits: bytes) -> None:
    shifted = ctypes.c_uint32(int.from_bytes(bits, "big"))
    assert core.meter_from_24_bits(shifted) == int.from_bytes(bits, "big", signed=True)


def test_the_ends_of_the_range_have_their_sign(core: ctypes.CDLL) -> None:
    found = [core.meter_from_24_bits(ctypes.c_uint32(bits)) for bits in (0x7FFFFF, 0x800000, 0xFFFFFF, 0)]
    assert found == [RAW_MAX, RAW_MIN, -1, 0]


def test_a_hello_is_the_readers_own_up_to_the_longest(core: ctypes.CDLL) -> None:
    out = ctypes.create_string_buffer(100)
    for extra in range(70):
        fields = ",board=uno,rate=80,ch=c,x=" + "y" * extra
        pairs = tuple(tuple(part.split("=")) for part in fields[1:].split(","))
        length = core.meter_encode_hello(out, fields.encode())
        if extra <= 85 - 26:
            assert out.raw[:length] == encode_hello(Hello(1, pairs))  # type: ignore[arg-type]
        else:
            assert length == 0


def test_fields_are_added_as_long_as_they_fit(core: ctypes.CDLL) -> None:
    core.shim_fields(b"")
    wanted = [
        (b"board", b"a board with a name"),
        (b"rate", b"80"),
        (b"ch", b"qdt"),
        (b"rst", b"ext"),
        (b"ppr", b"1000"),
        (b"adc", b"ads1220"),
        (b"gain", b"128"),
        (b"more", b"0123456789"),
    ]
    assert [core.shim_add_field(*pair) for pair in wanted] == [True] * 7 + [False]
    assert core.shim_fields_now().endswith(b",ppr=1000,adc=ads1220,gain=128")
    assert core.shim_add_field(b"z", b"1")
    assert len(core.shim_fields_now()) <= 85
    assert not core.shim_add_field(b"y", b"1234567890")


# -- the meter


def test_the_first_four_are_settling(core: ctypes.CDLL) -> None:
    meter = Core(core)
    for number in range(6):
        meter.converted(100 + number, 50_000 + 12_500 * number)
        (sample,) = samples(meter.frames())
        assert sample == Sample(number, 50_000 + 12_500 * number, 100 + number, SETTLING if number < 4 else 0, 0)


@pytest.mark.parametrize(
    ("raw", "flags"),
    [
        (RAW_MAX, SATURATED | OVERLOAD),
        (RAW_MIN, SATURATED | OVERLOAD),
        (RAW_MAX - 1, OVERLOAD),
        (2_000_000, OVERLOAD),
        (-2_000_000, OVERLOAD),
        (1_999_999, 0),
        (-1_999_999, 0),
        (0, 0),
    ],
)
def test_flags_of_a_reading(core: ctypes.CDLL, raw: int, flags: int) -> None:
    meter = Core(core, overload=2_000_000)
    for number in range(5):
        meter.converted(raw, 1000 * number)
        found = samples(meter.frames())
    assert found[0].flags == flags
    assert found[0].raw == raw


def test_full_scale_is_the_overload_where_no_other_is_set(core: ctypes.CDLL) -> None:
    meter = Core(core)
    flags = []
    for number, raw in enumerate([0, 0, 0, 0, RAW_MAX - 1, RAW_MAX, RAW_MIN]):
        meter.converted(raw, 1000 * number)
        flags.append(samples(meter.frames())[0].flags)
    assert flags[4:6] == [0, 0x05]
    assert flags[6] == 0x05


def test_a_hello_comes_first(core: ctypes.CDLL) -> None:
    meter = Core(core)
    meter.waited(10)
    (hello,) = meter.frames()
    assert isinstance(hello, Hello)
    assert (hello.board, hello.rate_hz, hello.channels) == ("uno", 80.0, "c")
    meter.waited(20)
    assert meter.take() == b""


def test_a_hello_that_was_asked_for_follows_the_next_line(core: ctypes.CDLL) -> None:
    meter = Core(core)
    meter.waited(10)
    meter.take()
    meter.ask(b"x")
    meter.converted(1, 100)
    assert len(meter.frames()) == 1
    meter.ask()
    meter.waited(200)
    assert meter.take() == b""
    meter.converted(1, 300)
    assert [type(frame) for frame in meter.frames()] == [Sample, Hello]


def test_a_hello_comes_every_five_seconds(core: ctypes.CDLL) -> None:
    meter = Core(core)
    at_s = []
    for number in range(1, 2001):
        meter.waited(10_000 * number)
        meter.converted(1, 10_000 * number)
        at_s += [number / 100 for frame in meter.frames() if isinstance(frame, Hello)]
    assert at_s[1:] == [5.0, 10.0, 15.0, 20.0]


def test_silence_of_the_converter_is_said_every_600_ms(core: ctypes.CDLL) -> None:
    meter = Core(core)
    for number in range(10):
        meter.converted(5, 10_000 * number)
        meter.take()
    at_us = [now for now in range(90_000, 2_000_000, 1000) if meter.waited(now)]
    assert at_us == [690_000, 1_290_000, 1_890_000]
    found = samples(meter.frames())
    assert [sample.t_us for sample in found] == at_us
    assert all(sample.raw is None and sample.flags == NO_DATA for sample in found)
    # Settling is said after a start of the meter only: a reader may take it for one.
    meter.converted(6, 2_000_000)
    assert [sample.flags for sample in samples(meter.frames())] == [0]


def test_a_line_without_room_is_dropped_counted_and_flagged(core: ctypes.CDLL) -> None:
    meter = Core(core)
    for number in range(20):
        meter.converted(RAW_MIN + number, 4_000_000_000 + 3_000 * number)
    before = samples(meter.frames())
    meter.converted(1, 4_000_060_000)
    meter.converted(2, 4_000_063_000)
    after = samples(meter.frames())
    assert 3 <= len(before) < 20
    assert [sample.flags & LINE_DROPPED for sample in before + after] == [0] * len(before) + [LINE_DROPPED, 0]
    clock = DeviceClock()
    unwrapped = [clock.add(sample, quadrature=False) for sample in before + after]
    assert sum(one.lost for one in unwrapped if one is not None) == 20 - len(before)


@given(st.lists(st.integers(1, 90), min_size=30, max_size=60))
def test_a_slow_port_cuts_no_line(core: ctypes.CDLL, rooms: list[int]) -> None:
    meter = Core(core)
    sent = b""
    for number, room in enumerate(rooms):
        meter.ask()
        meter.converted(-(2**20) - number, 100 * number)
        sent += meter.take(room)
    sent += meter.take()
    parser = FrameParser()
    found = samples(parser.feed(sent))
    assert parser.bad_lines == 0
    assert [sample.raw for sample in found] == [-(2**20) - sample.seq for sample in found]
    gaps = [b.seq - a.seq > 1 for a, b in pairwise(found)]
    assert [bool(sample.flags & LINE_DROPPED) for sample in found[1:]] == gaps


def test_sequence_and_clock_wrap(core: ctypes.CDLL) -> None:
    meter = Core(core, now_us=U32 - 1000)
    clock = DeviceClock()
    parser = FrameParser()
    last = None
    for number in range(U16 + 10):
        t_us = (U32 - 30_000_000 + 1000 * number) % U32
        assert not meter.waited(t_us)
        meter.converted(number, t_us)
        for sample in samples(parser.feed(meter.take())):
            last = clock.add(sample, quadrature=False)
            assert last is not None
            assert (last.lost, last.restarted) == (0, False)
    assert last is not None
    assert last.device_s == pytest.approx((U16 + 9) * 1e-3)


def test_equal_readings_are_flagged_as_frozen(core: ctypes.CDLL) -> None:
    """32 in a row; one that differs, or the end of the range, takes the flag away."""
    meter = Core(core)
    flags = []
    for number, raw in enumerate([5] * 40 + [6] + [5] * 33 + [RAW_MAX] * 40):
        meter.converted(raw, 12_500 * number)
        flags += [sample.flags & FROZEN for sample in samples(meter.frames())]
    assert flags == [0] * 32 + [FROZEN] * 8 + [0] * 33 + [FROZEN] + [0] * 40


def test_a_converter_that_was_started_anew_is_not_frozen_by_what_it_gave_before(core: ctypes.CDLL) -> None:
    meter = Core(core)
    for number in range(40):
        meter.converted(5, 12_500 * number)
    meter.take()
    assert meter.waited(1_200_000)
    meter.converted(5, 1_250_000)
    assert [sample.flags & FROZEN for sample in samples(meter.frames())] == [0, 0]


# -- the crank


@given(
    st.lists(
        st.tuples(st.integers(3_100, 300_000), st.lists(st.integers(1, 900), max_size=6)), min_size=1, max_size=40
    ),
    st.sampled_from([0, U32 - 50_000]),
)
def test_one_switch_counts_its_closings_however_it_bounces(
    core: ctypes.CDLL, changes: list[tuple[int, list[int]]], begin_us: int
) -> None:
    meter = Core(core, now_us=begin_us)
    now, closed, counted = begin_us, False, 0
    for steady_us, bounces in changes:
        closed = not closed
        level = closed
        for bounce_us in bounces:
            meter.crank(level, False, now % U32)
            now += bounce_us
            level = not level
        meter.crank(closed, False, now % U32)
        for _ in range(4):
            now += steady_us // 4 + 1
            turns = meter.crank(closed, False, now % U32)
        counted += closed
        assert turns == counted


@given(st.lists(st.tuples(st.integers(1, 2_900), st.integers(1, 100_000)), max_size=40))
def test_a_blip_shorter_than_a_bounce_is_no_turn(core: ctypes.CDLL, blips: list[tuple[int, int]]) -> None:
    meter = Core(core)
    now = 0
    for closed_us, open_us in blips:
        meter.crank(True, False, now)
        now += closed_us
        assert meter.crank(False, False, now) == 0
        now += open_us
        assert meter.crank(False, False, now) == 0


PLACES = ((False, False), (True, False), (True, True), (False, True))


@given(st.integers(0, 3), st.lists(st.sampled_from([1, 1, 1, -1]), max_size=200))
def test_two_switches_count_both_ways(core: ctypes.CDLL, begin: int, steps: list[int]) -> None:
    meter = Core(core)
    meter.start(two=True, a=PLACES[begin][0], b=PLACES[begin][1])
    now, place = 0, begin
    for step in steps:
        place += step
        a, b = PLACES[place % 4]
        for bounce in (not a, a):
            meter.crank(bounce, b, now)
            now += 200
        meter.crank(a, b, now)
        now += 3_500
        assert meter.crank(a, b, now) == (place // 4) % U16


def test_a_place_that_was_missed_goes_on_as_before(core: ctypes.CDLL) -> None:
    for direction, expected in ((1, 1), (-1, U16 - 1)):
        meter = Core(core)
        meter.start(two=True)
        now = 0
        for place in (0, direction, 3 * direction, 4 * direction):
            a, b = PLACES[place % 4]
            meter.crank(a, b, now)
            now += 4_000
            turns = meter.crank(a, b, now)
        assert turns == expected
