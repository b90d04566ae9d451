"""Block letters: every size is exact, nothing jumps, and what is drawn is the shape it was made from."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from winding_coach.screen.digits import HIGH, QUARTERS, SHAPES, block_rows, fitting, height, pixels, width
from winding_coach.screen.wording import ALARM_BLOCKS, LINK_BLOCKS, OUTCOME_BLOCKS, PHASE_BLOCKS, PROMPT_BLOCKS

SCALES = st.integers(1, 12)
TEXTS = st.text(alphabet="".join(SHAPES), min_size=1, max_size=8)


def bits(rows: tuple[str, ...]) -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
    """The quarters that are inked."""
    codes = np.array([[QUARTERS.index(char) for char in row] for row in rows])
    large = np.zeros((2 * codes.shape[0], 2 * codes.shape[1]), dtype=bool)
    for bit, (down, across) in enumerate(((0, 0), (0, 1), (1, 0), (1, 1))):
        large[down::2, across::2] = codes >> bit & 1
    return large


@given(TEXTS, SCALES, SCALES)
def test_every_size_is_exact(text: str, across: int, down: int) -> None:
    rows = block_rows(text, across, down)
    assert len(rows) == height(down)
    assert {len(row) for row in rows} == {width(text, across)}


@pytest.mark.parametrize("char", sorted(set(SHAPES) - {" "}))
@pytest.mark.parametrize("scale", [(1, 1), (2, 1), (6, 3), (8, 5), (12, 12)])
def test_each_shape_can_be_read_back_from_the_middle_of_its_pixels(char: str, scale: tuple[int, int]) -> None:
    across, down = scale
    drawn = bits(block_rows(char, across, down))
    for row, line in enumerate(SHAPES[char]):
        for column, bit in enumerate(line):
            middle = drawn[row * down + down // 2, column * across + across // 2]
            assert middle == (bit == "1"), (char, row, column)


def test_all_shapes_are_seven_high_and_all_different() -> None:
    for char, shape in SHAPES.items():
        assert len(shape) == HIGH, char
        assert len({len(line) for line in shape}) == 1, char
    assert len(set(SHAPES.values())) == len(SHAPES)


def test_digits_are_equally_wide_so_that_nothing_jumps() -> None:
    assert len({pixels(digit) for digit in "0123456789-"}) == 1
    assert width("8.88", 5) == width("1.11", 5) == width("12.3", 5)


def test_every_word_that_is_shown_in_blocks_has_its_letters() -> None:
    words = [PHASE_BLOCKS, PROMPT_BLOCKS, ALARM_BLOCKS, LINK_BLOCKS, OUTCOME_BLOCKS]
    shown = "".join("".join(table.values()) for table in words)  # type: ignore[attr-defined]
    for figure in ("{distance}", "{crank}"):
        shown = shown.replace(figure, "")
    assert set(shown) <= set(SHAPES)


def test_a_character_without_a_shape_is_left_blank() -> None:
    assert set("".join(block_rows("é", 4, 2))) == {" "}
    assert block_rows("", 2, 2) == ("",) * 7


@given(TEXTS, st.integers(1, 300), st.integers(1, 100))
def test_what_is_said_to_fit_does(text: str, columns: int, rows: int) -> None:
    across, down = fitting(text, columns, rows)
    assert (across == 0) == (down == 0)
    if across:
        assert width(text, across) <= columns
        assert height(down) <= rows
        assert down <= across <= 2 * down


def test_smoothing_rounds_steps_and_leaves_square_ends() -> None:
    drawn = bits(block_rows("T", 8, 8))
    assert drawn[:8, :].all()  # The bar keeps its corners,
    assert drawn[-8:, 16:24].all()  # and the stem its foot.
    zero = bits(block_rows("O", 8, 8))
    assert 0 < zero[:8, :8].sum() < 32  # A part of the corner's pixel, where the bare shape has none.
