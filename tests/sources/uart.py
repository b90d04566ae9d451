"""A line's level as a serial receiver sees it: 8N1 bits at one speed, sampled at another.

Start bit low, eight data bits from the least significant one, stop bit high; a receiver waits for a falling edge,
samples in the middle of each of its own bits, and drops a byte whose stop bit is low (common practice of receivers).
"""

from __future__ import annotations

from itertools import chain


def levels(data: bytes) -> list[int]:
    """The bits on the wire, one a bit time, idle before and after."""
    framed = chain.from_iterable([0, *((byte >> i & 1) for i in range(8)), 1] for byte in data)
    return [1] * 20 + list(framed) + [1] * 20


def heard(data: bytes, sent_baud: int, read_baud: int) -> bytes:
    """What a receiver at `read_baud` makes of bytes that were sent at `sent_baud`."""
    wire = levels(data)
    bit = sent_baud / read_baud
    found = bytearray()
    at, end = 0.0, len(wire) - 10 * bit
    while at < end:
        if wire[int(at)] == 1:
            at += min(bit, 1.0) / 4
            continue
        bits = [wire[min(int(at + (i + 0.5) * bit), len(wire) - 1)] for i in range(1, 10)]
        if bits[8]:
            found.append(sum(value << i for i, value in enumerate(bits[:8])))
            at += 9.5 * bit
        else:
            at += bit
    return bytes(found)
