"""Numbers against numbers: a table that is read by linear interpolation, microseconds a reading."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise


@dataclass(frozen=True, slots=True)
class Table:
    """Values against strictly rising marks; beyond its ends it stays at the end's value."""

    marks: tuple[float, ...]
    values: tuple[float, ...]

    def at(self, mark: float) -> float:
        """Return the interpolated value."""
        marks, values = self.marks, self.values
        i = bisect_right(marks, mark)
        if i == 0:
            return values[0]
        if i == len(marks):
            return values[-1]
        left = marks[i - 1]
        return values[i - 1] + (values[i] - values[i - 1]) * (mark - left) / (marks[i] - left)

    def integral(self, left: float, right: float) -> float:
        """Return the area under the table between two marks, 0 if they do not rise."""
        if not left < right:
            return 0.0
        marks = [left, *(mark for mark in self.marks if left < mark < right), right]
        return sum((b - a) * (self.at(a) + self.at(b)) / 2.0 for a, b in pairwise(marks))

    def first_at_or_above(self, value: float, from_mark: float) -> float | None:
        """Return the first mark from `from_mark` on where the value is reached, None if it never is."""
        if self.at(from_mark) >= value:
            return from_mark
        left, low = from_mark, self.at(from_mark)
        for mark, high in zip(self.marks, self.values, strict=True):
            if mark <= from_mark:
                continue
            if high >= value:
                return left + (mark - left) * (value - low) / (high - low)
            left, low = mark, high
        return None


def table(marks: Sequence[float], values: Sequence[float]) -> Table:
    """Return a table; a mark that does not rise above the one before it is left out."""
    kept_marks: list[float] = []
    kept_values: list[float] = []
    for mark, value in zip(marks, values, strict=True):
        if not kept_marks or mark > kept_marks[-1]:
            kept_marks.append(mark)
            kept_values.append(value)
    return Table(tuple(kept_marks), tuple(kept_values))
