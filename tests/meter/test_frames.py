"""The line protocol: its page's own examples, the catalogue's check value, and what no way of cutting may change."""

from __future__ import annotations

from binascii import crc_hqx

import pytest
from hypothesis import given
from hypothesis import strategies as st

from winding_coach.meter.frames import (
    LINE_DROPPED,
    LONGEST_LINE,
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
    encode,
    encode_hello,
    encode_sample,
    parse_body,
)

EXAMPLES: tuple[tuple[str, Frame], ...] = (
    (
        "$H,1,board=uno,adc=hx711,gain=128,rate=80,ch=c,rst=ext*A9B0",
        Hello(1, (("board", "uno"), ("adc", "hx711"), ("gain", "128"), ("rate", "80"), ("ch", "c"), ("rst", "ext"))),
    ),
    ("$D,0,50012,84211,08,c=0*9D73", Sample(0, 50012, 84211, SETTLING, 0)),
    ("$D,4,100012,84305,00,c=0*9E5E", Sample(4, 100012, 84305, 0, 0)),
    ("$D,5,112516,-1502,00*95E2", Sample(5, 112516, -1502, 0)),
    ("$D,812,10200124,1187340,00,c=17,d=3120,t=213*A5CC", Sample(812, 10200124, 1187340, 0, 17, 3120, 213)),
    ("$D,813,10212620,8388607,05,c=17*6128", Sample(813, 10212620, RAW_MAX, SATURATED | OVERLOAD, 17)),
    ("$D,814,10225120,-8388608,05,c=17*AFD8", Sample(814, 10225120, RAW_MIN, SATURATED | OVERLOAD, 17)),
    ("$D,815,10325120,,02,c=17*CC3B", Sample(815, 10325120, None, NO_DATA, 17)),
    ("$D,817,10350112,1187102,10,c=18*B224", Sample(817, 10350112, 1187102, LINE_DROPPED, 18)),
    ("$D,65535,4294959744,2210458,00,c=65535*5EF5", Sample(65535, 4294959744, 2210458, 0, 65535)),
    ("$D,0,4952,2210999,00,c=0*BD8C", Sample(0, 4952, 2210999, 0, 0)),
)
"""The examples of the protocol's page, and what each says."""

GOOD = b"$D,5,112516,-1502,00*95E2\r\n"
GOOD_SAMPLE = Sample(5, 112516, -1502, 0)


def line_of(body: bytes) -> bytes:
    """A line with a right CRC around whatever bytes."""
    return b"$%b*%04X\r\n" % (body, crc_hqx(body, 0xFFFF))


def parsed(*pieces: bytes) -> tuple[list[Frame], int]:
    """Frames and bad lines of bytes that come in these pieces; the link has been up for a line."""
    parser = FrameParser()
    assert parser.feed(GOOD) == [GOOD_SAMPLE]
    frames = [frame for piece in pieces for frame in parser.feed(piece)]
    return frames, parser.bad_lines


samples = st.builds(
    Sample,
    st.integers(0, U16 - 1),
    st.integers(0, U32 - 1),
    st.none() | st.integers(RAW_MIN, RAW_MAX),
    st.integers(0, 255),
    st.none() | st.integers(0, U16 - 1),
    st.none() | st.integers(0, 9999),
    st.none() | st.integers(-9999, 9999),
)
words = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E, exclude_characters=",=*$"), max_size=7)
hellos = st.builds(
    Hello,
    st.integers(0, 99),
    st.lists(st.tuples(st.from_regex(r"[a-z_0-9]{1,6}", fullmatch=True), words), max_size=3).map(tuple),
)
rubbish = st.one_of(
    st.binary(max_size=100),
    st.binary(max_size=40).map(line_of),
    st.text("D,H$*\r\n0123456789ABCDEF=c-+ _", max_size=80).map(str.encode),
    st.text("0123456789,-+ _=cdt", max_size=30).map(lambda text: line_of(b"D," + text.encode())),
)
streams = st.lists(st.one_of(samples.map(encode_sample), hellos.map(encode_hello), rubbish), max_size=8).map(b"".join)


class TestChecksum:
    """CRC-16/IBM-3740 as the RevEng catalogue of parametrised CRC algorithms lists it: check value 29B1."""

    def test_check_value_of_the_reveng_catalogue(self) -> None:
        assert parsed(b"$123456789*29B1\r\n") == ([], 0)

    def test_a_crc_of_xmodem_is_not_taken(self) -> None:
        """CRC-16/XMODEM, same polynomial and initial 0: its check value in the same catalogue is 31C3."""
        assert crc_hqx(b"123456789", 0) == 0x31C3
        assert parsed(b"$123456789*31C3\r\n") == ([], 1)

    def test_our_own_lines_carry_the_crc_of_the_examples(self) -> None:
        assert encode_sample(GOOD_SAMPLE) == GOOD

    @given(samples, st.data())
    def test_no_flipped_bit_passes(self, sample: Sample, data: st.DataObject) -> None:
        line = bytearray(encode_sample(sample))
        place = data.draw(st.integers(1, len(line) - 3))
        line[place] ^= 1 << data.draw(st.integers(0, 7))
        frames, _ = parsed(bytes(line), b"\r\n")
        assert frames == []


class TestExamples:
    """The page of the protocol, line by line."""

    @pytest.mark.parametrize(("text", "frame"), EXAMPLES)
    def test_is_read(self, text: str, frame: Frame) -> None:
        assert parsed(text.encode() + b"\r\n") == ([frame], 0)

    @pytest.mark.parametrize(("text", "frame"), EXAMPLES)
    def test_is_written(self, text: str, frame: Frame) -> None:
        assert encode(frame) == text.encode() + b"\r\n"

    def test_hello_tells_what_the_meter_is(self) -> None:
        hello = EXAMPLES[0][1]
        assert isinstance(hello, Hello)
        assert (hello.board, hello.rate_hz, hello.channels, hello.value("gain")) == ("uno", 80.0, "c", "128")
        assert hello.value("colour") is None

    @pytest.mark.parametrize("rate", ["", "80.0", "-80", "fast", "123456", "8_0"])
    def test_a_rate_that_is_no_whole_number_is_not_known(self, rate: str) -> None:
        assert Hello(1, (("rate", rate),)).rate_hz is None

    @pytest.mark.parametrize(
        ("ppr", "read"),
        [(None, 1), ("1", 1), ("4", 4), ("1000", 1000), ("1001", None), ("0", None), ("", None), ("4.0", None)],
    )
    def test_counts_that_make_a_turn(self, ppr: str | None, read: int | None) -> None:
        assert Hello(1, (() if ppr is None else (("ppr", ppr),))).pulses_per_turn == read

    def test_a_bare_hello_says_nothing_more(self) -> None:
        frames, bad = parsed(line_of(b"H,1"))
        assert (frames, bad) == ([Hello(1)], 0)
        assert (Hello(1).board, Hello(1).rate_hz, Hello(1).channels) == (None, None, "")


class TestRoundTrip:
    """What is written is read again, however it is cut."""

    @given(samples)
    def test_samples(self, sample: Sample) -> None:
        assert parsed(encode_sample(sample)) == ([sample], 0)

    @given(hellos)
    def test_hellos(self, hello: Hello) -> None:
        assert parsed(encode_hello(hello)) == ([hello], 0)

    @given(streams, st.data())
    def test_cuts_never_change_the_result(self, stream: bytes, data: st.DataObject) -> None:
        cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=12)))
        pieces = [stream[a:b] for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True)]
        assert parsed(*pieces) == parsed(stream)

    @given(streams)
    def test_one_byte_at_a_time(self, stream: bytes) -> None:
        assert parsed(*(stream[i : i + 1] for i in range(len(stream)))) == parsed(stream)

    def test_a_line_too_long_to_write_is_refused(self) -> None:
        with pytest.raises(ValueError, match="more than 62"):
            encode_sample(Sample(65535, U32 - 1, RAW_MIN, 0x3F, 65535, 65535, -(2**15)))
        with pytest.raises(ValueError, match="more than 96"):
            encode_hello(Hello(1, (("board", "x" * 90),)))


class TestRubbish:
    """Rubbish gives a count, never an exception, and never swallows a good line after it."""

    @given(rubbish)
    def test_good_lines_are_found_after_it(self, junk: bytes) -> None:
        frames, _ = parsed(junk, b"\r\n", GOOD)
        assert frames[-1] == GOOD_SAMPLE

    @given(st.binary(max_size=30).filter(lambda junk: b"\n" not in junk))
    def test_the_last_dollar_of_a_line_counts(self, junk: bytes) -> None:
        assert parsed(junk + GOOD) == ([GOOD_SAMPLE], 0)

    @pytest.mark.parametrize("byte", [b"\x80", b"\xff", b"\x00", b"\xc3\xa9"])
    def test_a_hello_in_other_than_ascii_raised_once(self, byte: bytes) -> None:
        assert parsed(line_of(b"H,1,board=" + byte), GOOD) == ([GOOD_SAMPLE], 1)

    @pytest.mark.parametrize(
        "line",
        [
            b"hello, I am a printer\r\n",
            b"$D,5,112516,-1502,00\r\n",
            b"$D,5,112516,-1502,00*95E2\n",
            b"$D,5,112516,-1502,00*95E2 \r\n",
            b"$D,5,112516,-1502,00*95E\r\n",
            b"$D,5,112516,-1502,00*95E20\r\n",
            b"$D,5,112516,-1502,00*95e2\r\n",
            b"$D,5,112516,-1502,00*0x95\r\n",
            b"D,5,112516,-1502,00*95E2\r\n",
        ],
    )
    def test_is_counted_once(self, line: bytes) -> None:
        assert parsed(line, GOOD) == ([GOOD_SAMPLE], 1)

    @pytest.mark.parametrize("line", [b"\n", b"\r\n", b" \r\n"])
    def test_an_empty_line_is_no_error(self, line: bytes) -> None:
        assert parsed(line, GOOD) == ([GOOD_SAMPLE], 0)


class TestOverLong:
    """A line past 62 bytes is dropped, whether its end has come or not; one of 62 is not."""

    def padded(self, length: int) -> bytes:
        """A line of an unknown key that makes it so long, its CRC right."""
        body = b"D,5,112516,-1502,00,x="
        line = line_of(body + b"1" * (length - len(line_of(body))))
        assert len(line) == length
        return line

    def test_the_longest_is_taken(self) -> None:
        assert parsed(self.padded(LONGEST_LINE)) == ([GOOD_SAMPLE], 0)

    def test_one_byte_more_is_not(self) -> None:
        assert parsed(self.padded(LONGEST_LINE + 1), GOOD) == ([GOOD_SAMPLE], 1)

    @given(st.integers(LONGEST_LINE + 1, 300), st.data())
    def test_wherever_it_is_cut(self, length: int, data: st.DataObject) -> None:
        line = self.padded(length)
        cut = data.draw(st.integers(0, length))
        assert parsed(line[:cut], line[cut:], GOOD) == ([GOOD_SAMPLE], 1)

    def test_is_dropped_before_its_end_has_come(self) -> None:
        parser = FrameParser()
        parser.feed(GOOD)
        parser.feed(b"x" * (LONGEST_LINE - 1))
        assert parser.bad_lines == 0
        parser.feed(b"x")
        assert parser.bad_lines == 1

    def test_its_tail_is_no_line_though_it_looks_like_one(self) -> None:
        assert parsed(b"x" * 70, GOOD, GOOD) == ([GOOD_SAMPLE], 1)
        assert parsed(b"x" * 70 + GOOD + GOOD) == ([GOOD_SAMPLE], 1)

    def test_a_stream_without_ends_is_one_bad_line(self) -> None:
        assert parsed(*[b"x" * 1000] * 50, b"\r\n", GOOD) == ([GOOD_SAMPLE], 1)


class TestStrictness:
    """Numbers are written one way only: a reader that is lenient takes a damaged line for a good one."""

    @pytest.mark.parametrize("number", ["+1", "1_0", " 1", "1 ", "01", "00", "1.0", "1e3", "0x1", "", "-0", "--1", "١"])
    def test_no_other_spelling_of_a_number(self, number: str) -> None:
        spelt = number.encode()
        bodies = [b"D,%b,1,1,00" % spelt, b"D,1,%b,1,00" % spelt, b"D,1,1,1,00,c=%b" % spelt, b"H,%b" % spelt]
        if number:
            bodies.append(b"D,1,1,%b,00" % spelt)
        for body in bodies:
            assert parsed(line_of(body)) == ([], 1), body

    @pytest.mark.parametrize("flags", ["0", "000", "0a", "0G", "+1", " 1", ""])
    def test_flags_are_two_upper_case_digits(self, flags: str) -> None:
        assert parsed(line_of(b"D,1,1,1," + flags.encode())) == ([], 1)

    @pytest.mark.parametrize(
        "body",
        [
            b"D,65536,1,1,00",
            b"D,-1,1,1,00",
            b"D,1,4294967296,1,00",
            b"D,1,-1,1,00",
            b"D,1,1,8388608,00",
            b"D,1,1,-8388609,00",
            b"D,1,1,1,00,c=65536",
            b"D,1,1,1,00,c=-1",
            b"D,1,1,1,00,d=2147483648",
            b"D,1,1,1,00,t=32768",
            b"D,1,1,1,00,t=-32769",
            b"D,1,1,12345678901,00",
        ],
    )
    def test_no_number_past_its_range(self, body: bytes) -> None:
        assert parsed(line_of(body)) == ([], 1)

    @pytest.mark.parametrize(
        "body", [b"D,1,1,1", b"D,1,1,1,00,", b"D,1,1,1,00,c", b"D,1,1,1,00,=1", b"D,1,1,1,00,c=1=2", b"D,", b"H,"]
    )
    def test_no_field_too_few_or_half(self, body: bytes) -> None:
        assert parsed(line_of(body)) == ([], 1)


class TestThingsToCome:
    """A later meter may say more; this reader takes what it knows."""

    @pytest.mark.parametrize("body", [b"Q,1,2,3", b"DX,1", b"", b"d,1,1,1,00", b"V1"])
    def test_unknown_types_are_skipped_and_not_counted(self, body: bytes) -> None:
        assert parsed(line_of(body), GOOD) == ([GOOD_SAMPLE], 0)
        assert parse_body(body) is None

    def test_an_unknown_type_that_is_not_text_is_counted(self) -> None:
        assert parsed(line_of(b"Q,\x01")) == ([], 1)

    @pytest.mark.parametrize("more", [b",x=abc", b",v2=+1", b",C=5", b",x_y=", b",x=1,y=2", b",pull=-3.5 N"])
    def test_unknown_keys_are_ignored(self, more: bytes) -> None:
        assert parsed(line_of(b"D,5,112516,-1502,00" + more)) == ([GOOD_SAMPLE], 0)
        assert parsed(line_of(b"D,1,2,3,00" + more + b",c=7,d=3120,t=-5")) == ([Sample(1, 2, 3, 0, 7, 3120, -5)], 0)

    def test_unknown_keys_of_a_hello_are_kept(self) -> None:
        frames, _ = parsed(line_of(b"H,2,fw=1.4b,board=x"))
        assert frames == [Hello(2, (("fw", "1.4b"), ("board", "x")))]


class TestANewLink:
    """The first line after a link came up may be the tail of one."""

    def test_a_cut_first_line_is_no_error(self) -> None:
        parser = FrameParser()
        assert parser.feed(GOOD[9:] + GOOD) == [GOOD_SAMPLE]
        assert parser.bad_lines == 0

    def test_only_the_first(self) -> None:
        parser = FrameParser()
        parser.feed(GOOD[9:] + GOOD[9:] + GOOD)
        assert parser.bad_lines == 1

    def test_a_first_line_past_the_longest_is_no_error_either(self) -> None:
        parser = FrameParser()
        parser.feed(b"x" * 300)
        assert parser.feed(b"x\r\n" + GOOD) == [GOOD_SAMPLE]
        assert parser.bad_lines == 0

    def test_reset_forgets_the_half_line(self) -> None:
        parser = FrameParser()
        parser.feed(GOOD + GOOD[:9])
        parser.reset()
        assert parser.feed(GOOD[12:] + GOOD) == [GOOD_SAMPLE]
        assert parser.bad_lines == 0

    def test_reset_forgets_that_a_long_line_was_being_skipped(self) -> None:
        parser = FrameParser()
        parser.feed(GOOD + b"x" * 100)
        parser.reset()
        assert parser.feed(GOOD) == [GOOD_SAMPLE]
