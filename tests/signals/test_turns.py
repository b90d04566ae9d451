"""Counts, taps, a counter that begins anew, and a handle that goes back."""

from winding_coach.signals.tuning import GUESS_SHARE, GUESS_SHARE_BLIND, PUT_RIGHT_SD
from winding_coach.signals.turns import TurnCounter


def test_nothing_is_known_at_first() -> None:
    turns = TurnCounter()
    assert (turns.turns, turns.source) == (None, "unknown")


def test_counts_from_where_the_meter_stands() -> None:
    turns = TurnCounter()
    assert [turns.counted(i * 0.5, 117.0 + i) for i in range(4)] == [0.0, 1.0, 1.0, 1.0]
    assert (turns.turns, turns.source) == (3.0, "counted")


def test_counts_down_in_reverse() -> None:
    turns = TurnCounter()
    for i, count in enumerate((10.0, 11.0, 12.0, 11.0)):
        turns.counted(i * 0.5, count)
    assert turns.turns == 1.0


def test_a_gap_is_filled_by_the_counter_but_no_faster_than_a_hand() -> None:
    turns = TurnCounter()
    turns.counted(0.0, 100.0)
    assert turns.counted(3.0, 104.0) == 4.0
    assert turns.counted(3.1, 0.0) == 0.0
    assert turns.counted(4.1, 1.0) == 1.0
    assert turns.turns == 5.0


def test_a_new_clock_keeps_the_turns() -> None:
    turns = TurnCounter()
    turns.counted(100.0, 50.0)
    turns.counted(101.0, 51.0)
    turns.new_clock()
    turns.counted(0.1, 0.0)
    turns.counted(0.9, 1.0)
    assert turns.turns == 2.0


def test_taps_count_until_the_meter_does() -> None:
    turns = TurnCounter()
    turns.tapped()
    turns.tapped()
    assert (turns.turns, turns.source) == (2.0, "tapped")
    turns.counted(0.0, 7.0)
    turns.tapped()
    assert (turns.turns, turns.source) == (2.0, "counted")


def test_an_estimate_is_never_sure_and_gives_way_to_taps() -> None:
    turns = TurnCounter()
    turns.guessed(10.0, seen=True)
    turns.guessed(2.0, seen=False)
    assert (turns.turns, turns.source) == (12.0, "estimated")
    assert turns.sd == 10.0 * GUESS_SHARE + 2.0 * GUESS_SHARE_BLIND
    turns.tapped()
    turns.guessed(5.0, seen=True)
    assert (turns.turns, turns.source) == (13.0, "tapped")


def test_what_is_put_right_makes_the_count_less_sure() -> None:
    turns = TurnCounter()
    turns.counted(0.0, 4.0)
    turns.counted(1.0, 5.0)
    turns.put_right(1.0)
    assert (turns.turns, turns.sd) == (2.0, PUT_RIGHT_SD)
