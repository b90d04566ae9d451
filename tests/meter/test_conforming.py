"""Lines held against the protocol: good ones pass, each way to get one wrong is named."""

from __future__ import annotations

import subprocess
import sys
from binascii import crc_hqx
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.meter.defects import DEFECTS, Stream
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.commissioning.conforming import Conformance, line_faults
from winding_coach.meter.frames import FrameParser, Hello, Sample, encode_hello, encode_sample
from winding_coach.meter.reader import MeterReader

GOOD = b"""$H,1,board=uno,adc=hx711,gain=128,rate=80,ch=c,rst=ext*A9B0
$D,0,50012,84211,08,c=0*9D73
$D,4,100012,84305,00,c=0*9E5E
$D,5,112516,-1502,00*95E2
$D,812,10200124,1187340,00,c=17,d=3120,t=213*A5CC
$D,813,10212620,8388607,05,c=17*6128
$D,814,10225120,-8388608,05,c=17*AFD8
$D,815,10325120,,02,c=17*CC3B
$D,817,10350112,1187102,10,c=18*B224
$D,65535,4294959744,2210458,00,c=65535*5EF5
$D,0,4952,2210999,00,c=0*BD8C"""
"""The protocol's own examples."""


def line(body: str) -> bytes:
    data = body.encode()
    return b"$%b*%04X\r" % (data, crc_hqx(data, 0xFFFF))


@pytest.mark.parametrize("example", GOOD.splitlines())
def test_the_protocols_examples_are_good(example: bytes) -> None:
    assert list(line_faults(example + b"\r")) == []


BODY = b"D,5,112516,-1502,00"


@pytest.mark.parametrize(
    ("bad", "says"),
    [
        (b"$D,5,112516,-1502,00*95E2", "line feed alone"),
        (b"D,5,112516,-1502,00*95E2\r", "no '$'"),
        (b"xx$D,5,112516,-1502,00*95E2\r", "before the '$'"),
        (b"$D,5,112516,-1502,00\r", "no '*'"),
        (b"$D,5,112516,-1502,00*95e2\r", "lower case"),
        (b"$D,5,112516,-1502,00*E295\r", "swapped"),
        (b"$D,5,112516,-1502,00*0000\r", "The CRC is wrong"),
        (b"$%b*%04X\r" % (BODY, crc_hqx(BODY, 0)), "begins at 0000"),
        (b"$%b*%04X\r" % (BODY, crc_hqx(b"$" + BODY, 0xFFFF)), "covers the '$'"),
        (b"$%b*%04X\r" % (BODY, crc_hqx(BODY + b"*", 0xFFFF)), "covers the '*'"),
        (line("D,5,112516"), "fewer than its four"),
        (line("D,+5,112516,-1502,00"), "seq is no plain"),
        (line("D,65536,112516,-1502,00"), "seq is out of its range"),
        (line("D,5,4294967296,-1502,00"), "t_us is out of its range"),
        (line("D,5,112516,8388608,00"), "raw is out of its range"),
        (line("D,5,112516,-0,00"), "raw is no plain"),
        (line("D,5,112516,007,00"), "raw is no plain"),
        (line("D,5,112516,7,0a"), "two upper-case"),
        (line("D,5,112516,7,80"), "no meaning"),
        (line("D,5,112516,,00"), "flag 02 (no data) is not set"),
        (line("D,5,112516,7,02"), "raw is not empty"),
        (line("D,5,112516,8388607,00"), "flag 01 (saturated) is not set"),
        (line("D,5,112516,7,00,crank"), "not key=value"),
        (line("D,5,112516,7,00,c=-1"), "c= is out of its range"),
        (line("D,5,112516,7,00,t=1.5"), "t= is no plain"),
        (line("H,2,board=x,rate=80,ch=,rst=por"), "protocol 2"),
        (line("H,1,board=x"), "no rate=, ch=, rst="),
        (line("H,1,board=x,rate=fast,ch=,rst=por"), "rate= of a hello"),
        (line("H,1,board=x,rate=80,ch=cq,rst=por"), "ch= of a hello"),
        (line("H,1,board=x,rate=80,ch=c,rst=por,ppr=0"), "ppr= of a hello is not"),
        (line("H,1,board=x,rate=80,ch=dt,rst=por,ppr=4"), "ch= no crank"),
        (line("H,one"), "not a protocol number"),
        (line("X," + "y" * 60), "longer than 62"),
    ],
)
def test_each_fault_is_named(bad: bytes, says: str) -> None:
    found = list(line_faults(bad))
    assert any(says in words for words in found), found
    assert len(found) == 1


def test_a_crc_without_its_leading_zero_is_named() -> None:
    for seq in range(200):
        body = b"D,%d,0,0,00" % seq
        if crc_hqx(body, 0xFFFF) < 0x1000:
            found = list(line_faults(b"$%b*%X\r" % (body, crc_hqx(body, 0xFFFF))))
            assert found == ["The CRC is short of its leading zeros: send four digits."]
            return
    raise AssertionError("no such line")


@given(st.binary(max_size=80).filter(lambda data: b"\n" not in data))
def test_a_line_without_faults_is_one_that_the_reader_takes(data: bytes) -> None:
    faults = list(line_faults(data))
    parser = FrameParser()
    parser.feed(b"\n" + data + b"\n")
    if not faults:
        assert parser.bad_lines == 0


HELLO = Hello(1, (("board", "x"), ("rate", "80"), ("ch", "c"), ("rst", "por")))


def stream(
    count: int, *, hello_every: int = 400, change: dict[int, Sample | bytes | None] | None = None
) -> list[bytes]:
    """Lines of a good meter from its start, with some of them changed, or missing (None)."""
    lines = []
    for seq in range(count):
        if seq % hello_every == 0:
            lines.append(encode_hello(HELLO))
        sample = Sample(seq, 50_000 + 12_500 * seq, 100, 8 if seq < 4 else 0, seq // 30)
        found = (change or {}).get(seq, sample)
        lines.append(encode_sample(found) if isinstance(found, Sample) else found or b"")
    return lines


def held(lines: list[bytes], *, ask_at_s: float | None = None, step_s: float = 0.0125) -> list[str]:
    found = Conformance()
    found.feed(0.0, b"a cut line\n")
    at_s = 0.0
    for text in lines:
        at_s += step_s
        found.feed(at_s, text)
        if ask_at_s is not None and at_s >= ask_at_s:
            found.asked(at_s)
            ask_at_s = None
    found.end(at_s)
    return [fault.words for fault in found.faults]


def test_a_good_stream_has_no_faults() -> None:
    assert held(stream(1000)) == []


def test_a_restart_is_no_fault() -> None:
    assert held(stream(500) + stream(500)) == []


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({200: Sample(199, 50_000 + 12_500 * 200, 100, 0, 6)}, "seq does not count up"),
        ({200: None}, "flag 10 is not set"),
        ({200: Sample(200, 50_000 + 12_500 * 200, 100, 0x10, 6)}, "no number is missing"),
        ({200: Sample(200, 50_000 + 12_500 * 199, 100, 0, 6)}, "t_us does not advance"),
        ({3: Sample(3, 50_000 + 12_500 * 3, 100, 0, 0)}, "Flag 08"),
        ({9: Sample(9, 50_000 + 12_500 * 9, 100, 8, 0)}, "Flag 08"),
        ({200: Sample(200, 50_000 + 12_500 * 200, 100, 0, 5)}, "c= counts down"),
        ({200: Sample(200, 50_000 + 12_500 * 200, 100, 0, 6, distance_mm=4)}, "ch= of the hello does not name (d)"),
        ({200: Sample(200, 50_000 + 12_500 * 200, 77, 0x20, 6)}, "Flag 20 (frozen) is set and raw has changed"),
        ({200: b"$nonsense\r\n"}, "no '*'"),
    ],
)
def test_what_is_wrong_between_lines_is_named(change: dict[int, Sample | bytes | None], says: str) -> None:
    assert any(says in words for words in held(stream(400, change=change)))


def test_settling_long_after_the_start_is_named() -> None:
    lines = stream(400, change={300: Sample(300, 50_000 + 12_500 * 300, 100, 8, 10)})[100:]
    assert any("long after the start" in words for words in held([encode_hello(HELLO), *lines]))


def test_silence_is_to_be_told() -> None:
    late = [encode_sample(Sample(100 + n, 2_000_000 + 1_000_000 * n, 5, 0, 3)) for n in range(5)]
    assert any("without a line" in words for words in held([encode_hello(HELLO), *late], step_s=1.0))


def test_hellos_that_are_late_or_never_come() -> None:
    assert "More than 5 s passed between two hellos." in held(stream(1000, hello_every=500))
    assert any("No hello came" in words for words in held(stream(300)[1:]))
    assert held([encode_hello(HELLO)]) == ["No line of data came."]
    assert held([]) == ["No line came."]


def test_a_question_is_to_be_answered() -> None:
    unanswered = "A '?' is not answered by a hello within a second."
    assert held(stream(900), ask_at_s=4.5) == []
    assert unanswered in held(stream(900), ask_at_s=1.0)
    assert unanswered in held(stream(300), ask_at_s=1.0)


def test_a_rate_that_is_not_the_one_said() -> None:
    slow = [encode_sample(Sample(100 + n, 100_000 * n, 5, 0, 3)) for n in range(60)]
    assert "rate= says 80 lines/s, and 10 come." in held([encode_hello(HELLO), *slow], step_s=0.08)


def test_lines_of_another_type_are_no_fault() -> None:
    assert list(line_faults(line("X,whatever=1"))) == []
    assert list(line_faults(line("D,5,112516,7,00,zz=1.5"))) == []
    lines = stream(400)
    lines.insert(200, line("X,whatever=1") + b"\n")
    assert held(lines) == []


def test_the_rate_is_not_judged_by_a_moment() -> None:
    assert held(stream(20)) == []


def test_an_endless_line_is_kept_short() -> None:
    found = Conformance()
    found.feed(0.0, b"\n")
    for _ in range(100):
        found.feed(0.1, b"x" * 1000)
    found.feed(0.2, b"\n")
    assert len(found.faults[0].example) <= 124


def named(data: list[tuple[float, bytes]]) -> list[str]:
    """The faults of bytes that came at these times."""
    found = Conformance()
    for at_s, piece in data:
        found.feed(at_s, piece)
    found.end(data[-1][0])
    return [fault.words for fault in found.faults]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("t_us in milliseconds", "t_us counts milliseconds"),
        ("a clock 10 % fast", "1.10 s of each second"),
        ("a clock that wraps at 2^30", "wrap=1073741824"),
        ("ch=c and no c=", "no line has c="),
        ("one hello in twenty seconds", "More than 5 s passed"),
        ("carriage return alone", "carriage return alone"),
        ("another speed of the port", "Bytes came, no line"),
    ],
)
def test_what_a_board_may_do_wrong_is_named(name: str, says: str) -> None:
    defect = next(one for one in DEFECTS if one.name == name)
    data = defect.chunks(1_000_001)
    if name.startswith("one hello"):
        data += [(data[-1][0] + 0.1, encode_hello(HELLO))]
    assert any(says in words for words in named(data)), named(data)


def test_a_clock_that_wraps_early_is_accused_of_nothing_else() -> None:
    """Its rate and speed were reckoned across 2^32: "0 lines come", "269.86 s of each second"."""
    wraps = Stream(seconds=12.0, clock_us=lambda t: (2**30 - 3e6 + 1e6 * t) % 2**30)
    (only,) = named(wraps.chunks(1_000_001))
    assert "wrap=1073741824" in only


def test_a_good_stream_and_a_declared_wrap_conform() -> None:
    assert named(Stream().chunks(1_000_001)) == []
    declared = Hello(1, (*HELLO.fields, ("wrap", "1073741824")))
    wraps = Stream(clock_us=lambda t: (2**30 - 5e6 + 1e6 * t) % 2**30, hello=declared)
    assert named(wraps.chunks(1_000_001)) == []
    reader = MeterReader(SIMULATED)
    samples = [sample for _, piece in wraps.chunks(1_000_001) for sample in reader.feed(piece)]
    assert (reader.restarts, reader.lost_lines, reader.clock_wrap_us) == (0, 0, None)
    assert samples[-1].device_s == pytest.approx(9.9875, abs=1e-3)


def test_a_short_clock_made_phantom_turns() -> None:
    """A clock of 2^30 was taken for a restart, and the crank's count so far was added: 41 turns once."""
    wraps = Stream(clock_us=lambda t: (2**30 - 5e6 + 1e6 * t) % 2**30, crank=lambda t: 41 + int(t))
    reader = MeterReader(SIMULATED)
    samples = [sample for _, piece in wraps.chunks(1_000_001) for sample in reader.feed(piece)]
    assert samples[-1].crank_turns == 9
    assert (reader.restarts, reader.clock_wrap_us) == (0, 2**30)


def test_the_hello_of_a_recommended_chip_was_too_long() -> None:
    hello = Hello(
        1, (("board", "pico"), ("rate", "80"), ("ch", "cdt"), ("rst", "por"), ("adc", "ads1220"), ("gain", "128"))
    )
    sent = encode_hello(hello)
    assert 62 < len(sent) <= 96
    assert FrameParser().feed(sent) == [hello]
    assert list(line_faults(sent[:-1])) == []
    for cut in range(len(sent)):
        parser = FrameParser()
        assert parser.feed(sent[:cut]) + parser.feed(sent[cut:]) == [hello]


def test_the_sixty_line_meter_of_the_page_conforms(tmp_path: Path) -> None:
    page = (Path(__file__).parents[2] / "docs" / "reference" / "meter-protocol.md").read_text(encoding="utf-8")
    code = page.split("```python\n")[1].split("```")[0]
    assert len(code.splitlines()) <= 62
    (tmp_path / "meter.py").write_text(code, encoding="utf-8")
    with subprocess.Popen(
        [sys.executable, str(tmp_path / "meter.py"), "0"], stdout=subprocess.PIPE, text=True
    ) as meter:
        try:
            assert meter.stdout is not None
            port = meter.stdout.readline().strip()
            command = [sys.executable, "-m", "winding_coach", "meter", "conform", f"socket://127.0.0.1:{port}"]
            done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
            assert done.returncode == 0, done.stdout + done.stderr
        finally:
            meter.kill()
