"""What is typed after an option is taken to the bound, and refused beyond it by a sentence that names the option."""

from __future__ import annotations

import pytest

from winding_coach.command_line.problem import UsageProblem
from winding_coach.command_line.typed import number, quantity, whole


@pytest.mark.parametrize(("typed", "value"), [("0.5", 0.5), ("1e1", 10.0), (" 3 ", 3.0), ("10", 10.0)])
def test_numbers_within_the_bounds_are_taken(typed: str, value: float) -> None:
    assert number("--speed", typed, 0.5, 10) == value


@pytest.mark.parametrize("typed", ["", "fast", "nan", "inf", "0.49", "10.1", "1,5", "9" * 400])
def test_other_numbers_are_refused_in_a_short_sentence(typed: str) -> None:
    with pytest.raises(UsageProblem, match=r"^--speed: .* is not a number from 0\.5 to 10\.$") as refused:
        number("--speed", typed, 0.5, 10)
    assert len(str(refused.value)) < 100


@pytest.mark.parametrize("typed", ["1", " 2", "3 "])
def test_whole_numbers_are_taken(typed: str) -> None:
    assert whole("--use", typed, 1, 3) == int(typed)


@pytest.mark.parametrize("typed", ["", "0", "4", "1.5", "-1", "+1", "1_0", "٣", "9" * 5000, "two"])
def test_other_than_whole_numbers_are_refused(typed: str) -> None:
    with pytest.raises(UsageProblem, match=r"^--use: .* is not a whole number from 1 to 3\.$"):
        whole("--use", typed, 1, 3)


def test_a_quantity_is_si_and_a_wrong_one_names_its_option() -> None:
    assert quantity("--loop", "30", "length", "metric") == pytest.approx(0.30)
    assert quantity("--loop", "12", "length", "inch") == pytest.approx(0.3048)
    with pytest.raises(UsageProblem, match=r"^--loop: '30 g' has no unit of length"):
        quantity("--loop", "30 g", "length", "metric")
