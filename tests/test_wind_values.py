"""A wind's values: written and read alike; a value that is new condemns no trace and no shelf of before."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.scenario import SETTINGS
from tests.shelf.examples import a_wind
from tests.test_indexing import SUMMARY, make_trace
from winding_coach.base.wind_values import BY_NAME, VALUES, WindValue, WindValues, as_json, from_json, lacking, told
from winding_coach.cli.commands.upkeep import _differs, _filled_in
from winding_coach.coach.notes import MADE
from winding_coach.keeping.indexing import look, rebuild
from winding_coach.keeping.recomputing import recompute
from winding_coach.keeping.replaying import difference
from winding_coach.shelf.exporting import wind_table
from winding_coach.shelf.records import Again, Wind
from winding_coach.shelf.store import Shelf
from winding_coach.shelf.tables import columns_of
from winding_coach.traces.files import read_trace

pytestmark = pytest.mark.usefixtures("hurried_disk")


@given(st.lists(st.floats(0.0, 3e3), min_size=len(VALUES), max_size=len(VALUES)))
def test_what_is_read_is_what_was_written_within_the_tolerance(numbers: list[float]) -> None:
    made: dict[str, Any] = {
        value.name: int(one) if value.whole else one / value.scale for value, one in zip(VALUES, numbers, strict=True)
    }
    values = WindValues(**made)
    read = from_json(as_json(values) | as_json(values, where_known=True))
    for value in VALUES:
        assert read[value.name] == pytest.approx(made[value.name], rel=1e-12, abs=value.within)


def test_a_value_says_how_it_is_written() -> None:
    rate = WindValue("mN·m/s", 3, "", "rise", 0, "rose by {}", name="rise_Nm_per_s")
    assert (rate.key, rate.kind, rate.sql_type) == ("rise_mNm_per_s", "rate", "REAL")
    assert rate.within == pytest.approx(0.6e-6)
    assert (BY_NAME["stalls"].within, BY_NAME["stalls"].sql_type) == (0.0, "INTEGER")
    assert set(MADE) <= set(BY_NAME)
    assert told(WindValues(energy_stored_J=12.0), "metric", "energy_stored_J", "wait_s") == ["12.00 J stored"]


def test_a_trace_of_before_is_the_same_without_the_new_value(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    trace = read_trace(make_trace(tmp_path))
    for more, same in (({}, True), ({"new_s": 1.0}, True), ({"stalls": 2}, False), ({"peak_turns": None}, False)):
        monkeypatch.setattr(
            "winding_coach.keeping.replaying.said_again", lambda *_, more=more: [(2, {**SUMMARY, **more})]
        )
        assert (difference(trace, SETTINGS) is None) is same, more


def test_recompute_fills_in_what_traces_lack_and_nothing_else(tmp_path: Path) -> None:
    """The first trace is of a coach that did not know how long a wind took, the second of one that could not say."""
    folder = tmp_path / "traces"
    lacks = {key: value for key, value in SUMMARY.items() if key != "duration_s"}
    assert {"duration_s", "wait_s"} <= set(lacking(lacks))
    make_trace(folder, 1, lacks)
    make_trace(folder, 2, SUMMARY | {"duration_s": None})
    with Shelf(tmp_path / "shelf.sqlite") as shelf:
        look(folder, shelf)
        winds = shelf.winds()[::-1]
        assert [wind.duration_s for wind in winds] == [None, None]
        recompute(folder, shelf, winds, "a", processes=1)
        for _ in range(2):
            assert [wind.duration_s for wind in shelf.winds()[::-1]] == [1.5, None]
            assert [wind.peak_turns for wind in shelf.winds()] == [1310.0, 1310.0], "the trace's word stands"
            rebuild(folder, shelf)
        again = [shelf.again()[wind.id] for wind in winds]
        assert [_filled_in(one) for one in again] == [["duration_s"], []]
        differ = [" ".join(_differs(*both)) for both in zip(winds, again, strict=True)]
        assert "peak_turns" in differ[0]
        assert "duration_s" not in differ[0]
        assert "duration_s None, now 1.5" in differ[1]
        table = wind_table(shelf.flown(), {})
        names = [name for name, _ in table.columns]
        assert [row[names.index("duration_s")] for row in table.rows] == [None, 1.5]


@pytest.mark.parametrize("read_only", [False, True])
def test_a_shelf_of_before_gets_the_new_values_column(tmp_path: Path, read_only: bool) -> None:
    path = tmp_path / "shelf.sqlite"
    with Shelf(path) as shelf:
        shelf.log(a_wind(1))
        known = shelf.winds()[0].duration_s
    db = sqlite3.connect(path)
    for table in ("wind", "again"):
        db.execute(f"ALTER TABLE {table} DROP COLUMN duration_s")
    db.execute("PRAGMA journal_mode = DELETE")
    db.close()
    before = path.read_bytes()
    with Shelf(path, read_only=read_only) as shelf:
        (wind,) = shelf.winds()
        assert known is not None
        assert wind.duration_s is None
        assert shelf.again() == {}
        if not read_only:
            shelf.log(a_wind(1))
            shelf.log_again(Again("w", "c", duration_s=2.0))
            assert (shelf.winds()[0].duration_s, shelf.again()["w"].duration_s) == (known, 2.0)
    assert (path.read_bytes() == before) is read_only
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


def test_no_column_moves_when_a_value_comes() -> None:
    """Whoever reads an exported file by place finds each column where it was."""
    wind, again = columns_of(Wind), columns_of(Again)
    assert [wind.index(name) for name in ("id", "peak_torque_Nm", "remarks", "wait_s", "checks")] == [0, 21, 32, 41, 42]
    assert [again.index(name) for name in ("wind", "peak_torque_Nm", "trace_lacks", "wait_s")] == [0, 5, 16, 17]


def test_a_program_that_does_not_know_a_column_writes_on(tmp_path: Path) -> None:
    """As an older program does: rows by name of the columns that it knows."""
    path = tmp_path / "shelf.sqlite"
    with Shelf(path) as shelf, shelf.connected() as db:
        db.execute("ALTER TABLE wind ADD COLUMN of_later_s REAL")
        db.execute("ALTER TABLE again ADD COLUMN of_later_s REAL")
        shelf.log(a_wind(1))
        db.execute("UPDATE wind SET of_later_s = 3.0")
    with Shelf(path) as shelf, shelf.connected() as db:
        shelf.log(a_wind(1), a_wind(2))
        shelf.log_again(Again("w", "c"))
        assert sorted(map(str, db.execute("SELECT of_later_s FROM wind").fetchall())) == ["(3.0,)", "(None,)"]
        assert "of_later_s" not in columns_of(type(shelf.winds()[0]))
