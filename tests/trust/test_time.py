"""Clocks set back, sleep and the hour that comes twice: traces and their order stay right, durations too."""

from __future__ import annotations

import ast
import os
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

from tests.scenario import coached, wind
from tests.test_indexing import make_trace
from winding_coach.base.inputs import BytesArrived, LinkDown, LinkUp, TimePassed
from winding_coach.cli.commands.watch import newest_trace
from winding_coach.coach.said import Level
from winding_coach.keeping.indexing import look
from winding_coach.live.sources.clock import WindClock
from winding_coach.shelf.store import Shelf
from winding_coach.traces.files import TraceWriter, file_name, read_trace

ROOT = Path(__file__).parents[2] / "winding_coach"
SUMMER, WINTER = timezone(timedelta(hours=2)), timezone(timedelta(hours=1))
MAY_ASK_THE_TIME_OF_DAY = {
    "cli/commands/strips.py",
    "cli/commands/motor_next.py",
    "app/calibrations.py",
    "app/queue_seen.py",
    "app/upcoming.py",
    "cli/commands/unwind.py",
    "cli/commands/backup.py",
    "cli/commands/calibrate.py",
    "cli/commands/flight.py",
    "cli/commands/report_fault.py",
    "cli/commands/watch.py",
    "keeping/indexing.py",
    "live/sources/clock.py",
}


def test_only_dates_of_records_come_from_the_time_of_day() -> None:
    """All that is measured or waited for uses a clock that no one can set."""
    asked = set()
    for path in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and ast.unparse(node) in (
                *("time.time", "time.time_ns", "datetime.now", "datetime.today", "date.today", "datetime.utcnow"),
                *("time.localtime", "time.gmtime"),
            ):
                asked.add(path.relative_to(ROOT).as_posix())
    assert asked <= MAY_ASK_THE_TIME_OF_DAY


def test_the_clock_of_a_wind_never_goes_back() -> None:
    told = iter([100.0, 100.5, 99.0, 20.0, 100.6, 4000.6])
    clock = WindClock(lambda: next(told))
    assert [clock.now() for _ in range(5)] == [0.5, 0.5, 0.5, 0.6, 3900.6]


def test_after_the_clock_was_set_back_the_newest_trace_is_still_the_newest(tmp_path: Path) -> None:
    """By the file's time alone an hour-old wind was shown in place of the one being wound."""
    old, new = make_trace(tmp_path, 1), make_trace(tmp_path, 2)
    now = time.time()
    os.utime(old, (now + 3600, now + 3600))
    os.utime(new, (now, now))
    assert newest_trace(tmp_path) == new
    os.utime(old, (now - 3600, now - 3600))
    assert newest_trace(tmp_path) == new


def test_a_wind_of_before_the_clock_was_set_back_is_not_going_on(tmp_path: Path) -> None:
    """It would have been left out of the shelf until the clock had caught up."""
    killed = make_trace(tmp_path / "traces", 1, summary=None)
    os.utime(killed, (1e9 + 3600, 1e9 + 3600))
    with Shelf(tmp_path / "shelf.sqlite") as shelf:
        (found,) = look(tmp_path / "traces", shelf, now_s=1e9).logged
    assert found.outcome == "open"


def test_the_hour_that_comes_twice_keeps_both_winds_in_order(tmp_path: Path) -> None:
    """At the end of summer time: 2:30 in the first hour, 2:10 in the second, and 2:30 again."""
    times = [
        datetime(2026, 10, 25, 2, 30, tzinfo=SUMMER),
        datetime(2026, 10, 25, 2, 10, tzinfo=WINTER),
        datetime(2026, 10, 25, 2, 30, tzinfo=WINTER),
    ]
    folder = tmp_path / "traces"
    paths = [make_trace(folder, number, started=started) for number, started in enumerate(times, 1)]
    assert len(set(paths)) == 3, "two have the same local time, and none replaces another"
    assert [read_trace(path).header.started for path in paths] == times
    with Shelf(tmp_path / "shelf.sqlite") as shelf:
        look(folder, shelf, now_s=2e9)
        assert [wind.id[:8] for wind in shelf.winds()] == ["00000003", "00000002", "00000001"]


def test_names_of_files_are_the_local_time_and_take_every_system(tmp_path: Path) -> None:
    header = read_trace(make_trace(tmp_path)).header
    for started in (datetime(2026, 3, 29, 1, 59, 59, tzinfo=WINTER), datetime(2026, 3, 29, 3, 0, tzinfo=SUMMER)):
        name = file_name(replace(header, started=started))
        assert name.startswith(f"{started:%Y-%m-%d-%H%M%S}")
        assert not set(name) & set('<>:"/\\|?*')
        assert name.isascii()
    assert (datetime(2026, 3, 29, 3, 0, tzinfo=SUMMER) - datetime(2026, 3, 29, 1, 59, 59, tzinfo=WINTER)).seconds == 1


def test_a_computer_that_slept_shows_nothing_old_and_goes_on(tmp_path: Path) -> None:
    """Asleep for an hour at full stretch: the port comes anew, the meter went on or was without power."""
    inputs = [event for event in wind("good", 3) if event.at_s < 36.0]
    awake = [event for event in inputs if event.at_s < 30.0]
    coach, _ = coached(awake)
    before = coach.view
    assert before.reading.torque_Nm is not None
    at_s = awake[-1].at_s + 3600.0
    coach.step(TimePassed(at_s))
    asleep = coach.view
    assert asleep.reading.torque_Nm is None
    assert asleep.alarms[0].level is Level.DANGER
    coach.step(LinkDown(at_s, "the meter was unplugged"))
    coach.step(LinkUp(at_s + 0.5, "meter"))
    for event in inputs[len(awake) :]:
        if isinstance(event, BytesArrived):
            coach.step(replace(event, at_s=round(event.at_s + 3600.5, 6)))
    never_slept, _ = coached(inputs)
    reading, other = coach.view.reading, never_slept.view.reading
    assert (reading.torque_Nm, reading.turns) == (other.torque_Nm, other.turns), "the device's clock tells the rates"
    assert reading.torque_rate_Nm_per_s == other.torque_rate_Nm_per_s


def test_a_moment_is_written_with_its_offset(tmp_path: Path) -> None:
    header = read_trace(make_trace(tmp_path)).header
    writer = TraceWriter(tmp_path / "a", replace(header, started=datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)))
    writer.close()
    assert read_trace(writer.path).header.started.utcoffset() == timedelta(0)
