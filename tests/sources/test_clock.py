"""The trace's clock, the queue of keys, and the pace of played time."""

from __future__ import annotations

import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.sources.helpers import FakeClock
from winding_coach.base.inputs import Ended, KeyPressed
from winding_coach.live.sources.clock import Keys, WindClock, started_now
from winding_coach.live.sources.emulator import CATCHES_UP_S
from winding_coach.live.sources.pace import LATEST_S, Pace


@given(st.lists(st.floats(-1e6, 1e6, allow_nan=False), min_size=1))
def test_the_clock_never_goes_back_and_is_whole_microseconds(readings: list[float]) -> None:
    told = iter([0.0, *readings])
    clock = WindClock(lambda: next(told))
    times = [clock.now() for _ in readings]
    assert times == sorted(times)
    assert times[0] >= 0.0
    assert all(time == round(time, 6) for time in times)
    assert times[-1] == max(0.0, *(round(reading, 6) for reading in readings))


def test_keys_come_in_order_from_any_thread_and_quit_is_the_last() -> None:
    keys = Keys()
    assert keys.take(0.5) is None
    for name in ("tare", "quit", "peak"):
        pressing = threading.Thread(target=keys.press, args=(name,))
        pressing.start()
        pressing.join()
    assert [keys.take(1.0), keys.take(1.5), keys.take(2.0), keys.take(2.5)] == [
        KeyPressed(1.0, "tare"),
        KeyPressed(1.5, "quit"),
        Ended(2.0),
        Ended(2.5),
    ]


def test_a_wind_s_start_has_its_offset() -> None:
    assert started_now().utcoffset() is not None


def test_the_pace_leads_to_absolute_times() -> None:
    clock = FakeClock()
    pace = Pace(2.0, clock)
    assert pace.wait_s(1.0) == 0.5
    clock.now_s += 0.7
    assert pace.wait_s(2.0) == pytest.approx(0.3), "a late wake-up is made up for"


def test_after_a_long_sleep_of_the_computer_time_goes_on_from_now() -> None:
    clock = FakeClock()
    pace = Pace(1.0, clock)
    pace.wait_s(0.0)
    clock.now_s += 3600.0
    assert pace.wait_s(0.1) == 0.0
    assert 0.0 < pace.wait_s(0.2) <= 0.1 + 1e-9, "the hour is not played in a rush"
    clock.now_s += LATEST_S / 2
    assert pace.wait_s(0.2) < 0, "a short delay is"


def test_a_simulated_meter_that_stood_is_in_time_again_as_a_real_board_is() -> None:
    """Its lines were 1.1 s too old from then on, and the coach said for minutes that no data came."""
    clock = FakeClock()
    pace = Pace(1.0, clock, CATCHES_UP_S)
    assert pace.wait_s(0.0) == 0.0
    clock.now_s += 5.0
    assert pace.wait_s(0.0125) == pytest.approx(-4.9875)
