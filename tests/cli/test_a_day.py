"""An invented day, wholly by commands and keys: twelve flights, four motors, two people, one meter, one program."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from tests.bench.a_day import FLIGHTS, MOTORS, PEOPLE, RATIO, by_torque_alone, run_day, table
from winding_coach.shelf.store import Shelf

pytestmark = [pytest.mark.usefixtures("hurried_disk"), pytest.mark.no_cover]


def test_twelve_flights_by_eight_keys_each_and_turns_left_within_a_crank_turn(home: Path) -> None:
    flown, meter, day = run_day(home)
    told = table(flown)
    assert len(flown) == FLIGHTS
    assert {one.motor for one in flown} == set(MOTORS)
    assert {one.person for one in flown} == set(PEOPLE)
    assert all(before.motor != after.motor for before, after in pairwise(flown)), told
    assert all(one.keys <= 8 for one in flown), told
    assert all(one.counted is not None and abs(one.counted - one.truth) <= RATIO for one in flown), told
    assert (meter.opened, meter.closed, day.screens) == (1, 1, 2 * FLIGHTS), "one port for the whole day"
    with Shelf(home / "shelf.sqlite") as shelf:
        entries = shelf.flown()
        assert shelf.uses("moss-1", simulated=True) == FLIGHTS // len(MOTORS)
    assert all(wind.outcome == "done" and entry is not None for wind, entry in entries)
    assert len({entry.duration_s for _, entry in entries if entry is not None}) == FLIGHTS
    assert len(list((home / "unwindings").iterdir())) == FLIGHTS


def test_by_torque_alone_turns_left_are_within_three_per_cent_of_the_launch() -> None:
    assert max(map(abs, by_torque_alone())) < 0.03
