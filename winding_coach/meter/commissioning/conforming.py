"""A meter's lines in, with the times they came; each way in which they break the protocol out, named. Pure.

The reader forgives nothing either, but only drops and counts: here a builder is told what is wrong with a line.
"""

from __future__ import annotations

import re
from binascii import crc_hqx
from collections.abc import Iterator
from dataclasses import dataclass

from winding_coach.meter.clock import wrap_found
from winding_coach.meter.commissioning.conforming_crank import SenderConformance, crank_faults, number_faults
from winding_coach.meter.commissioning.judging import OTHER, no_line
from winding_coach.meter.frames import (
    FROZEN,
    LIMITS,
    LINE_DROPPED,
    LONGEST_LINE,
    MOST_PULSES_PER_TURN,
    NO_DATA,
    OVERLOAD,
    PROTOCOL,
    RAW_MAX,
    RAW_MIN,
    SATURATED,
    SETTLING,
    U16,
    U32,
    CrankLine,
    Hello,
    Sample,
    longest,
    parse_body,
)

FIRST_BYTES = 4096
SHORTEST_CLOCK_S, CLOCK_OFF, CLOCK_SLACK_S = 2.0, 0.03, 0.15
"""A clock is compared over two seconds at least: bytes come in bunches."""
KNOWN_FLAGS = SATURATED | NO_DATA | OVERLOAD | SETTLING | LINE_DROPPED | FROZEN
SETTLING_LINES = 4
HELLO_EVERY_S, ANSWER_WITHIN_S = 5.0, 1.0
SLACK_S = 0.7
"""A hello waits for a line of data, and lines come in bunches; a silent converter gives one each 0.6 s."""
RATE_SHARE = (0.6, 1.6)
LONGEST_SILENCE_S = 0.75
"""A silent converter is told every 0.6 s."""
_HEX = re.compile(rb"[0-9A-F]{2}")
_HELLO_KEYS = ("board", "rate", "ch", "rst")


@dataclass(frozen=True, slots=True)
class Fault:
    """One way in which lines are wrong: what to put right, how often it was seen, and the first line that showed it."""

    words: str
    times: int
    example: str


def line_faults(line: bytes) -> Iterator[str]:
    """Yield what is wrong with one line, its end of `\\n` taken off; nothing for a good one."""
    if len(line) + 1 > longest(line):
        yield f"A line is longer than {longest(line)} bytes with its end."
    if not line.endswith(b"\r"):
        yield "A line ends in a line feed alone: end it in carriage return and line feed."
    text = line.removesuffix(b"\r")
    start = text.rfind(b"$")
    if start < 0:
        yield "A line has no '$'."
        return
    if start > 0:
        yield "There are bytes before the '$' of a line."
    body, star, crc = text[start + 1 :].partition(b"*")
    if not star:
        yield "A line has no '*' with its CRC."
        return
    yield from _crc_faults(body, crc)
    kind, _, rest = body.partition(b",")
    if kind == b"D":
        yield from _data_faults(rest.split(b","))
    elif kind == b"C":
        yield from crank_faults(rest.split(b","))
    elif kind == b"H":
        yield from _hello_faults(rest)


def _crc_faults(body: bytes, crc: bytes) -> Iterator[str]:
    right = b"%04X" % crc_hqx(body, 0xFFFF)
    if crc == right:
        return
    others = {
        right.lower(): "The CRC is in lower case: use upper-case digits.",
        b"%04X" % crc_hqx(body, 0): "The CRC begins at 0000: begin at FFFF (CRC-16/IBM-3740).",
        b"%04X" % crc_hqx(b"$" + body, 0xFFFF): "The CRC covers the '$': begin behind it.",
        b"%04X" % crc_hqx(body + b"*", 0xFFFF): "The CRC covers the '*': end before it.",
        right[2:] + right[:2]: "The CRC's two bytes are swapped: send the high one first.",
        b"%X" % int(right, 16): "The CRC is short of its leading zeros: send four digits.",
    }
    yield others.get(crc, "The CRC is wrong: CRC-16/IBM-3740 of what is between '$' and '*', four upper-case digits.")


def _data_faults(fields: list[bytes]) -> Iterator[str]:
    if len(fields) < 4:
        yield "A data line has fewer than its four fields: seq, t_us, raw, flags."
        return
    seq, t_us, raw, flags, *more = fields
    yield from number_faults("seq", seq, 0, U16 - 1)
    yield from number_faults("t_us", t_us, 0, U32 - 1)
    if raw:
        yield from number_faults("raw", raw, RAW_MIN, RAW_MAX)
    if _HEX.fullmatch(flags) is None:
        yield "flags is not two upper-case hexadecimal digits."
    else:
        yield from _flag_faults(raw, int(flags, 16))
    for field in more:
        key, equals, value = field.partition(b"=")
        if not equals:
            yield "A field after the flags is not key=value."
        elif key in LIMITS:
            yield from number_faults(f"{key.decode()}=", value, *LIMITS[key])


def _flag_faults(raw: bytes, flags: int) -> Iterator[str]:
    if flags & ~KNOWN_FLAGS:
        yield "flags holds a bit that has no meaning: leave it 0."
    if not raw and not flags & NO_DATA:
        yield "raw is empty and flag 02 (no data) is not set."
    if raw and flags & NO_DATA:
        yield "Flag 02 (no data) is set and raw is not empty."
    if raw in (b"%d" % RAW_MAX, b"%d" % RAW_MIN) and not flags & SATURATED:
        yield "raw is at the end of its range and flag 01 (saturated) is not set."


def _hello_faults(rest: bytes) -> Iterator[str]:
    hello = parse_body(b"H," + rest)
    if not isinstance(hello, Hello):
        yield "A hello is not a protocol number and key=value fields of printable ASCII."
        return
    if hello.proto != PROTOCOL:
        yield f"A hello says protocol {hello.proto}: this is protocol {PROTOCOL}."
    missing = [key for key in _HELLO_KEYS if hello.value(key) is None]
    if missing:
        yield f"A hello has no {', '.join(key + '=' for key in missing)}."
    if hello.value("rate") is not None and hello.rate_hz is None:
        yield "rate= of a hello is not a whole number of lines per second."
    if not set(hello.channels) <= set("cqdt") or {"c", "q"} <= set(hello.channels):
        yield "ch= of a hello is not made of c or q, d, t."
    if hello.pulses_per_turn is None:
        yield f"ppr= of a hello is not a whole number from 1 to {MOST_PULSES_PER_TURN}."
    elif hello.value("ppr") is not None and not set(hello.channels) & {"c", "q"}:
        yield "ppr= of a hello names the counts of a crank turn, and ch= no crank."


class Conformance:
    """`feed` takes bytes as they come; `asked` tells that a `?` was sent; `faults` says what was wrong so far."""

    def __init__(self) -> None:
        self.lines = 0
        self.samples = 0
        self._rest = b""
        self._first = True
        self._found: dict[str, Fault] = {}
        self._before: Sample | None = None
        self._began: Sample | None = None
        self._began_at_s = 0.0
        self._from_start = False
        self._hello: Hello | None = None
        self._wraps_at_us: int | None = None
        self._hello_at_s: float | None = None
        self._asked_at_s: float | None = None
        self._at_s: float | None = None
        self._newest_at_s = 0.0
        self._first_bytes = b""
        self._crank_sent = self._crank_moved = False
        self._listening_since_s: float | None = None
        self.sender = SenderConformance()
        """What a crank sender's lines broke, if one is there."""

    @property
    def faults(self) -> tuple[Fault, ...]:
        """What was wrong, the most frequent first."""
        return tuple(sorted(self._found.values(), key=lambda fault: -fault.times))

    @property
    def notes(self) -> tuple[str, ...]:
        """What is no fault, but was not seen to work."""
        crank = self._hello is not None and set(self._hello.channels) & {"c", "q"} and self._crank_sent
        resting = crank and not self._crank_moved
        if not resting and not (self.sender.lines and not self.sender.counts):
            return ()
        return ("No pulse of the crank came: turn the handle while this runs to see that it counts.",)

    def feed(self, at_s: float, data: bytes) -> None:
        """Take bytes that came at a time."""
        self._at_s = at_s
        self._listening_since_s = at_s if self._listening_since_s is None else self._listening_since_s
        self._first_bytes += data[: FIRST_BYTES - len(self._first_bytes)]
        lines = (self._rest + data).split(b"\n")
        self._rest = lines.pop()[-4 * LONGEST_LINE :]
        for line in lines:
            # The port may have been opened in the middle of the first line.
            if not self._first:
                self._take(at_s, line)
            self._first = False

    def asked(self, at_s: float) -> None:
        """A `?` was sent."""
        self._asked_at_s = at_s

    def end(self, at_s: float) -> None:
        """No more is to come: say what never came."""
        if self.sender.lines and not (self.samples or self._hello):
            self.sender.end(at_s, self._fault)
            return
        if self.lines == 0 or not (self.samples or self._hello):
            words = no_line(self._first_bytes)
            self._fault("No line came." if words == OTHER and self.lines == 0 else words, b"")
            if self.lines == 0:
                return
        if self._asked_at_s is not None and at_s - self._asked_at_s > ANSWER_WITHIN_S + SLACK_S:
            self._fault("A '?' is not answered by a hello within a second.", b"")
        if self._hello is None:
            self._fault("No hello came: send one at boot, every 5 s and after '?'.", b"")
        if self.samples == 0:
            self._fault("No line of data came.", b"")
        self._rate()
        self._clock()
        if self._hello is not None and set(self._hello.channels) & {"c", "q"} and self.samples and not self._crank_sent:
            self._fault("ch= names a crank sensor, and no line has c=.", b"")

    def _fault(self, words: str, line: bytes) -> None:
        shown = "".join(chr(b) if 32 <= b < 127 else "?" for b in line[: 2 * LONGEST_LINE].rstrip(b"\r"))
        before = self._found.get(words)
        self._found[words] = (
            Fault(words, 1, shown) if before is None else Fault(words, before.times + 1, before.example)
        )

    def _take(self, at_s: float, line: bytes) -> None:
        self.lines += 1
        wrong = list(line_faults(line))
        for words in wrong:
            self._fault(words, line)
        if wrong:
            self._before = None
            return
        frame = parse_body(line[1:].partition(b"*")[0])
        if isinstance(frame, Hello):
            self._take_hello(at_s, frame, line)
        elif isinstance(frame, Sample):
            self._take_sample(at_s, frame, line)
        elif isinstance(frame, CrankLine):
            self.sender.take(at_s, frame, line, self._fault)

    def _take_hello(self, at_s: float, hello: Hello, line: bytes) -> None:
        since_s = self._hello_at_s if self._hello_at_s is not None else self._listening_since_s
        if since_s is not None and at_s - since_s > HELLO_EVERY_S + SLACK_S:
            self._fault("More than 5 s passed between two hellos.", line)
        if self._asked_at_s is not None:
            if at_s - self._asked_at_s > ANSWER_WITHIN_S + SLACK_S:
                self._fault("A '?' is not answered by a hello within a second.", line)
            self._asked_at_s = None
        self._hello, self._hello_at_s = hello, at_s

    def _take_sample(self, at_s: float, sample: Sample, line: bytes) -> None:
        self.samples += 1
        self._newest_at_s = at_s
        self._crank_sent = self._crank_sent or sample.crank is not None
        before, self._before = self._before, sample
        if before is None:
            self._began, self._began_at_s = sample, at_s
            # The first line is left out, since it may be cut: a start is seen by the next.
            self._from_start = sample.seq < SETTLING_LINES and bool(sample.flags & SETTLING)
        else:
            self._follow(before, sample, line)
        settling = bool(sample.flags & SETTLING)
        if self._from_start and sample.raw is not None and settling != (sample.seq < SETTLING_LINES):
            self._fault("Flag 08 (settling) is for the first four conversions after a start, and no other.", line)
        elif not self._from_start and settling:
            self._fault("Flag 08 (settling) is set long after the start.", line)
        if self._hello is not None:
            self._channels(sample, self._hello, line)

    def _follow(self, before: Sample, sample: Sample, line: bytes) -> None:
        wrap_us = U32 if self._hello is None else self._hello.wrap_us
        step = (sample.seq - before.seq) % U16
        found = wrap_found(before, sample, step)
        if found is not None and found != wrap_us:
            self._fault(f"t_us starts again at {found} and not at 2^32: let the hello say wrap={found}.", line)
            wrap_us = self._wraps_at_us = found
        step_us = (sample.t_us - before.t_us) % wrap_us
        if sample.seq == 0 and sample.flags & SETTLING and sample.t_us < before.t_us:
            # It started anew.
            self._began, self._began_at_s, self._from_start = sample, self._newest_at_s, True
            return
        if step == 0 or step > U16 // 2:
            self._fault("seq does not count up by one a line.", line)
        elif step > 1 and not sample.flags & LINE_DROPPED:
            self._fault(
                "Lines are missing and flag 10 is not set: the link lost them, or the meter does not say so.", line
            )
        elif step == 1 and sample.flags & LINE_DROPPED:
            self._fault("Flag 10 (a line was dropped) is set and no number is missing.", line)
        if sample.flags & FROZEN and before.raw is not None and sample.raw != before.raw:
            self._fault("Flag 20 (frozen) is set and raw has changed.", line)
        if step_us == 0 or step_us > wrap_us // 2:
            self._fault("t_us does not advance.", line)
        elif step == 1 and step_us > LONGEST_SILENCE_S * 1e6:
            self._fault("More than 0.6 s passed without a line: say by flag 02 that there is no data.", line)
        self._crank_moved = self._crank_moved or before.crank != sample.crank
        if before.crank is not None and sample.crank is not None and self._hello is not None:
            back = (before.crank - sample.crank) % U16
            if "c" in self._hello.channels and 0 < back < U16 // 2:
                self._fault("c= counts down, and ch= says one sensor (c), which counts up only.", line)

    def _channels(self, sample: Sample, hello: Hello, line: bytes) -> None:
        sent = {
            "c or q": (sample.crank, {"c", "q"}),
            "d": (sample.distance_mm, {"d"}),
            "t": (sample.temperature_dC, {"t"}),
        }
        for name, (value, letters) in sent.items():
            declared = bool(letters & set(hello.channels))
            if value is not None and not declared:
                self._fault(f"A channel is sent that ch= of the hello does not name ({name}).", line)

    def _wrap_us(self, hello: Hello | None) -> int:
        """Where the clock starts again, as it was seen, else as it is said."""
        return self._wraps_at_us or (U32 if hello is None else hello.wrap_us)

    def _clock(self) -> None:
        """The meter's clock against the times of arrival."""
        began, newest, hello = self._began, self._before, self._hello
        if began is None or newest is None or newest is began:
            return
        device_s = ((newest.t_us - began.t_us) % self._wrap_us(hello)) / 1e6
        host_s = self._newest_at_s - self._began_at_s
        if host_s < SHORTEST_CLOCK_S:
            return
        ratio = device_s / host_s
        if 0.7e-3 < ratio < 1.4e-3:
            self._fault("t_us counts milliseconds: send microseconds.", b"")
        elif abs(ratio - 1.0) > CLOCK_OFF + CLOCK_SLACK_S / host_s:
            self._fault(f"t_us makes {ratio:.2f} s of each second: it is the board's own clock in microseconds.", b"")

    def _rate(self) -> None:
        began, newest, hello = self._began, self._before, self._hello
        if began is None or newest is None or hello is None or not hello.rate_hz:
            return
        span_s = ((newest.t_us - began.t_us) % self._wrap_us(hello)) / 1e6
        lines = (newest.seq - began.seq) % U16
        # One silent converter's line in 0.6 s says nothing of the rate.
        if span_s > 1.0 and newest.raw is not None and began.raw is not None:
            rate = lines / span_s
            if not RATE_SHARE[0] <= rate / hello.rate_hz <= RATE_SHARE[1]:
                self._fault(f"rate= says {hello.rate_hz:.0f} lines/s, and {rate:.0f} come.", b"")
