"""Rows of text in, aligned columns out, within a terminal's width."""

from __future__ import annotations

import shutil
from collections.abc import Sequence

BELOW = " " * 4


def table(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    right: frozenset[str] = frozenset(),
    columns: int | None = None,
) -> list[str]:
    """Return lines of columns two blanks apart; columns that are empty throughout are left out.

    right: heads of the columns whose values end flush. columns: the width, None: the terminal's. What does not fit in
    it goes on a second line under each row; a last column of remarks may be longer.
    """
    kept = [i for i, _ in enumerate(heads) if any(row[i] for row in rows)]
    widths = {i: max(len(heads[i]), *(len(row[i]) for row in rows)) for i in kept}
    lines = _lines(kept, widths, shutil.get_terminal_size().columns if columns is None else columns)

    def laid(cells: Sequence[str]) -> list[str]:
        return [
            BELOW * (number > 0)
            + "  ".join(
                cells[i].rjust(widths[i]) if heads[i] in right else cells[i].ljust(widths[i]) for i in line
            ).rstrip()
            for number, line in enumerate(lines)
        ]

    return [line for cells in (heads, *rows) for line in laid(cells)]


def _lines(kept: Sequence[int], widths: dict[int, int], columns: int) -> list[list[int]]:
    """Which columns share a line."""
    lines: list[list[int]] = [[]]
    room = columns
    for i in kept:
        if lines[-1] and room < widths[i]:
            lines.append([])
            room = columns - len(BELOW)
        lines[-1].append(i)
        room -= widths[i] + 2
    return lines
