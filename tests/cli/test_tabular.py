"""Tables of the shelf within a terminal's width."""

from __future__ import annotations

import pytest

from winding_coach.cli.output.tabular import table

HEADS = ("started", "motor", "person", "turns", "peak", "remarks")
ROWS = (
    ("2026-03-07 10:36", "pi-02", "Pip", "2300", "3.79 mN·m", ""),
    ("2026-03-07 10:35", "wr-02", "Wren", "820", "3.26 mN·m", "ok"),
)


@pytest.mark.parametrize("columns", [24, 40, 60, 80, 200])
def test_no_line_is_wider_and_nothing_is_lost(columns: int) -> None:
    """`shelf winds` was 104 wide, and a terminal broke it anywhere."""
    lines = table(HEADS, ROWS, right=frozenset({"turns"}), columns=columns)
    assert max(map(len, lines)) <= columns
    words = " ".join(lines).split()
    assert sorted(words) == sorted(" ".join([*HEADS, *(cell for row in ROWS for cell in row)]).split())
    if columns >= 80:
        assert len(lines) == 3


def test_numbers_end_flush_and_empty_columns_are_left_out() -> None:
    rows = [("a", "7", ""), ("b", "1234", "")]
    assert table(("name", "turns", "remarks"), rows, right=frozenset({"turns"}), columns=80) == [
        "name  turns",
        "a         7",
        "b      1234",
    ]
