"""A sheet of cells, each a character and a role: parts are put on it, rows of (text, role) come off. Pure.

What does not fit is cut, what would move its neighbours (control and double-width characters) becomes `?`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import groupby
from typing import Literal, get_args

from rich.cells import cell_len

Row = tuple[tuple[str, str], ...]
"""Runs of (text, role) from left to right."""

Characters = Literal["all", "few", "ascii"]
"""What a terminal's font has: braille and quarter blocks too, or those of the oldest console fonts, or ASCII alone."""
CHARACTERS: tuple[Characters, ...] = get_args(Characters)

_BLOCKS = "▙▚▛▜▞▟▅▆▇█▌▐"
_PLAIN = str.maketrans(
    "─━│┃┌┐└┘├┤┬┴┼╭╮╰╯╞╡·●○◆✓×→←↑↓…−┆≈°♪▀▘▝▄▖▗▁▂▃",
    "--||+++++++++++++||.*o@vx><^v.-|~o~\"''_..___",
)


@lru_cache(maxsize=4096)
def cell_safe(text: str) -> str:
    """Return text in which every character takes one cell."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(char if char.isprintable() and cell_len(char) == 1 else "?" for char in text)


_FEW = str.maketrans("━┃┆╭╮╰╯◆✓▁▂▃▅▆▇▘▝▖▗▙▛▜▟▚▞", "═║│┌┐└┘♦√▄▄▄▄██▀▀▄▄████▌▐")
_HALF = re.compile(r"(?<!\d)½")


def in_few(text: str) -> str:
    """Return text in the characters of WGL4, which the old console fonts have: half blocks for quarters and dots."""
    if text.isascii():
        return text
    few = []
    for char in text.translate(_FEW):
        if 0x2800 <= ord(char) <= 0x28FF:
            dots = ord(char) - 0x2800
            upper, lower = (dots & 0x1B).bit_count(), (dots & 0xE4).bit_count()
            few.append(" ·"[upper + lower > 0] if upper + lower < 3 else "▀" if not lower else "█" if upper else "▄")
        else:
            few.append(char)
    return "".join(few)


def in_ascii(text: str) -> str:
    """Return text for a terminal that shows only ASCII: blocks as #, dots by how many there are; a half is .5."""
    if text.isascii():
        return text
    plain = []
    for char in _HALF.sub("0.5", text).replace("½", ".5").replace("±", "+-").translate(_PLAIN):
        if 0x2800 <= ord(char) <= 0x28FF:
            plain.append(" .::+++##"[(ord(char) - 0x2800).bit_count()])
        elif char in _BLOCKS:
            plain.append("#")
        else:
            plain.append(char if char.isascii() else "?")
    return "".join(plain)


_MADE: dict[Characters, Callable[[str], str]] = {"all": str, "few": in_few, "ascii": in_ascii}


class Sheet:
    """`columns` by `rows` cells, blank in role `ink` at first."""

    def __init__(self, columns: int, rows: int, characters: Characters = "all") -> None:
        self.columns, self.rows = columns, rows
        self._made = _MADE[characters]
        self._text = [[" "] * columns for _ in range(rows)]
        self._role = [["ink"] * columns for _ in range(rows)]

    def put(self, column: int, row: int, text: str, role: str = "ink", *, most: int | None = None) -> int:
        """Write text from a cell on, `most` columns at most; return the column after it."""
        text = self._made(cell_safe(text))
        if most is not None and len(text) > most:
            text = text[: max(most - 1, 0)] + self._made("…") * (most > 0)
        end = min(column + len(text), self.columns)
        if 0 <= row < self.rows and end > max(column, 0):
            begin = max(column, 0)
            self._text[row][begin:end] = text[begin - column : end - column]
            self._role[row][begin:end] = [role] * (end - begin)
        return column + len(text)

    def paint(self, column: int, row: int, cells: str, roles: Sequence[str]) -> None:
        """Write cells within the sheet, each one wide and in its own role; an empty role leaves what is there."""
        line, role = self._text[row], self._role[row]
        for at, (char, name) in enumerate(zip(self._made(cells), roles, strict=True), column):
            if name:
                line[at], role[at] = char, name

    def put_right(self, end: int, row: int, text: str, role: str = "ink") -> int:
        """Write text that ends before column `end`; return where it begins."""
        self.put(end - len(text), row, text, role)
        return end - len(text)

    def blocks(self, column: int, row: int, lines: Sequence[str], role: str) -> None:
        """Write block letters; their blank cells leave what is there."""
        for number, line in enumerate(lines):
            begin = column
            for blank, run in groupby(line, key=" ".__eq__):
                text = "".join(run)
                if not blank:
                    self.put(begin, row + number, text, role)
                begin += len(text)

    def fill(self, column: int, row: int, columns: int, rows: int, role: str, char: str = " ") -> None:
        """Fill a field."""
        for number in range(row, row + rows):
            self.put(column, number, char * max(min(columns, self.columns - column), 0), role)

    def box(self, column: int, row: int, columns: int, rows: int, role: str) -> None:
        """Draw a frame with a blank field in it."""
        self.fill(column, row, columns, rows, role)
        self.put(column, row, "╭" + "─" * (columns - 2) + "╮", role)
        self.put(column, row + rows - 1, "╰" + "─" * (columns - 2) + "╯", role)
        for number in range(row + 1, row + rows - 1):
            self.put(column, number, "│", role)
            self.put(column + columns - 1, number, "│", role)

    def row(self, number: int) -> Row:
        """Return one row as runs."""
        text, at = "".join(self._text[number]), 0
        runs = []
        for role, same in groupby(self._role[number]):
            end = at + len(list(same))
            runs.append((text[at:end], role))
            at = end
        return tuple(runs)

    def same_row(self, other: Sheet, number: int) -> bool:
        """Whether a row is as in another sheet; much cheaper than to compare its runs."""
        return self._text[number] == other._text[number] and self._role[number] == other._role[number]

    def lines(self) -> list[str]:
        """Return the text alone."""
        return ["".join(row) for row in self._text]


def wrapped(text: str, columns: int, rows: int) -> list[str]:
    """Return text in at most `rows` lines of `columns`, broken at blanks; the rest is cut with `…`."""
    lines = [""]
    for word in text.split():
        joined = f"{lines[-1]} {word}".strip()
        if len(joined) <= columns or not lines[-1]:
            lines[-1] = joined
        else:
            lines.append(word)
    if len(lines) > rows:
        lines = [*lines[: rows - 1], f"{' '.join(lines[rows - 1 :])[: max(columns - 1, 0)]}…"]
    return [line[:columns] for line in lines]
