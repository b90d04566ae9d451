"""Places to stand in each unit: words, figures for large digits, and where the steps of the walk-in end."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from winding_coach.base.standing import (
    AT_MARK_M,
    MOST_MARKS,
    STEP_UNITS,
    USUAL,
    Steps,
    exact_words,
    pace_words,
    paces_in,
    place_figure,
    place_words,
    short_words,
    tape_at_m,
)
from winding_coach.base.units import FOOT_M, INCH_M, UnitSystem

FEET, PACES = Steps("feet"), Steps("paces", pace_m=0.6)
TAPE = Steps("tape", tape_m=tape_at_m(0.25, 1.81))


@pytest.mark.parametrize(
    ("distance_m", "units", "steps", "words", "figure"),
    [
        (1.224, "metric", USUAL, "1.22 m", ("1.22", "m")),
        (1.224, "inch", USUAL, "48 in", ("48", "in")),
        (1.224, "inch", Steps("metres"), "1.22 m", ("1.22", "m")),
        (1.224, "metric", Steps("inches"), "48 in", ("48", "in")),
        # A foot is 0.3048 m, an inch 25.4 mm exactly (NIST SP 811, appendix B).
        (4 * FOOT_M + 3 * INCH_M, "inch", FEET, "4 ft 3 in", ("4'3", "ft in")),
        (3.999 * FOOT_M, "metric", FEET, "4 ft 0 in", ("4'0", "ft in")),
        (1.5, "metric", PACES, "2½ paces", ("2.5", "paces")),
        (0.6, "metric", PACES, "1 pace", ("1", "pace")),
        (0.3, "metric", PACES, "½ pace", ("0.5", "pace")),
        (1.0, "metric", TAPE, "mark 4", ("4", "mark")),
        (1.81, "metric", TAPE, "6 cm outside mark 7", ("7", "mark +6 cm")),
        (0.22, "metric", TAPE, "3 cm inside mark 1", ("1", "mark -3 cm")),
        (0.22, "inch", TAPE, "1 in inside mark 1", ("1", "mark -1 in")),
    ],
)
def test_a_place_in_words_and_in_large_digits(
    distance_m: float, units: UnitSystem, steps: Steps, words: str, figure: tuple[str, str]
) -> None:
    assert place_words(distance_m, units, steps) == words
    assert place_figure(distance_m, units, steps) == figure


def test_full_stretch_is_told_exactly_even_to_who_paces() -> None:
    assert exact_words(1.81, "metric", PACES) == "1.81 m, about 3 paces"
    assert exact_words(1.81, "metric", TAPE) == "6 cm outside mark 7"


@pytest.mark.parametrize(
    ("from_m", "to_m", "paces", "words"),
    [
        (1.8, 1.5, 0.5, "half a pace"),
        (1.8, 1.2, 1.0, "one pace"),
        (1.8, 0.9, 1.5, "1½ paces"),
        (1.8, 0.6, 2.0, "2 paces"),
        (1.5, 1.8, -0.5, "half a pace"),
        (1.5, 1.4, 0.0, "a short step"),
    ],
)
def test_a_step_in_paces(from_m: float, to_m: float, paces: float, words: str) -> None:
    found = paces_in(from_m, to_m, PACES)
    assert found == paces
    assert found is not None
    assert pace_words(found) == words
    assert paces_in(None, to_m, PACES) is None
    assert paces_in(from_m, to_m, TAPE) is None


ANY = st.builds(
    Steps,
    unit=st.sampled_from((None, *STEP_UNITS)),
    pace_m=st.floats(0.2, 1.5),
    tape_m=st.floats(0.06, 1.0).map(lambda spacing: tape_at_m(spacing, 2.2)),
)


@given(ANY, st.floats(0.1, 0.6), st.floats(0.8, 2.2))
def test_stops_lead_from_full_stretch_to_the_hooks(steps: Steps, hooks_m: float, stretch_m: float) -> None:
    stops = steps.stops_m(hooks_m, stretch_m)
    if steps.unit not in ("paces", "tape"):
        assert stops == ()
        return
    assert (stops[0], stops[-1]) == (hooks_m, stretch_m)
    assert list(stops) == sorted(stops)
    if steps.unit == "tape":
        assert set(stops[1:-1]) <= set(steps.tape_m)
    else:
        for near, far in pairwise(stops[1:]):
            assert far - near == pytest.approx(steps.pace_m / 2, abs=2e-4)


@given(ANY, st.floats(0.0, 2.2), st.sampled_from(("metric", "inch")))
def test_words_never_move_their_neighbours_and_figures_have_shapes(steps: Steps, distance_m: float, units: Any) -> None:
    room = len(short_words(0.0, units, steps))
    assert len(short_words(distance_m, units, steps)) == room
    figure, beside = place_figure(distance_m, units, steps)
    assert set(figure) <= set("0123456789.'")
    assert len(figure) <= 5
    assert beside


@given(st.floats(0.06, 1.0), st.floats(0.2, 2.2))
def test_the_nearest_mark_and_what_is_beside_it_give_the_place_back(spacing_m: float, distance_m: float) -> None:
    steps = Steps("tape", tape_m=tape_at_m(spacing_m, 2.2))
    words = place_words(distance_m, "metric", steps).split()
    mark_m = steps.tape_m[int(words[-1]) - 1]
    if words[0] == "mark":
        assert abs(distance_m - mark_m) <= AT_MARK_M + 1e-9
    else:
        sign = {"outside": 1.0, "inside": -1.0}[words[2]]
        assert distance_m == pytest.approx(mark_m + sign * float(words[0]) / 100, abs=0.0051)


def test_tape_is_put_at_even_spaces_up_to_the_first_beyond_full_stretch() -> None:
    assert tape_at_m(0.25, 1.0) == (0.25, 0.5, 0.75, 1.0, 1.25)
    assert len(tape_at_m(0.05, 1.81)) == math.floor(1.81 / 0.05) + 1 <= MOST_MARKS
