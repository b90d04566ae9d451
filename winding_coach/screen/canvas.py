"""A small braille canvas: lines in data units in, rows of (character, layer) out. Pure; numpy only.

Layers are drawn in order, later ones win the colour of a cell; dots of all layers add up.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

_DOTS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]], dtype=np.uint8)


class Canvas:
    """`columns` by `rows` cells, 2 by 4 dots each, over x from `left` to `right` and y from `bottom` to `top`."""

    def __init__(self, columns: int, rows: int, left: float, right: float, bottom: float, top: float) -> None:
        self.columns, self.rows = columns, rows
        self._across, self._down = 2 * columns, 4 * rows
        self._left, self._bottom = left, bottom
        self._per_x = (self._across - 1) / max(right - left, 1e-12)
        self._per_y = (self._down - 1) / max(top - bottom, 1e-12)
        self._dots = np.zeros((self._down, self._across), dtype=bool)
        self._layer = np.zeros((rows, columns), dtype=np.uint8)

    def _ink(self, x: npt.NDArray[np.int64], y: npt.NDArray[np.int64], layer: int) -> None:
        inside = (x >= 0) & (x < self._across) & (y >= 0) & (y < self._down)
        x, y = x[inside], self._down - 1 - y[inside]
        self._dots[y, x] = True
        self._layer[y // 4, x // 2] = layer

    def line(
        self, xs: Sequence[float], ys: Sequence[float], layer: int, *, dotted: bool = False, thick: bool = False
    ) -> None:
        """Draw a line through points, joined column by column; a thick one is two dots high."""
        if len(xs) < 2:
            return
        x = np.asarray(xs, dtype=float)
        y = np.asarray(ys, dtype=float)
        px = (x - self._left) * self._per_x
        py = (y - self._bottom) * self._per_y
        # So many steps that no two neighbours are further apart than a dot.
        steps = np.maximum(np.ceil(np.maximum(np.abs(np.diff(px)), np.abs(np.diff(py)))), 1).astype(int)
        steps = np.minimum(steps, 4 * (self._across + self._down))
        starts = np.repeat(np.arange(len(steps)), steps)
        offsets = np.arange(int(steps.sum())) - np.repeat(np.cumsum(steps) - steps, steps)
        share = offsets / steps[starts]
        # Each step leaves out its end, which the next begins with; the very last one is added.
        ix = np.rint(np.append(px[starts] + share * np.diff(px)[starts], px[-1])).astype(np.int64)
        iy = np.rint(np.append(py[starts] + share * np.diff(py)[starts], py[-1])).astype(np.int64)
        if dotted:
            keep = ix % 4 == 0
            ix, iy = ix[keep], iy[keep]
        self._ink(ix, iy, layer)
        if thick:
            self._ink(ix, iy + 1, layer)

    def level(self, y: float, layer: int) -> None:
        """Draw a dashed level line across."""
        ix = np.arange(0, self._across)
        ix = ix[ix % 6 < 3]
        iy = np.full(len(ix), round((y - self._bottom) * self._per_y), dtype=np.int64)
        self._ink(ix.astype(np.int64), iy, layer)

    def upright(self, x: float, layer: int) -> None:
        """Draw a dotted upright line."""
        iy = np.arange(0, self._down, 3)
        ix = np.full(len(iy), round((x - self._left) * self._per_x), dtype=np.int64)
        self._ink(ix, iy.astype(np.int64), layer)

    def cells(self) -> list[tuple[str, npt.NDArray[np.uint8]]]:
        """Return each row's characters and the layer of each."""
        blocks = self._dots.reshape(self.rows, 4, self.columns, 2)
        codes = (blocks * _DOTS[None, :, None, :]).sum(axis=(1, 3), dtype=np.int64)
        made = np.where(codes > 0, 0x2800 + codes, ord(" ")).astype("<u4").tobytes().decode("utf-32-le")
        wide = self.columns
        return [(made[row * wide : (row + 1) * wide], self._layer[row]) for row in range(self.rows)]

    def column_of(self, x: float) -> int:
        """Return the column of cells that a value of x falls into; it may lie outside."""
        return round((x - self._left) * self._per_x) // 2

    def row_of(self, y: float) -> int:
        """Return the row of cells that a level falls into, 0 at the top; it may lie outside."""
        return int((self._down - 1 - round((y - self._bottom) * self._per_y)) // 4)
