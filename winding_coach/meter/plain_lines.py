"""Lines of one number each in, as thousands of load-cell sketches print them; lines of the meter protocol out. Pure.

A line is counts (`84211`, `raw: 84211`) or a torque with its unit (`3.52 mN.m`). It has no clock and no check sum: its
time is that of its arrival, and a damaged digit is not noticed. What comes out is recorded and replayed like the rest.
"""

from __future__ import annotations

import re

from winding_coach.base.units import QuantityError, parse_quantity
from winding_coach.meter.frames import (
    PROTOCOL,
    RAW_MAX,
    RAW_MIN,
    SATURATED,
    SETTLING,
    U16,
    U32,
    Hello,
    Sample,
    encode_hello,
    encode_sample,
)

BOARD = "plain"
TORQUE_PER_COUNT_NM = 2e-8
"""A torque with its unit becomes counts of this size: 168 mN·m is the end of the range."""
OF_TORQUE = "torque"
"""Key of a hello that is made here: the lines hold a torque with its unit."""
SETTLING_LINES = 4
HELLO_EVERY_S = 5.0
LONGEST_PLAIN = 120
BAD_LINE = b"$D,plain*0000\r\n"
"""What a line without a number becomes: a reader counts it as damaged."""
_NUMBER = re.compile(
    r"(?:[A-Za-z_ ]{1,24}[:= ])?\s*([+-]?\d{1,12}(?:\.\d{1,9})?)\s*([A-Za-zµ][A-Za-z.·*]{0,8})?", re.ASCII
)


def counts_of(line: str) -> int | None:
    """Return the counts of a line, None where it is no number."""
    found = _NUMBER.fullmatch(line.strip())
    if found is None:
        return None
    number, unit = found.groups()
    if unit is None or unit.lower() in ("counts", "raw"):
        return round(float(number))
    try:
        return round(parse_quantity(f"{number} {unit}", "torque") / TORQUE_PER_COUNT_NM)
    except QuantityError:
        return None


def is_torque(line: str) -> bool:
    """Whether the number of a line is a torque with its unit, and no counts."""
    found = _NUMBER.fullmatch(line.strip())
    return found is not None and found[2] is not None and found[2].lower() not in ("counts", "raw")


class PlainLines:
    """`translate` takes bytes with the time of their arrival and returns the protocol's lines."""

    def __init__(self) -> None:
        self._rest = b""
        self._first = True
        self._torque = False
        self._seq = 0
        self._began_s: float | None = None
        self._newest_s = 0.0
        self._hello_at_s: float | None = None

    def translate(self, at_s: float, data: bytes) -> bytes:
        """Return the lines that these bytes complete; those of one piece are spread over the time since the last."""
        lines = re.split(rb"[\r\n]+", self._rest + data)
        self._rest = lines.pop()[-LONGEST_PLAIN:]
        if self._first and lines:
            # The port may have been opened in the middle of a number.
            self._first = False
            lines.pop(0)
        lines = [line for line in lines if line.strip()]
        if not lines:
            return b""
        if self._began_s is None:
            self._began_s = self._newest_s = at_s - 0.0125 * len(lines)
        step_s = (at_s - self._newest_s) / len(lines)
        sent = [self._line(self._newest_s + (i + 1) * step_s, line) for i, line in enumerate(lines)]
        self._newest_s = at_s
        return b"".join(sent)

    def _line(self, at_s: float, line: bytes) -> bytes:
        began_s = self._began_s or 0.0
        text = line.decode("ascii", "replace")
        counts = counts_of(text)
        if counts is None:
            return BAD_LINE
        self._torque = is_torque(text)
        flags = SETTLING if self._seq < SETTLING_LINES else 0
        if not RAW_MIN < counts < RAW_MAX:
            counts, flags = min(max(counts, RAW_MIN), RAW_MAX), flags | SATURATED
        sent = encode_sample(Sample(self._seq % U16, round(1e6 * (at_s - began_s)) % U32, counts, flags))
        self._seq += 1
        if self._hello_at_s is None or at_s - self._hello_at_s >= HELLO_EVERY_S:
            self._hello_at_s = at_s
            rate = round(self._seq / (at_s - began_s)) if at_s - began_s > 1.0 else 0
            fields: tuple[tuple[str, str], ...] = (("board", BOARD), ("rate", str(rate)), ("ch", ""), ("rst", "unk"))
            if self._torque:
                fields += ((OF_TORQUE, "1"),)
            sent += encode_hello(Hello(PROTOCOL, fields))
        return sent
