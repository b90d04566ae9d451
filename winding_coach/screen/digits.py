"""Words and figures in blocks, scaled to the room there is: text in, rows of block characters out. Pure.

Our own 5×7 shapes, enlarged with Scale2x (rule published by A. Mazzoleni, 2001; from memory) so that
curves and diagonals are smooth, drawn in quarter cells. `across` counts half columns a font pixel, `down` half rows.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

HIGH = 7
"""Font pixels from top to bottom."""
LARGEST = 16

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
J 00111 00010 00010 00010 00010 10010 01100
M 10001 11011 10101 10101 10001 10001 10001
Q 01110 10001 10001 10001 10101 10010 01101
U 10001 10001 10001 10001 10001 10001 01110
V 10001 10001 10001 10001 01010 01010 00100
X 10001 10001 01010 00100 01010 10001 10001
? 01110 10001 00001 00110 00100 00000 00100
! 1 1 1 1 1 0 1
: 0 1 0 0 0 1 0
+ 000 000 010 111 010 000 000
. 0 0 0 0 0 1 1
' 1 1 0 0 0 0 0
- 00000 00000 00000 01110 00000 00000 00000
"""
SHAPES: dict[str, tuple[str, ...]] = {
    line.split()[0]: tuple(line.split()[1:]) for line in _SHAPES.strip().splitlines()
} | {" ": ("00",) * HIGH}
"""A character that has no shape is left blank."""

QUARTERS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
"""Characters by the quarters they ink: 1 upper left, 2 upper right, 4 lower left, 8 lower right."""

Bitmap = npt.NDArray[np.bool_]


def pixels(text: str) -> int:
    """Return the font pixels that `text` takes across."""
    return max(sum(len(SHAPES.get(char, SHAPES[" "])[0]) + 1 for char in text) - 1, 0)


def width(text: str, across: int) -> int:
    """Return the columns that `text` takes with so many half columns a font pixel."""
    return (pixels(text) * across + 1) // 2


def height(down: int) -> int:
    """Return the rows that text takes with so many half rows a font pixel."""
    return (HIGH * down + 1) // 2


def fitting(template: str, columns: int, rows: int) -> tuple[int, int]:
    """Return the largest (across, down) at which `template` fits; (0, 0) if none does.

    A font pixel is between half as wide as high and square (a half row is as high as a column is wide).
    """
    across = min(2 * columns // max(pixels(template), 1), LARGEST)
    down = max((scale for scale in range(1, LARGEST + 1) if height(scale) <= rows), default=0)
    if across == 0 or down == 0:
        return 0, 0
    return min(across, 2 * down), min(down, across)


def _doubled(bits: Bitmap) -> Bitmap:
    """Return a bitmap twice as large, steps smoothed by the Scale2x rule; square ends and corners stay square."""
    edged = np.pad(bits, 1)
    here = edged[1:-1, 1:-1]
    large = np.repeat(np.repeat(here, 2, axis=0), 2, axis=1)
    rows, columns = (slice(0, -2), slice(2, None)), (slice(0, -2), slice(2, None))
    beside = (edged[1:-1, columns[0]], edged[1:-1, columns[1]])
    above = (edged[rows[0], 1:-1], edged[rows[1], 1:-1])
    for row in (0, 1):
        for column in (0, 1):
            near_v, far_v = above[row], above[1 - row]
            near_h, far_h = beside[column], beside[1 - column]
            turn = (near_v == near_h) & (near_v != far_h) & (near_h != far_v)
            step = (edged[rows[row], columns[1 - column]] == here) | (edged[rows[1 - row], columns[column]] == here)
            large[row::2, column::2] = np.where(turn & step, near_v, here)
    return large


@lru_cache(maxsize=512)
def _letter(char: str, across: int, down: int) -> Bitmap:
    shape = SHAPES.get(char, SHAPES[" "])
    bits = np.array([[bit == "1" for bit in row] for row in shape], dtype=bool)
    if across < 3 or down < 2:  # Too few dots to round anything.
        return np.repeat(np.repeat(bits, down, axis=0), across, axis=1)
    fine = _doubled(_doubled(bits))
    rows = ((np.arange(HIGH * down) + 0.5) * 4 / down).astype(int)
    columns = ((np.arange(bits.shape[1] * across) + 0.5) * 4 / across).astype(int)
    letter: Bitmap = fine[np.ix_(rows, columns)]
    return letter


@lru_cache(maxsize=256)
def block_rows(text: str, across: int, down: int) -> tuple[str, ...]:
    """Return `text` as rows of blocks, `height(down)` of them, each `width(text, across)` columns."""
    parts: list[Bitmap] = []
    for char in text:
        parts += [_letter(char, across, down), np.zeros((HIGH * down, across), dtype=bool)]
    whole = np.concatenate(parts[:-1], axis=1) if parts else np.zeros((HIGH * down, 0), dtype=bool)
    whole = np.pad(whole, ((0, whole.shape[0] % 2), (0, whole.shape[1] % 2)))
    codes = whole[::2, ::2] + 2 * whole[::2, 1::2] + 4 * whole[1::2, ::2] + 8 * whole[1::2, 1::2]
    return tuple("".join(QUARTERS[code] for code in row) for row in codes)
