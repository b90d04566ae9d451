"""Words and figures in blocks, scaled to the room there is: text in, rows of half-block characters out. Pure.

Each font pixel is `across` columns wide and `down` half rows high, so heights go in half rows without seams.
"""

from __future__ import annotations

from functools import lru_cache

HIGH = 7
"""Font pixels from top to bottom."""

_SHAPES = """
0 01110 10001 10011 10101 11001 10001 01110
1 00100 01100 00100 00100 00100 00100 01110
2 01110 10001 00001 00110 01000 10000 11111
3 01110 10001 00001 00110 00001 10001 01110
4 00010 00110 01010 10010 11111 00010 00010
5 11111 10000 11110 00001 00001 10001 01110
6 00110 01000 10000 11110 10001 10001 01110
7 11111 00001 00010 00100 01000 01000 01000
8 01110 10001 10001 01110 10001 10001 01110
9 01110 10001 10001 01111 00001 00010 01100
A 01110 10001 10001 11111 10001 10001 10001
B 11110 10001 10001 11110 10001 10001 11110
C 01110 10001 10000 10000 10000 10001 01110
D 11110 10001 10001 10001 10001 10001 11110
E 11111 10000 10000 11110 10000 10000 11111
F 11111 10000 10000 11110 10000 10000 10000
G 01110 10001 10000 10111 10001 10001 01110
H 10001 10001 10001 11111 10001 10001 10001
I 111 010 010 010 010 010 111
K 10001 10010 10100 11000 10100 10010 10001
L 10000 10000 10000 10000 10000 10000 11111
N 10001 11001 10101 10101 10011 10001 10001
O 01110 10001 10001 10001 10001 10001 01110
P 11110 10001 10001 11110 10000 10000 10000
R 11110 10001 10001 11110 10100 10010 10001
S 01111 10000 10000 01110 00001 00001 11110
T 11111 00100 00100 00100 00100 00100 00100
W 10001 10001 10001 10101 10101 11011 10001
Y 10001 10001 01010 00100 00100 00100 00100
Z 11111 00001 00010 00100 01000 10000 11111
. 0 0 0 0 0 0 1
- 000 000 000 111 000 000 000
"""
SHAPES: dict[str, tuple[str, ...]] = {
    line.split()[0]: tuple(line.split()[1:]) for line in _SHAPES.strip().splitlines()
} | {" ": ("00",) * HIGH}
"""Our own 5×7 shapes; a character that has none is left blank."""

_HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def width(text: str, across: int = 1) -> int:
    """Return the columns that `text` takes."""
    pixels = sum(len(SHAPES.get(char, SHAPES[" "])[0]) + 1 for char in text) - 1
    return max(pixels, 0) * across


def height(down: int) -> int:
    """Return the rows that text takes with so many half rows a font pixel."""
    return (HIGH * down + 1) // 2


def fitting(template: str, columns: int, rows: int) -> tuple[int, int]:
    """Return the largest (across, down) at which `template` fits; (0, 0) if none does. Digits are not squashed flat."""
    across = min(columns // max(width(template), 1), 8)
    down = max((scale for scale in range(1, 9) if height(scale) <= rows), default=0)
    if across == 0 or down == 0:
        return 0, 0
    return min(across, down), min(down, 2 * across)


@lru_cache(maxsize=256)
def block_rows(text: str, across: int, down: int) -> tuple[str, ...]:
    """Return `text` as rows of blocks, `height(down)` of them, each `width(text, across)` columns."""
    pixel_rows: list[list[bool]] = [[] for _ in range(HIGH)]
    for number, char in enumerate(text):
        shape = SHAPES.get(char, SHAPES[" "])
        for row, bits in zip(pixel_rows, shape, strict=True):
            if number:
                row.extend([False] * across)
            for bit in bits:
                row.extend([bit == "1"] * across)
    halves = [row for row in pixel_rows for _ in range(down)]
    if len(halves) % 2:
        halves.append([False] * len(halves[0]))
    return tuple(
        "".join(_HALVES[pair] for pair in zip(upper, lower, strict=True))
        for upper, lower in zip(halves[::2], halves[1::2], strict=True)
    )
