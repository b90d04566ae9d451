"""Meter line protocol, version 1.2: values to lines, and bytes, cut anywhere, back to values. Strict; never raises.

    $TYPE,fields*CRC4\\r\\n      at most 62 bytes with the line end, 96 for a hello

The CRC is CRC-16/IBM-3740 (RevEng catalogue: check value 29B1 for "123456789") over the bytes between `$` and `*`.
"""

from __future__ import annotations

import re
from binascii import crc_hqx
from dataclasses import dataclass
from typing import TypeAlias

from winding_coach.base.values import value

LONGEST_HELLO = 96
LONGEST_LINE = 62
"""Bytes of a line, its end included."""
PROTOCOL = 1

SATURATED = 0x01
NO_DATA = 0x02
OVERLOAD = 0x04
SETTLING = 0x08
LINE_DROPPED = 0x10
FROZEN = 0x20
"""The converter has given one value for 32 conversions or more."""
BATTERY_LOW = 0x40
"""Of a crank sender."""

MOST_PULSES_PER_TURN = 1000
"""Crank counts a turn that a meter may name: more is no crank's sensor, and would wrap within seconds."""

RAW_MIN, RAW_MAX = -(2**23), 2**23 - 1
U16, U32 = 2**16, 2**32


@value(frozen=True, slots=True)
class Sample:
    """One conversion. seq, crank: u16 that wrap; t_us: u32 device microseconds, wraps; raw: signed 24-bit counts,
    None if the converter gave none; distance_mm, temperature_dC (0.1 °C): None where the meter has no such channel."""

    seq: int
    t_us: int
    raw: int | None
    flags: int = 0
    crank: int | None = None
    distance_mm: int | None = None
    temperature_dC: int | None = None


@dataclass(frozen=True, slots=True)
class Hello:
    """What a meter says of itself: protocol version and `key=value` fields in the order sent."""

    proto: int
    fields: tuple[tuple[str, str], ...] = ()

    def value(self, key: str) -> str | None:
        """Return the value of a field, None if it was not sent."""
        return next((found for name, found in self.fields if name == key), None)

    @property
    def board(self) -> str | None:
        """Name of the board."""
        return self.value("board")

    @property
    def rate_hz(self) -> float | None:
        """Nominal lines per second."""
        rate = self.value("rate")
        return float(rate) if rate is not None and re.fullmatch(r"\d{1,5}", rate, re.ASCII) else None

    @property
    def channels(self) -> str:
        """Letters of the channels present: c one-sensor crank, q two-sensor crank, d distance, t temperature."""
        return self.value("ch") or ""

    @property
    def pulses_per_turn(self) -> int | None:
        """Crank counts that make one turn of the crank: 1 where the meter names none, None where it names no number."""
        ppr = self.value("ppr")
        if ppr is None:
            return 1
        good = re.fullmatch(r"[1-9]\d{0,3}", ppr, re.ASCII) and int(ppr) <= MOST_PULSES_PER_TURN
        return int(ppr) if good else None

    @property
    def wrap_us(self) -> int:
        """Where t_us starts again at 0: 2^32 unless the meter names another, as boards with a shorter clock do."""
        wrap = self.value("wrap")
        good = wrap is not None and re.fullmatch(r"[1-9]\d{5,9}", wrap, re.ASCII) and int(wrap) <= U32
        return int(wrap) if good and wrap is not None else U32


@dataclass(frozen=True, slots=True)
class CrankLine:
    """One line of a crank sender, a board of its own at the handle. seq, t_us: its own, as of `Sample`.

    crank: counts, u16 that wraps; age_ms: from the newest count to t_us, None before the first; two_sensors: whether it
    counts down in reverse. Each line holds all of it, since any may be lost."""

    seq: int
    t_us: int
    crank: int
    age_ms: int | None
    flags: int = 0
    pulses_per_turn: int = 1
    two_sensors: bool = False


Frame: TypeAlias = Sample | Hello | CrankLine


def longest(line: bytes) -> int:
    """Return how many bytes a line that begins so may have, its end included."""
    return LONGEST_HELLO if line[:3] == b"$H," else LONGEST_LINE


def _line(body: str) -> bytes:
    inside = body.encode("ascii")
    line = b"$%b*%04X\r\n" % (inside, crc_hqx(inside, 0xFFFF))
    if len(line) > longest(line):
        raise ValueError(f"the line would take {len(line)} bytes, more than {longest(line)}")
    return line


def encode_sample(sample: Sample) -> bytes:
    """Return the line of a sample, with its end.

    Raises:
        ValueError: its channels make it longer than a line may be.
    """
    raw = "" if sample.raw is None else str(sample.raw)
    body = f"D,{sample.seq},{sample.t_us},{raw},{sample.flags:02X}"
    if sample.crank is not None:
        body += f",c={sample.crank}"
    if sample.distance_mm is not None:
        body += f",d={sample.distance_mm}"
    if sample.temperature_dC is not None:
        body += f",t={sample.temperature_dC}"
    return _line(body)


def encode_hello(hello: Hello) -> bytes:
    """Return the line of a hello, with its end.

    Raises:
        ValueError: its fields make it longer than a line may be.
    """
    return _line("".join([f"H,{hello.proto}", *(f",{key}={value}" for key, value in hello.fields)]))


def encode_crank(line: CrankLine) -> bytes:
    """Return the line of a crank sender, with its end."""
    age = "" if line.age_ms is None else str(line.age_ms)
    body = f"C,{line.seq},{line.t_us},{line.crank},{age},{line.flags:02X}"
    if line.pulses_per_turn != 1:
        body += f",ppr={line.pulses_per_turn}"
    return _line(f"{body},ch=q" if line.two_sensors else body)


def encode(frame: Frame) -> bytes:
    """Return the line of any frame, with its end.

    Raises:
        ValueError: as of `encode_sample` and `encode_hello`.
    """
    if isinstance(frame, Sample):
        return encode_sample(frame)
    return encode_hello(frame) if isinstance(frame, Hello) else encode_crank(frame)


_NUMBER = rb"(?:0|-?[1-9]\d{0,9})"
_UNSIGNED = rb"(?:0|[1-9]\d{0,9})"
_FIELD = rb",[A-Za-z0-9_]+=[ -+\--<>-~]*"
"""A key, and printable ASCII without `,` and `=`."""
_DATA = re.compile(rb"D,(%b),(%b),(%b)?,([0-9A-F]{2})((?:%b)*)" % (_UNSIGNED, _UNSIGNED, _NUMBER, _FIELD), re.ASCII)
_USUAL = re.compile(
    rb"\$(D,(%b),(%b),(%b)?,([0-9A-F]{2})(?:,c=(%b))?(?:,d=(%b))?(?:,t=(%b))?)\*([0-9A-F]{4})\r"
    % (_UNSIGNED, _UNSIGNED, _NUMBER, _UNSIGNED, _NUMBER, _NUMBER),
    re.ASCII,
)
"""A whole line of data, its known channels in their usual order: nearly all lines are such."""
_HELLO = re.compile(rb"H,(%b)((?:%b)*)" % (_UNSIGNED, _FIELD), re.ASCII)
_CRANK = re.compile(
    rb"C,(%b),(%b),(%b),(%b)?,([0-9A-F]{2})((?:%b)*)" % (_UNSIGNED, _UNSIGNED, _UNSIGNED, _UNSIGNED, _FIELD), re.ASCII
)
_PRINTABLE = re.compile(rb"[ -~]*")
_WHOLE = re.compile(_NUMBER, re.ASCII)
_CRC = re.compile(rb"[0-9A-F]{4}")
LIMITS = {b"c": (0, U16 - 1), b"d": (0, U16 - 1), b"t": (-(2**15), 2**15 - 1)}
"""The smallest and the greatest number of each channel."""


def _sample(found: re.Match[bytes]) -> Sample | None:
    seq, t_us, raw, flags, more = found.groups()
    seq_n, t_n = int(seq), int(t_us)
    raw_n = None if raw is None else int(raw)
    if seq_n >= U16 or t_n >= U32 or (raw_n is not None and not RAW_MIN <= raw_n <= RAW_MAX):
        return None
    if not more:
        return Sample(seq_n, t_n, raw_n, int(flags, 16))
    extra: dict[bytes, int] = {}
    for field in more[1:].split(b","):
        key, _, text = field.partition(b"=")
        if key not in LIMITS:
            continue
        if _WHOLE.fullmatch(text) is None:
            return None
        number = int(text)
        if not _within(key, number):
            return None
        extra[key] = number
    return Sample(seq_n, t_n, raw_n, int(flags, 16), extra.get(b"c"), extra.get(b"d"), extra.get(b"t"))


def _usual(line: bytes) -> Sample | None:
    """Return the sample of a usual line in one go, None where the line has to be looked at more closely."""
    found = _USUAL.fullmatch(line)
    if found is None:
        return None
    body, seq, t_us, raw, flags, crank, distance, temperature, crc = found.groups()
    if crc_hqx(body, 0xFFFF) != int(crc, 16):
        return None
    seq_n, t_n = int(seq), int(t_us)
    raw_n = None if raw is None else int(raw)
    crank_n = None if crank is None else int(crank)
    if seq_n >= U16 or t_n >= U32 or (raw_n is not None and not RAW_MIN <= raw_n <= RAW_MAX):
        return None
    if crank_n is not None and crank_n >= U16:
        return None
    if distance is None and temperature is None:
        return Sample(seq_n, t_n, raw_n, int(flags, 16), crank_n)
    far = None if distance is None else int(distance)
    warm = None if temperature is None else int(temperature)
    if (far is not None and not _within(b"d", far)) or (warm is not None and not _within(b"t", warm)):
        return None
    return Sample(seq_n, t_n, raw_n, int(flags, 16), crank_n, far, warm)


def _within(channel: bytes, number: int) -> bool:
    low, high = LIMITS[channel]
    return low <= number <= high


def _hello(found: re.Match[bytes]) -> Hello | None:
    proto, more = found.groups()
    pairs = [field.partition("=") for field in more[1:].decode("ascii").split(",")] if more else []
    return Hello(int(proto), tuple((key, value) for key, _, value in pairs))


def _crank(found: re.Match[bytes]) -> CrankLine | None:
    *numbers, age, flags, more = found.groups()
    seq, t_us, count = (int(number) for number in numbers)
    fields = dict(field.partition(b"=")[::2] for field in more[1:].split(b",")) if more else {}
    # What is said once in a hello is said here in each line, by the same rules.
    hello = Hello(PROTOCOL, tuple((key.decode("ascii"), value.decode("ascii")) for key, value in fields.items()))
    age_ms, per_turn = None if age is None else int(age), hello.pulses_per_turn
    if seq >= U16 or t_us >= U32 or count >= U16 or (age_ms or 0) >= U16 or per_turn is None:
        return None
    return CrankLine(seq, t_us, count, age_ms, int(flags, 16), per_turn, hello.channels == "q")


def parse_body(body: bytes) -> Frame | None:
    """Return the frame between `$` and `*`, None where it is of an unknown type or no frame."""
    if body[:2] == b"D,":
        found = _DATA.fullmatch(body)
        return None if found is None else _sample(found)
    if body[:2] == b"C,":
        found = _CRANK.fullmatch(body)
        return None if found is None else _crank(found)
    found = _HELLO.fullmatch(body)
    return None if found is None else _hello(found)


class FrameParser:
    """Takes bytes as they come and gives the frames in them; how the bytes are cut never changes the result.

    A line without a good CRC, or with fields that are none, is dropped and counted in `bad_lines`; so is one
    past the longest length, whether or not its end has come. A line of an unknown type with a good CRC is
    skipped and not counted. After `reset` (a new link) the rest of a line that was cut is no error.
    """

    def __init__(self) -> None:
        self.bad_lines = 0
        self._rest = b""
        self._skipping = False
        self._first = True

    def reset(self) -> None:
        """Forget a half line; the next line may be the tail of one."""
        self._rest = b""
        self._skipping = False
        self._first = True

    def feed(self, data: bytes) -> list[Frame]:
        """Return the frames that these bytes complete."""
        frames: list[Frame] = []
        lines = (self._rest + data).split(b"\n")
        self._rest = lines.pop()
        for line in lines:
            if self._skipping:
                self._skipping = False
                continue
            self._take(line, frames)
        if self._rest and len(self._rest) >= longest(self._rest):
            # Its end can come no more within the longest length: drop it now, and what is still to come of it.
            if not self._skipping:
                self._bad()
            self._skipping = True
            self._rest = b""
        return frames

    def _bad(self) -> None:
        if not self._first:
            self.bad_lines += 1
        self._first = False

    def _take(self, line: bytes, frames: list[Frame]) -> None:
        if len(line) >= LONGEST_LINE and len(line) >= longest(line):
            self._bad()
            return
        usual = _usual(line)
        if usual is not None:
            self._first = False
            frames.append(usual)
            return
        start = line.rfind(b"$")
        body, star, crc = line[start + 1 :].partition(b"*") if start >= 0 else (b"", b"", b"")
        if not star or crc[-1:] != b"\r" or _CRC.fullmatch(crc, 0, len(crc) - 1) is None:
            if line.strip():
                self._bad()
            return
        if crc_hqx(body, 0xFFFF) != int(crc[:4], 16):
            self._bad()
            return
        self._first = False
        frame = parse_body(body)
        if frame is not None:
            frames.append(frame)
        elif body[:2] in (b"D,", b"H,", b"C,") or _PRINTABLE.fullmatch(body) is None:
            self.bad_lines += 1
