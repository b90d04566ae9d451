"""Wrapping counters: device time, crank and lost lines against a meter that knows the truth. All figures invented."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from winding_coach.meter.clock import AFTER_RESTART_S, CRANK_JUMP, DeviceClock, Unwrapped
from winding_coach.meter.frames import SETTLING, U16, U32, Sample

LINE_US = 12_500


class Meter:
    """Eighty lines a second by the protocol's page; counters that wrap, settling lines after a start."""

    def __init__(self, up_s: float = 0.0, seq: int = 0, crank: int = 0) -> None:
        self.us = round(up_s * 1e6)
        self.seq = seq
        self.crank = crank
        self.lines = 0 if up_s == 0 else 100
        self.starts = 0

    def line(self, turned: int = 0, lines: int = 1) -> Sample:
        """Let `lines` lines pass; return the last."""
        self.us += lines * LINE_US
        self.seq += lines
        self.lines += lines
        self.crank += turned
        flags = SETTLING if self.lines <= 4 else 0
        return Sample(self.seq % U16, self.us % U32, 1000, flags, self.crank % U16)

    def restart(self) -> None:
        """Clock, sequence and count begin anew."""
        self.starts += 1
        # No two starts take the same time to the microsecond.
        self.us, self.seq, self.crank, self.lines = 37_500 + self.starts, -1, 0, 0


def add(clock: DeviceClock, sample: Sample, *, quadrature: bool = False) -> Unwrapped:
    """Add a line that is no double."""
    found = clock.add(sample, quadrature=quadrature)
    assert found is not None
    return found


class TestWraps:
    """Counters that run over go on."""

    def test_begins_at_nothing(self) -> None:
        assert add(DeviceClock(), Meter(4000.0, 777, 17).line()) == Unwrapped(0.0, 0, 0, False)

    @given(st.integers(0, U32 - 1), st.integers(0, U16 - 1), st.integers(0, U16 - 1), st.data())
    def test_time_crank_and_lost_lines_are_true_from_any_beginning(
        self, us: int, seq: int, count: int, data: st.DataObject
    ) -> None:
        meter = Meter(1.0, seq, count)
        meter.us = us
        clock = DeviceClock()
        add(clock, meter.line())
        began_us, began_crank = meter.us, meter.crank
        moves = st.lists(st.tuples(st.integers(0, 2), st.integers(1, 400)), min_size=1, max_size=20)
        for turned, lines in data.draw(moves):
            found = add(clock, meter.line(turned, lines))
            assert found == Unwrapped((meter.us - began_us) / 1e6, meter.crank - began_crank, lines - 1, False)

    def test_the_clocks_wrap_in_a_running_wind(self) -> None:
        """The page's own pair of lines around the wrap."""
        clock = DeviceClock()
        add(clock, Sample(65535, 4294959744, 2210458, 0, 65535))
        assert add(clock, Sample(0, 4952, 2210999, 0, 0)) == Unwrapped(0.012504, 1, 0, False)

    def test_a_gap_around_the_wrap_is_a_gap(self) -> None:
        meter = Meter(U32 / 1e6 - 20.0, 500)
        clock = DeviceClock()
        add(clock, meter.line())
        assert add(clock, meter.line(lines=3200)) == Unwrapped(40.0, 0, 3199, False)


class TestRestarts:
    """A meter that starts again, however long it was up."""

    @given(st.floats(0.1, U32 / 1e6 - 1.0), st.integers(0, U16 - 1), st.integers(0, 3))
    def test_at_any_uptime(self, up_s: float, seq: int, missing: int) -> None:
        meter = Meter(up_s, seq, 30)
        clock = DeviceClock()
        add(clock, meter.line())
        meter.restart()
        found = add(clock, meter.line(1, 1 + missing))
        assert found == Unwrapped(AFTER_RESTART_S, 1, missing, True)
        assert add(clock, meter.line(1)) == Unwrapped(AFTER_RESTART_S + 0.0125, 2, 0, False)

    def test_half_a_minute_before_the_clocks_wrap_was_taken_for_the_wrap(self) -> None:
        meter = Meter(U32 / 1e6 - 30.0, 343_200 % U16)
        clock = DeviceClock()
        add(clock, meter.line())
        meter.restart()
        assert add(clock, meter.line()).restarted

    def test_without_a_settling_line_by_clock_or_sequence(self) -> None:
        clock = DeviceClock()
        add(clock, Sample(9000, 112_500_000, 1))
        assert add(clock, Sample(40, 550_000, 1)) == Unwrapped(AFTER_RESTART_S, None, 40, True)
        # Forward by the clock, but backwards by the sequence: 65,100 lines do not come in half a second.
        assert add(clock, Sample(65_500, 1_050_000, 1)).restarted
        # The same sequence number at another time.
        assert add(clock, Sample(65_500, 1_062_500, 1)).restarted

    def test_a_clock_that_jumps_by_half_its_range_was_started_anew(self) -> None:
        clock = DeviceClock()
        add(clock, Sample(1, 1_000_000, 1))
        assert add(clock, Sample(2, 1_000_000 + U32 // 2, 1)).restarted

    def test_the_count_goes_on_from_where_it_was(self) -> None:
        meter = Meter(60.0, 10, 100)
        clock = DeviceClock()
        add(clock, meter.line())
        assert add(clock, meter.line(2)).crank == 2
        meter.restart()
        assert add(clock, meter.line(2)).crank == 4
        assert add(clock, meter.line(1)).crank == 5

    @given(st.lists(st.one_of(st.none(), st.integers(1, 500)), max_size=30))
    def test_device_time_never_goes_back(self, story: list[int | None]) -> None:
        meter, clock = Meter(300.0), DeviceClock()
        newest = add(clock, meter.line()).device_s
        for lines in story:
            if lines is None:
                meter.restart()
            found = add(clock, meter.line(lines=lines or 1))
            assert found.device_s > newest
            newest = found.device_s


class TestLostAndDouble:
    """Lines that did not come, and lines that came twice."""

    def test_a_line_that_came_twice_is_none(self) -> None:
        meter, clock = Meter(5.0), DeviceClock()
        line = meter.line()
        add(clock, line)
        assert clock.add(line, quadrature=False) is None
        assert add(clock, meter.line()) == Unwrapped(0.0125, 0, 0, False)

    @pytest.mark.parametrize("missing", [0, 1, 7, 400])
    def test_lost_lines_are_counted_by_the_sequence(self, missing: int) -> None:
        meter, clock = Meter(5.0, 65_500), DeviceClock()
        add(clock, meter.line())
        assert add(clock, meter.line(lines=missing + 1)).lost == missing

    def test_what_was_missed_while_the_link_was_down_is_not_lost(self) -> None:
        meter, clock = Meter(5.0), DeviceClock()
        add(clock, meter.line())
        clock.link_up()
        assert add(clock, meter.line(lines=300)).lost == 0
        assert add(clock, meter.line(lines=3)).lost == 2

    def test_a_clock_that_jumps_back_doubled_the_count_of_the_crank(self) -> None:
        """Lines and pulses went on: 500 turns became a thousand, and the walk-in was over before it began."""
        clock = DeviceClock()
        for seq in range(400):
            add(clock, Sample(seq, 50_000_000 + 25_000 * seq, 1, crank=seq // 10))
        jumped = add(clock, Sample(400, 40_000_000, 1, crank=40))
        assert (jumped.restarted, jumped.crank, jumped.lost) == (True, 40, 0)
        assert add(clock, Sample(401, 40_025_000, 1, crank=40)).crank == 40

    def test_a_meter_that_restarted_behind_a_dead_link(self) -> None:
        meter, clock = Meter(5.0), DeviceClock()
        add(clock, meter.line())
        meter.restart()
        clock.link_up()
        assert add(clock, meter.line(lines=200)) == Unwrapped(AFTER_RESTART_S, 0, 0, True)


class TestCrank:
    """One sensor counts up only; two sensors count down in reverse."""

    def test_two_sensors_count_both_ways(self) -> None:
        meter, clock = Meter(5.0, crank=2), DeviceClock()
        add(clock, meter.line(), quadrature=True)
        counts = [
            add(clock, meter.line(step), quadrature=True).crank for step in (1, 1, 1, -1, -1, -1, -1, -1, -1, 0, 1)
        ]
        assert counts == [1, 2, 3, 2, 1, 0, -1, -2, -3, -3, -2]

    def test_two_sensors_that_restart_while_the_handle_goes_back(self) -> None:
        meter, clock = Meter(5.0, crank=40), DeviceClock()
        add(clock, meter.line(), quadrature=True)
        meter.restart()
        assert add(clock, meter.line(-2), quadrature=True).crank == -2

    def test_one_sensor_never_counts_down(self) -> None:
        meter, clock = Meter(5.0, crank=40), DeviceClock()
        add(clock, meter.line())
        assert add(clock, meter.line(-1)).crank == 0
        assert add(clock, meter.line(1)).crank == 1

    def test_a_jump_no_hand_can_make_is_a_count_that_began_anew(self) -> None:
        meter, clock = Meter(5.0), DeviceClock()
        add(clock, meter.line())
        # Two turns and what six a second make in the time between the lines; 64 however long that was.
        assert add(clock, meter.line(2)).crank == 2
        assert add(clock, meter.line(3)).crank == 2
        assert add(clock, meter.line(4, 40)).crank == 6
        assert add(clock, meter.line(CRANK_JUMP + 1, 4000)).crank == 6
        assert add(clock, meter.line(1)).crank == 7

    def test_a_meter_without_a_sensor_has_no_count(self) -> None:
        clock = DeviceClock()
        assert add(clock, Sample(1, 1000, 5)).crank is None
        assert add(clock, Sample(2, 13_500, 5)).crank is None

    def test_a_count_that_comes_later_begins_at_nothing(self) -> None:
        clock = DeviceClock()
        add(clock, Sample(1, 1000, 5))
        assert add(clock, Sample(2, 13_500, 5, 0, 500)).crank == 0
        assert add(clock, Sample(3, 26_000, 5, 0, 501)).crank == 1
