"""The handle from pulses and silence alone, at fast and slow cranking, with missed pulses and reversal."""

import pytest

from winding_coach.signals.reading import CrankState
from winding_coach.signals.stall import PulseCrank


def cranked(*pulses_s: float, change: float = 1.0) -> PulseCrank:
    crank = PulseCrank()
    crank.at(0.0)
    for t_s in pulses_s:
        crank.at(t_s)
        crank.moved(t_s, change)
    return crank


def state(crank: PulseCrank) -> CrankState:
    return crank.state


def test_unknown_then_stalled_if_nothing_ever_comes() -> None:
    crank = cranked()
    crank.at(1.4)
    assert state(crank) is CrankState.UNKNOWN
    assert crank.rev_per_s(1.4) is None
    crank.at(1.6)
    assert state(crank) is CrankState.STALLED
    assert crank.rev_per_s(1.6) == 0.0


@pytest.mark.parametrize("period", [0.4, 0.8, 1.5, 3.0])
def test_stalls_at_one_point_three_periods(period: float) -> None:
    crank = cranked(period, 2 * period, 3 * period)
    crank.at(4.25 * period)
    assert state(crank) is CrankState.TURNING
    assert crank.rev_per_s(3.5 * period) == pytest.approx(1 / period)
    assert crank.rev_per_s(4.25 * period) == pytest.approx(1 / (1.25 * period))
    crank.at(4.35 * period)
    assert state(crank) is CrankState.STALLED


def test_one_pulse_is_no_period_yet() -> None:
    crank = cranked(1.0)
    assert crank.rev_per_s(1.2) is None
    crank.at(2.4)
    assert state(crank) is CrankState.TURNING
    crank.at(2.6)
    assert state(crank) is CrankState.STALLED


def test_after_a_stall_the_long_period_is_not_taken_as_usual() -> None:
    crank = cranked(0.8, 1.6, 2.4)
    crank.at(10.0)
    assert state(crank) is CrankState.STALLED
    crank.moved(10.0, 1.0)
    assert state(crank) is CrankState.TURNING
    crank.at(11.1)
    assert state(crank) is CrankState.STALLED


def test_two_counts_at_once_are_two_periods() -> None:
    crank = cranked(0.8, 1.6)
    crank.moved(3.2, 2.0)
    assert crank.period_s == pytest.approx(0.8)


def test_reversing() -> None:
    crank = cranked(0.8, 1.6, 2.4)
    crank.moved(3.0, -1.0)
    assert state(crank) is CrankState.REVERSING
    crank.moved(3.5, -1.0)
    assert crank.rev_per_s(3.6) == pytest.approx(-2.0)
    crank.reset()
    assert state(crank) is CrankState.UNKNOWN
