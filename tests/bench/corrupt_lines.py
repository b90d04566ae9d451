"""How many damaged lines pass for good ones: `python -m tests.bench.corrupt_lines [MILLIONS]`. Prints counts.

Each line is a real one with one kind of damage; it counts as accepted when the parser takes a frame from it that
differs from the one that was sent. A 16-bit check sum lets through one in 65 536 of what is random (RevEng's
CRC-16/IBM-3740 finds every change of up to three bits, and every burst of up to sixteen, in a line of this length).
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import numpy as np

from winding_coach.meter.frames import FrameParser, Sample, encode_sample

CHUNK = 20_000
Damage = Callable[[bytearray, np.random.Generator], bytes]


def flipped_bits(line: bytearray, rng: np.random.Generator) -> bytes:
    """1 % of all bits are flipped, one at least."""
    bits = 8 * len(line)
    for i in rng.integers(0, bits, max(1, rng.binomial(bits, 0.01))):
        line[i >> 3] ^= 1 << (i & 7)
    return bytes(line)


def lost_bytes(line: bytearray, rng: np.random.Generator) -> bytes:
    """One to four bytes in a row are missing, as a full buffer loses them."""
    at = int(rng.integers(0, len(line)))
    del line[at : at + int(rng.integers(1, 5))]
    return bytes(line)


def random_piece(line: bytearray, rng: np.random.Generator) -> bytes:
    """A piece of the body is replaced by other characters that a line may hold; the frame around it stays."""
    at = int(rng.integers(3, len(line) - 8))
    to = min(len(line) - 7, at + int(rng.integers(3, 9)))
    line[at:to] = bytes(b"0123456789,-"[i] for i in rng.integers(0, 12, to - at))
    return bytes(line)


def joined(line: bytearray, rng: np.random.Generator) -> bytes:
    """The head of this line and the tail of another, as when the lead was out in between."""
    other = encode_sample(
        Sample(int(rng.integers(0, 65536)), int(rng.integers(0, 2**32)), int(rng.integers(-(2**23), 2**23)), crank=17)
    )
    return bytes(line[: int(rng.integers(1, len(line)))]) + other[int(rng.integers(0, len(other))) :]


KINDS: dict[str, Damage] = {
    "1 % of bits flipped": flipped_bits,
    "1-4 bytes lost": lost_bytes,
    "digits replaced": random_piece,
    "two lines joined": joined,
}


def count(damage: Damage, lines: int, rng: np.random.Generator) -> tuple[int, int]:
    """Return how many lines were damaged and how many wrong frames were accepted."""
    damaged = accepted = 0
    while damaged < lines:
        numbers = rng.integers(0, 2**24, (CHUNK, 3))
        for seq, late, raw in numbers.tolist():
            sample = Sample(seq % 65536, late * 200, raw - 2**23, 0, crank=seq % 300)
            line = encode_sample(sample)
            spoilt = damage(bytearray(line), rng)
            if spoilt == line:
                continue
            damaged += 1
            # Every true sample there can be is made whole by its own check sum; only another one is wrong.
            for frame in FrameParser().feed(spoilt + b"\r\n"):
                if frame != sample and not (damage is joined and spoilt.endswith(encode_or_none(frame))):
                    accepted += 1
    return damaged, accepted


def encode_or_none(frame: object) -> bytes:
    """The line that a whole frame came on."""
    return encode_sample(frame) if isinstance(frame, Sample) else b"none"


def main() -> None:
    """Print a row for each kind of damage."""
    each = int(float(sys.argv[1] if len(sys.argv) > 1 else 0.2) * 1e6 / len(KINDS))
    total = wrong = 0
    for i, (name, damage) in enumerate(KINDS.items()):
        damaged, accepted = count(damage, each, np.random.default_rng(100 + i))
        print(f"{name:<22} {damaged} damaged lines, {accepted} accepted as another", flush=True)
        total, wrong = total + damaged, wrong + accepted
    print(f"{'all':<22} {total} damaged lines, {wrong} accepted as another: {1e6 * wrong / total:.2f} in a million")


if __name__ == "__main__":
    main()
