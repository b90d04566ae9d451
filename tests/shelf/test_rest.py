"""Which motor next: rest, new ones, officials on motors that are broken in."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise

import pytest

from tests.shelf.examples import FIRST, a_wind
from winding_coach.shelf.records import Motor
from winding_coach.shelf.rest import candidates, day_of

MOTORS = [Motor(name, 0.3, 1.4e-3) for name in ("th-01", "th-02", "th-03", "th-04")]


def wound(motor: str, hours_ago: float) -> object:
    return a_wind(1, motor, started=(FIRST - timedelta(hours=hours_ago)).isoformat())


def test_rested_longest_comes_first_and_new_ones_last() -> None:
    winds = [wound("th-01", 1.0), wound("TH-02", 30.0), wound("th-03", 0.2), wound("th-02", 40.0)]
    found = candidates(MOTORS, {"th-02": 2}, winds, FIRST)  # type: ignore[arg-type]
    assert [(one.motor.name, one.state) for one in found] == [
        ("th-02", "rested"),
        ("th-01", "resting"),
        ("th-03", "just wound"),
        ("th-04", "new"),
    ]
    assert (found[0].uses, found[0].share, found[0].broken_in) == (2, 0.9, True)


def test_a_motor_of_which_nobody_said_whether_it_broke_comes_last_and_is_in_no_day() -> None:
    gone = a_wind(1, "th-01", started=(FIRST - timedelta(hours=50)).isoformat(), outcome="gone")
    earlier = a_wind(2, "th-01", started=(FIRST - timedelta(hours=90)).isoformat())
    found = candidates(MOTORS[:3], {"th-01": 2}, [gone, earlier, wound("th-02", 1.0)], FIRST)  # type: ignore[list-item]
    assert [(one.motor.name, one.state) for one in found] == [
        ("th-02", "resting"),
        ("th-03", "new"),
        ("th-01", "broke?"),
    ]
    assert (found[2].unsaid, found[0].unsaid) == (gone.id, None)
    assert {one.motor.name for one, _ in day_of(found, 6, 2)} == {"th-02", "th-03"}
    assert day_of(found[2:], 6, 2) == []


def test_a_simulated_wind_is_no_wind_of_a_real_motor() -> None:
    wind = a_wind(1, "th-01", simulated=True)
    assert candidates(MOTORS[:1], {}, [wind], FIRST)[0].state == "new"


def test_a_day_ends_with_officials_on_motors_that_are_broken_in() -> None:
    found = candidates(MOTORS, {"th-01": 4, "th-02": 3}, [wound("th-01", 48), wound("th-02", 48)], FIRST)  # type: ignore[list-item]
    day = day_of(found, 8, 3)
    assert [official for _, official in day] == [False] * 5 + [True] * 3
    assert {one.motor.name for one, _ in day[:4]} == {"th-03", "th-04"}
    assert [one.share for one, _ in day[:2]] == pytest.approx([0.8, 0.8])
    assert all(one.uses >= 2 for one, official in day if official)


def test_no_motor_flies_twice_running_where_there_is_another() -> None:
    found = candidates(MOTORS, {m.name: 5 for m in MOTORS}, [], FIRST)
    names = [one.motor.name for one, _ in day_of(found, 12, 6)]
    assert all(a != b for a, b in pairwise(names))
    assert {names.count(name) for name in set(names)} == {3}
