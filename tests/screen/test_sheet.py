"""The sheet: what is put on it is what comes off, cut at its edges, one cell a character."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from winding_coach.screen.sheet import Sheet, cell_safe, in_ascii, wrapped


@given(st.text(max_size=30), st.integers(-10, 50), st.integers(-3, 8), st.one_of(st.none(), st.integers(0, 20)))
def test_nothing_put_anywhere_changes_the_size(text: str, column: int, row: int, most: int | None) -> None:
    sheet = Sheet(40, 5)
    sheet.put(column, row, text, "dim", most=most)
    sheet.box(column, row, 12, 3, "goal")
    for number in range(5):
        runs = sheet.row(number)
        assert sum(cell_len(part) for part, _ in runs) == 40
    assert all(len(line) == 40 for line in sheet.lines())


def test_text_is_cut_at_the_edges_and_keeps_its_role() -> None:
    sheet = Sheet(6, 2)
    assert sheet.put(-2, 0, "abcdef", "word") == 4
    assert sheet.row(0) == (("cdef", "word"), ("  ", "ink"))
    sheet.put(4, 1, "xyz", "bad")
    assert sheet.row(1) == (("    ", "ink"), ("xy", "bad"))
    assert sheet.put_right(6, 1, "end") == 3
    assert sheet.lines()[1] == "   end"


def test_too_long_a_text_ends_with_a_sign() -> None:
    sheet = Sheet(10, 1)
    assert sheet.put(0, 0, "longer than five", most=5) == 5
    assert sheet.lines() == ["long…     "]
    sheet.put(0, 0, "x", most=0)
    assert sheet.lines() == ["long…     "]


def test_blank_cells_of_block_letters_leave_what_is_there() -> None:
    sheet = Sheet(5, 1)
    sheet.put(0, 0, "·····", "dim")
    sheet.blocks(0, 0, ["█ █"], "figure")
    assert sheet.lines() == ["█·█··"]


@given(st.text(max_size=40))
def test_a_safe_text_has_one_cell_a_character(text: str) -> None:
    safe = cell_safe(text)
    assert len(safe) == len(text) == cell_len(safe)
    assert safe.isprintable()


@pytest.mark.parametrize(
    ("text", "plain"), [("●○─━│", "*o--|"), ("█▌▀▄", '##"_'), ("⠀⠁⣿", " .#"), ("漢é", "??"), ("a…", "a.")]
)
def test_ascii_stands_in_for_what_a_terminal_lacks(text: str, plain: str) -> None:
    assert in_ascii(text) == plain


@given(st.lists(st.text(alphabet="abc", min_size=1, max_size=12), max_size=12), st.integers(1, 30), st.integers(1, 4))
def test_wrapped_lines_fit_and_keep_the_words_in_order(words: list[str], columns: int, rows: int) -> None:
    lines = wrapped(" ".join(words), columns, rows)
    assert 1 <= len(lines) <= rows
    assert all(len(line) <= columns for line in lines)
    if not any("…" in line or len(line) == columns for line in lines):
        assert " ".join(lines).split() == words
