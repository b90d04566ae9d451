"""What goes on the shelf comes off it; names, uses, filters, and what is refused with a sentence."""

from __future__ import annotations

import dataclasses
import os
import sqlite3
import stat
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.shelf.examples import ALL, AMBER, TH_07, THISTLEDOWN, WREN, a_wind
from winding_coach.shelf.records import Batch, Flight, Motor, Person, Wind, Winder
from winding_coach.shelf.schema import ShelfError
from winding_coach.shelf.store import Shelf, WindFilter
from winding_coach.shelf.tables import columns_of, record_of, row_of

pytestmark = pytest.mark.usefixtures("hurried_disk")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "home" / "shelf.sqlite"


def test_each_kind_comes_back_as_it_went_in(path: Path) -> None:
    with Shelf(path) as shelf:
        for record in ALL:
            shelf.add(record)
    with Shelf(path) as shelf:
        for record in ALL:
            assert shelf.get(type(record), record.name) == record
            assert shelf.all(type(record)) == [record]


def test_the_file_is_for_its_user_only(path: Path) -> None:
    before = os.umask(0)
    try:
        with Shelf(path) as shelf:
            shelf.add(WREN)
            for file in path.parent.iterdir():
                assert stat.S_IMODE(file.stat().st_mode) == 0o600, file
    finally:
        os.umask(before)


def test_keys_are_enforced_by_the_file_itself(path: Path) -> None:
    with Shelf(path) as shelf, shelf.connected() as db:
        assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        with pytest.raises(sqlite3.IntegrityError):
            db.execute("INSERT INTO motor VALUES ('x', 0.3, 0.001, 0, 2, 'nowhere', NULL, 'in_use', '', 0, NULL, 0)")
        with pytest.raises(sqlite3.IntegrityError):
            db.execute("INSERT INTO flight (id, wind, flown, remarks) VALUES ('x', 'nowhere', '', '')")


@given(
    st.builds(
        Motor,
        name=st.text(min_size=1),
        loop_m=st.floats(allow_nan=False),
        mass_kg=st.floats(allow_nan=False),
        batch=st.none() | st.text(),
        remarks=st.text(),
    )
    | st.builds(Batch, name=st.text(), densities_kg_per_m=st.lists(st.floats(allow_nan=False)).map(tuple))
    | st.builds(Flight, id=st.text(), wind=st.text(), flown=st.text(), ceiling=st.none() | st.booleans())
)
def test_a_record_is_its_row(record: Motor | Batch | Flight) -> None:
    assert record_of(type(record), row_of(record)) == record
    assert len(row_of(record)) == len(columns_of(type(record)))


def test_a_name_is_taken_once_and_case_does_not_count(path: Path) -> None:
    with Shelf(path) as shelf:
        shelf.add(AMBER)
        shelf.add(TH_07)
        with pytest.raises(ShelfError, match="already"):
            shelf.add(dataclasses.replace(TH_07, name="TH-07", batch=None))
        assert shelf.get(Motor, "TH-07") == TH_07


def test_a_motor_of_an_unknown_batch_is_refused_and_the_batch_named(path: Path) -> None:
    with Shelf(path) as shelf:
        with pytest.raises(ShelfError, match="batch add amber"):
            shelf.add(TH_07)
        shelf.add(dataclasses.replace(TH_07, batch=None))
        with pytest.raises(ShelfError, match="batch add amber"):
            shelf.edit(Motor, "th-07", batch="amber")
        assert shelf.get(Motor, "th-07").batch is None


@pytest.mark.parametrize(
    ("typed", "found"),
    [("th-07", "th-07"), ("th-0", "th-07"), ("TH-1", "th-12"), ("wh", "white"), ("th-1", "th-12"), ("th-12", "th-12")],
)
def test_a_short_name_finds_the_only_one_that_begins_so(path: Path, typed: str, found: str) -> None:
    with Shelf(path) as shelf:
        for name in ("th-07", "th-12", "white"):
            shelf.add(Motor(name, 0.3, 1.4e-3))
        shelf.add(Motor("th-11", 0.3, 1.4e-3, state="broken"))
        assert shelf.find(Motor, typed).name == found


def test_an_ambiguous_name_says_which(path: Path) -> None:
    with Shelf(path) as shelf:
        for name in ("th-07", "th-08", "th-09"):
            shelf.add(Motor(name, 0.3, 1.4e-3))
        with pytest.raises(ShelfError, match="'th' may be th-07, th-08, th-09: type more"):
            shelf.find(Motor, "th")
        with pytest.raises(ShelfError, match="no motor 'x'"):
            shelf.find(Motor, "x")
        with pytest.raises(ShelfError, match="no motor ''"):
            shelf.find(Motor, "")


def test_edit_changes_only_what_was_named(path: Path) -> None:
    with Shelf(path) as shelf:
        shelf.add(THISTLEDOWN)
        changed = shelf.edit(type(THISTLEDOWN), "thistledown", hooks_m=0.225)
        assert changed == dataclasses.replace(THISTLEDOWN, hooks_m=0.225)
        assert shelf.all(type(THISTLEDOWN)) == [changed]
        with pytest.raises(ShelfError, match="no winder"):
            shelf.edit(Winder, "ten", ratio=12.0)


def test_winds_come_newest_first_and_by_filter(path: Path) -> None:
    winds = [a_wind(i, "th-07" if i % 2 else "th-08", person="Wren" if i < 4 else "Pip") for i in range(1, 7)]
    with Shelf(path) as shelf:
        shelf.log(*winds)
        assert shelf.winds() == winds[::-1]
        assert shelf.winds(WindFilter(motor="TH-07")) == [winds[4], winds[2], winds[0]]
        assert shelf.winds(WindFilter(person="Pip", motor="th-08")) == [winds[5], winds[3]]
        assert shelf.winds(WindFilter(newest=2)) == [winds[5], winds[4]]
        since = datetime.fromisoformat("2026-03-07T09:03:00+00:00")
        assert shelf.winds(WindFilter(since=since)) == winds[5:1:-1]
        assert shelf.winds(WindFilter(until=since)) == [winds[1], winds[0]]
        assert shelf.winds(WindFilter(outcome="broken")) == []


def test_order_is_by_moment_not_by_spelling(path: Path) -> None:
    early = a_wind(1, started="2026-03-07T23:30:00+09:00")
    late = a_wind(2, started="2026-03-07T16:00:00+00:00")
    with Shelf(path) as shelf:
        shelf.log(late, early)
        assert shelf.winds() == [late, early]


def test_a_wind_is_found_by_id_by_trace_and_as_the_last(path: Path) -> None:
    with Shelf(path) as shelf:
        with pytest.raises(ShelfError, match="no wind on the shelf yet"):
            shelf.find_wind()
        shelf.log(a_wind(1), a_wind(2), a_wind(0x11))
        assert shelf.find_wind() == a_wind(0x11)
        assert shelf.find_wind("00000002") == a_wind(2)
        assert shelf.find_wind(f"traces/{a_wind(1).trace}") == a_wind(1)
        with pytest.raises(ShelfError, match="type more"):
            shelf.find_wind("0000000")
        for wrong in ("%", "", "_", "x"):
            with pytest.raises(ShelfError, match="no wind"):
                shelf.find_wind(wrong)


def test_what_was_typed_stays_when_the_trace_is_logged_again(path: Path) -> None:
    with Shelf(path) as shelf:
        shelf.log(a_wind(1))
        noted = shelf.note(a_wind(1).id, motor="th-08", remarks="the hall was cold")
        assert (noted.motor, noted.person, noted.remarks) == ("th-08", "Wren", "the hall was cold")
        shelf.log(a_wind(1, peak_turns=1400.0))
        again = shelf.wind(a_wind(1).id)
        assert (again.motor, again.peak_turns, again.remarks) == ("th-08", 1400.0, "the hall was cold")
        assert shelf.winds(WindFilter(motor="th-08")) == [again]
        assert shelf.note(a_wind(1).id, motor=None).motor == "th-07"
        with pytest.raises(ShelfError, match="no wind"):
            shelf.note("nowhere", remarks="")


def test_uses_are_winds_that_went_far_enough(path: Path) -> None:
    with Shelf(path) as shelf:
        shelf.add(Motor("th-07", 0.3, 1.4e-3, uses_before=2))
        assert shelf.uses("th-07") == 2
        shelf.log(
            a_wind(1),
            a_wind(2, peak_turns=600.0),  # given up early
            a_wind(3, outcome="broken", peak_turns=None),
            a_wind(4, peak_turns=None, peak_torque_Nm=5e-3, target_peak_torque_Nm=6e-3),
            a_wind(5, peak_turns=None),  # nothing is known
            a_wind(6, simulated=True),
            a_wind(7, "th-08"),
        )
        assert shelf.uses("TH-07") == 5
        assert shelf.uses("th-07", simulated=True) == 6
        assert shelf.uses("unknown") == 0


def test_flights_belong_to_winds(path: Path) -> None:
    first = Flight("f1", a_wind(1).id, "2026-03-07T10:10:00+01:00", 412.5, 180.0, 7.5, False, "a touch nose-heavy")
    with Shelf(path) as shelf:
        with pytest.raises(ShelfError, match="no wind"):
            shelf.fly(first)
        shelf.log(a_wind(1), a_wind(2))
        shelf.fly(first)
        second = Flight("f2", a_wind(1).id, "2026-03-07T10:30:00+01:00", 420.0)
        shelf.fly(second)
        assert shelf.flights() == [second, first]
        assert shelf.flights([a_wind(2).id]) == []
        assert shelf.flown() == [(a_wind(2), None), (a_wind(1), second)]
        shelf.log(a_wind(1, peak_turns=1.0))
        shelf.fly(dataclasses.replace(first, duration_s=413.0))
        assert [flight.duration_s for flight in shelf.flights([first.wind])] == [420.0, 413.0]


def test_nothing_typed_is_taken_for_sql(path: Path) -> None:
    name = "x'); DROP TABLE person; --"
    with Shelf(path) as shelf:
        shelf.add(Person(name, "'; --"))
        shelf.log(a_wind(1, person=name))
        assert shelf.get(Person, name) == Person(name, "'; --")
        assert [wind.person for wind in shelf.winds(WindFilter(person=name))] == [name]


def test_all_or_nothing(path: Path) -> None:
    def twice(shelf: Shelf) -> None:
        with shelf.writing():
            shelf.add(WREN)
            shelf.log(a_wind(1))
            shelf.add(WREN)

    with Shelf(path) as shelf:
        with pytest.raises(ShelfError, match="already"):
            twice(shelf)
        assert shelf.all(Person) == []
        assert shelf.winds() == []


def test_every_column_of_a_wind_is_kept(path: Path) -> None:
    """Each field set to something that no other field has."""
    values: dict[str, object] = {}
    for i, field in enumerate(dataclasses.fields(Wind)):
        kind = str(field.type)
        values[field.name] = (
            f"{field.name}-1" if "str" in kind else True if "bool" in kind else i if "int" in kind else i + 0.5
        )
    wind = Wind(**(values | {"started": "2026-03-07T10:00:00+01:00", "remarks": "", "voided": False}))  # type: ignore[arg-type]
    with Shelf(path) as shelf:
        shelf.log(wind)
        assert shelf.wind(wind.id) == wind
