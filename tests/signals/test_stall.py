"""The handle from pulses, silence and what torque says: slow and fast cranking, lost and double pulses, reversal."""

import pytest

from winding_coach.signals.reading import CrankState
from winding_coach.signals.stall import PulseCrank
from winding_coach.signals.tuning import STALL_EARLY_PERIODS, STALL_LOST_PERIODS, STALL_TWO_LOST_PERIODS


def cranked(*pulses_s: float, score: float | None = 0.0) -> PulseCrank:
    crank = PulseCrank()
    crank.score = score
    crank.at(0.0)
    for t_s in pulses_s:
        crank.at(t_s)
        crank.moved(t_s, 1.0)
    return crank


def state(crank: PulseCrank) -> CrankState:
    return crank.state


def state_after(crank: PulseCrank, t_s: float) -> CrankState:
    crank.at(t_s)
    return crank.state


def test_unknown_then_stalled_if_nothing_ever_comes() -> None:
    crank = cranked()
    assert state_after(crank, 1.4) is CrankState.UNKNOWN
    assert crank.rev_per_s(1.4) is None
    assert state_after(crank, 1.6) is CrankState.STALLED
    assert crank.rev_per_s(1.6) == 0.0


@pytest.mark.parametrize("period", [0.4, 0.8, 1.5, 3.0])
def test_stalls_at_one_point_three_periods(period: float) -> None:
    crank = cranked(period, 2 * period, 3 * period)
    assert state_after(crank, 4.25 * period) is CrankState.TURNING
    assert crank.rev_per_s(3.5 * period) == pytest.approx(1 / period)
    assert crank.rev_per_s(4.25 * period) == pytest.approx(1 / (1.25 * period))
    assert state_after(crank, 4.35 * period) is CrankState.STALLED


@pytest.mark.parametrize(
    ("score", "periods"),
    [(2.0, STALL_EARLY_PERIODS), (-2.0, STALL_LOST_PERIODS), (-9.0, STALL_TWO_LOST_PERIODS)],
)
def test_torque_makes_it_sooner_or_later(score: float, periods: float) -> None:
    assert state_after(cranked(0.8, 1.6, 2.4, score=score), 2.4 + (periods - 0.05) * 0.8) is CrankState.TURNING
    assert state_after(cranked(0.8, 1.6, 2.4, score=score), 2.4 + (periods + 0.05) * 0.8) is CrankState.STALLED


def test_where_torque_cannot_tell_a_meter_is_trusted_after_many_pulses() -> None:
    few = cranked(*(0.8 * i for i in range(1, 20)), score=None)
    assert state_after(few, 0.8 * (19 + 1.5)) is CrankState.TURNING
    assert state_after(few, 0.8 * (19 + 2.3)) is CrankState.STALLED
    many = cranked(*(0.8 * i for i in range(1, 250)), score=None)
    assert state_after(many, 0.8 * (249 + 1.35)) is CrankState.STALLED
    lost_one = cranked(*(0.8 * i for i in range(1, 250) if i != 240), score=None)
    assert state_after(lost_one, 0.8 * (249 + 1.5)) is CrankState.TURNING


def test_never_longer_than_five_seconds() -> None:
    crank = cranked(4.5, 9.0, 13.5)
    assert state_after(crank, 18.4) is CrankState.TURNING
    assert state_after(crank, 18.6) is CrankState.STALLED


def test_one_pulse_is_no_period_yet() -> None:
    crank = cranked(1.0)
    assert crank.rev_per_s(1.2) is None
    assert state_after(crank, 2.4) is CrankState.TURNING
    assert state_after(crank, 2.6) is CrankState.STALLED


def test_after_a_stall_the_long_period_is_not_taken_as_usual() -> None:
    crank = cranked(0.8, 1.6, 2.4)
    assert state_after(crank, 10.0) is CrankState.STALLED
    assert crank.moved(10.0, 1.0) == 0.0
    assert state(crank) is CrankState.TURNING
    assert state_after(crank, 11.1) is CrankState.STALLED


def test_a_crank_that_really_slows_down_is_followed_after_two_long_turns() -> None:
    crank = cranked(0.8, 1.6, 2.4)
    for t_s in (5.0, 7.6):
        crank.at(t_s)
        crank.moved(t_s, 1.0)
    assert crank.period_s == pytest.approx(2.6)


def test_two_counts_at_once_are_two_periods() -> None:
    crank = cranked(0.8, 1.6)
    assert crank.moved(3.2, 2.0) == 0.0
    assert crank.period_s == pytest.approx(0.8)


def test_a_lost_pulse_is_put_right_when_the_next_comes_in_time() -> None:
    crank = cranked(0.8, 1.6, 2.4, score=-3.0)
    crank.at(3.9)
    assert crank.moved(4.0, 1.0) == 0.0
    assert crank.period_s == pytest.approx(0.8)
    assert crank.moved(4.8, 1.0) == 1.0


def test_a_slower_handle_is_no_lost_pulse() -> None:
    crank = cranked(0.8, 1.6, 2.4, score=-3.0)
    assert [crank.moved(t_s, 1.0) for t_s in (4.0, 5.6, 7.2)] == [0.0, 0.0, 0.0]
    assert crank.period_s == pytest.approx(1.6)


def test_a_stop_of_a_turn_is_no_lost_pulse() -> None:
    crank = cranked(0.8, 1.6, 2.4, score=3.0)
    crank.at(3.9)
    assert [crank.moved(t_s, 1.0) for t_s in (4.0, 4.8)] == [0.0, 0.0]


def test_a_double_pulse_is_taken_back_and_a_fast_handle_is_not() -> None:
    crank = cranked(0.8, 1.6, 2.4)
    assert crank.moved(2.45, 1.0) == -1.0
    assert crank.moved(3.2, 1.0) == 0.0
    assert crank.period_s == pytest.approx(0.8)
    assert crank.moved(3.35, 1.0) == -1.0
    assert crank.moved(3.38, 1.0) == 0.0


def test_reversing() -> None:
    crank = cranked(0.8, 1.6, 2.4)
    crank.moved(3.0, -1.0)
    assert state(crank) is CrankState.REVERSING
    crank.moved(3.5, -1.0)
    assert crank.rev_per_s(3.6) == pytest.approx(-2.0)
    crank.reset()
    assert state(crank) is CrankState.UNKNOWN


def test_a_turn_is_overdue_until_a_stall_is_told() -> None:
    crank = cranked(0.8, 1.6, 2.4)
    assert crank.overdue(3.1) is None
    assert crank.overdue(3.3) == pytest.approx((2.4, 0.8))
    crank.at(4.5)
    assert crank.overdue(4.5) is None
    assert cranked(1.0).overdue(2.0) is None


def test_a_bounce_within_a_line_is_no_second_turn_and_leaves_the_period() -> None:
    """It halved the period that was believed, and the next turn was called a stand when it was half done."""
    crank = cranked(0.8, 1.6, 2.4)
    assert crank.moved(3.2, 2.0) == -1.0
    assert crank.period_s == pytest.approx(0.8)
    assert state_after(crank, 3.2 + 1.2 * 0.8) is CrankState.TURNING


def test_two_turns_of_a_gap_of_lines_are_two() -> None:
    crank = cranked(0.8, 1.6, 2.4)
    assert crank.moved(4.0, 2.0) == 0.0
    assert crank.period_s == pytest.approx(0.8)
