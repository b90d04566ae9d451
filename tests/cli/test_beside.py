"""What is worked out beside a wind: earlier winds of the motor, and what is seen on the ports."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

from tests.scenario import MODEL, MOTOR, PLAN, WINDER, wind
from winding_coach.app.earlier import EarlierWinds, traces_of
from winding_coach.app.ports_seen import PortsSeen, port_words
from winding_coach.live.sources.ports import Port
from winding_coach.meter.calibration import SIMULATED
from winding_coach.traces.files import TraceWriter
from winding_coach.traces.header import Header

STARTED = datetime(2026, 3, 1, 14, 0, tzinfo=timezone(timedelta(hours=1)))


def keep(folder: Path, minute: int, until_s: float, motor: str = "th-07") -> Path:
    header = Header(
        "id",
        STARTED + timedelta(minutes=minute),
        calibration=SIMULATED,
        motor=replace(MOTOR, name=motor),
        winder=WINDER,
        model=MODEL,
        plan=PLAN,
    )
    writer = TraceWriter(folder, header)
    for event in wind("good"):
        if event.at_s > until_s:
            break
        writer.input(event)
    writer.close()
    return writer.path


def test_the_newest_winds_of_the_same_motor_are_found_and_no_others(tmp_path: Path) -> None:
    ends = {5: 14.0, 6: 16.0, 7: 18.0, 8: 20.0}
    for minute, until_s in ends.items():
        keep(tmp_path, minute, until_s)
    keep(tmp_path, 9, 14.0, "th-08")
    keep(tmp_path, 10, 0.0)
    (tmp_path / "2026-03-01-150000-th-07.wind.jsonl").write_text("spoilt\n")
    winds = EarlierWinds(tmp_path, "th-07", most=3)
    assert winds() == ()
    winds.run()
    assert [round(points[-1][0]) for points in winds()] == [20, 18, 16]
    assert all(points[-1][1] for points in winds())


def test_a_motor_without_a_name_or_a_past_has_none(tmp_path: Path) -> None:
    keep(tmp_path, 1, 14.0)
    nameless, other = EarlierWinds(tmp_path, None), EarlierWinds(tmp_path, "new")
    nameless.run()
    other.run()
    assert nameless() == other() == ()
    assert traces_of(tmp_path / "nowhere", "th-07") == []


def test_a_name_that_only_ends_alike_is_another_motor(tmp_path: Path) -> None:
    keep(tmp_path, 1, 14.0, "big-th-07")
    winds = EarlierWinds(tmp_path, "th-07")
    winds.run()
    assert winds() == ()


def test_ports_are_said_with_what_speaks_for_a_meter() -> None:
    assert port_words([]) == "Seen on the ports: nothing."
    usb, bare = Port("/dev/ttyACM0", "board", (1, 2, None)), Port("/dev/ttyS0")
    assert port_words([usb, bare]) == "Seen on the ports: /dev/ttyACM0 (board), /dev/ttyS0 (no USB)."
    assert port_words([usb] * 5).endswith(" and 2 more.")


def test_ports_are_looked_at_only_while_somebody_asks() -> None:
    now, looked = [0.0], [0]

    def look() -> list[Port]:
        looked[0] += 1
        return []

    seen = PortsSeen(look, clock=lambda: now[0])
    seen.refresh()
    assert looked[0] == 0
    assert seen() == ""
    seen.refresh()
    assert seen() == "Seen on the ports: nothing."
    now[0] = 10.0
    seen.refresh()
    assert looked[0] == 1
