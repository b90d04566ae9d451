"""What is typed after an option is taken to the bound, and refused beyond it by a sentence that names the option."""

from __future__ import annotations

import pytest

from winding_coach.app.problem import UsageProblem
from winding_coach.app.typed import number, quantity, whole
from winding_coach.cli.args.duration import duration_s, split_duration


@pytest.mark.parametrize(("typed", "value"), [("0.5", 0.5), ("1e1", 10.0), (" 3 ", 3.0), ("10", 10.0), ("1,5", 1.5)])
def test_numbers_within_the_bounds_are_taken(typed: str, value: float) -> None:
    assert number("--speed", typed, 0.5, 10) == value


@pytest.mark.parametrize("typed", ["", "fast", "nan", "inf", "0.49", "10.1", "1,5,5", "0,4", "9" * 400])
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


class TestDurations:
    """As people type them; 6.52 was taken for seven seconds, and a flight of 168 turns a second was logged."""

    @pytest.mark.parametrize(
        ("typed", "seconds"),
        [
            ("6:52", 412.0),
            ("6:52.5", 412.5),
            ("6:52,5", 412.5),
            ("1:06:52", 4012.0),
            ("6 min 52", 412.0),
            ("6 min 52 s", 412.0),
            ("6min52s", 412.0),
            ("6m52", 412.0),
            ("6'52", 412.0),
            ("6'52\"", 412.0),
            ("6 min", 360.0),
            ("6.5 min", 390.0),
            ("6,5 min", 390.0),
            ("1 h 6 min 52 s", 4012.0),
            ("412", 412.0),
            ("412 s", 412.0),
            ("412,5", 412.5),
            ("6.52 s", 6.52),
        ],
    )
    def test_read(self, typed: str, seconds: float) -> None:
        assert duration_s(typed) == pytest.approx(seconds)

    @pytest.mark.parametrize(
        ("typed", "says"),
        [
            ("6.52", "may be 6:52 or 6.52 seconds: type 6:52, or 6.52 s"),
            ("6,5", "may be 6:50 or 6,5 seconds"),
            ("6.75", r"may be 6\.75 min or 6\.75 seconds"),
            ("6:75", "no duration"),
            ("6 min 75", "no duration"),
            ("", "no duration"),
            ("0", "no duration"),
            ("9:00:00", "no duration"),
            ("long", "no duration"),
        ],
    )
    def test_doubted_or_refused(self, typed: str, says: str) -> None:
        with pytest.raises(UsageProblem, match=says):
            duration_s(typed)

    @pytest.mark.parametrize(
        ("line", "parts"),
        [
            ("6:52 180 7.5m", ("6:52", "180 7.5m")),
            ("6 min 52 180", ("6 min 52", "180")),
            ("6 min 180", ("6 min", "180")),
            ("412 180 ceiling", ("412", "180 ceiling")),
            ("6m52 9m", ("6m52", "9m")),
            ("well 180", ("well", "180")),
            ("", ("", "")),
        ],
    )
    def test_the_first_words_of_a_line(self, line: str, parts: tuple[str, str]) -> None:
        assert split_duration(line) == parts
