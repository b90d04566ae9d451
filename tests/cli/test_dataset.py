"""The partitioned dataset, read as it is by engines that know nothing of this program: DuckDB, Polars, Arrow."""

from __future__ import annotations

import dataclasses
import os
import shutil
from pathlib import Path
from typing import Any

import duckdb
import polars
import pyarrow.dataset  # type: ignore[import-untyped]
import pytest

from tests.cli.test_shelf import as_object, refused, said
from tests.shelf.examples import a_wind
from tests.test_indexing import make_trace
from winding_coach.app.dataset import write_dataset
from winding_coach.shelf.records import Flight, Wind
from winding_coach.shelf.store import Shelf

RECORDINGS = Path(__file__).parents[2] / "recordings"
pytestmark = pytest.mark.usefixtures("hurried_disk")


def rows_of(asked: str) -> list[Any]:
    """What DuckDB answers."""
    with duckdb.connect() as db:
        return db.execute(asked).fetchall()


def season(club: int, count: int) -> list[tuple[Wind, Flight | None]]:
    """Winds of three months; every second one was flown. All figures are invented."""
    found: list[tuple[Wind, Flight | None]] = []
    for i in range(count):
        started = f"2026-{3 + i % 3:02d}-{1 + i % 28:02d}T10:{i % 60:02d}:00+01:00"
        wind = a_wind(i, started=started, outcome="broken" if i % 20 == 7 else "done", peak_turns=1200.0 + i % 100)
        wind = dataclasses.replace(wind, id=f"{club:02d}{i:06d}-0000-4000-8000-000000000000")
        flight = Flight(f"f{club}-{i}", wind.id, wind.started, 300.0 + i % 60, 100.0) if i % 2 else None
        found.append((wind, flight))
    return found


def written(folder: Path, club: str, number: int, count: int, *, people: bool = False) -> int:
    flown = season(number, count)
    done = write_dataset(folder, club, flown, [flight for _, flight in flown if flight is not None], {}, people=people)
    return len(done.written)


def test_two_engines_and_a_loop_agree_on_a_question_over_clubs(tmp_path: Path) -> None:
    for number, club in enumerate(("Alder Hall", "Birch", "Cedar 2")):
        assert written(tmp_path, club, number, 300) == 6  # three months of winds and of flights
    winds = f"read_parquet('{tmp_path}/winds/**/*.parquet', hive_partitioning = true)"
    flights = f"read_parquet('{tmp_path}/flights/**/*.parquet', hive_partitioning = true)"
    asked = (
        f"SELECT club, month, count(*), avg(flight_duration_s), sum(CAST(outcome = 'broken' AS INT)) FROM {winds}"
        " GROUP BY club, month ORDER BY club, month"
    )
    by_duckdb = rows_of(asked)
    frame = polars.scan_parquet(f"{tmp_path}/winds/**/*.parquet", hive_partitioning=True)
    by_polars = (
        frame.group_by("club", "month")
        .agg(
            polars.len(),
            polars.col("flight_duration_s").mean().alias("mean"),
            (polars.col("outcome") == "broken").sum().alias("broken"),
        )
        .sort("club", "month")
        .collect()
        .rows()
    )
    expected: dict[tuple[str, str], list[Any]] = {}
    for number, club in enumerate(("Alder Hall", "Birch", "Cedar 2")):
        for wind, flight in season(number, 300):
            cell = expected.setdefault((club, wind.started[:7]), [0, [], 0])
            cell[0] += 1
            cell[1] += [] if flight is None else [flight.duration_s]
            cell[2] += wind.outcome == "broken"
    for rows in (by_duckdb, by_polars):
        assert [(str(club), str(month)[:7]) for club, month, *_ in rows] == sorted(expected)
        for club, month, count, mean, broken in rows:
            cell = expected[(str(club), str(month)[:7])]
            assert (count, broken) == (cell[0], cell[2])
            assert mean == pytest.approx(sum(cell[1]) / len(cell[1]))
    joined = f"SELECT count(*) FROM {winds} w JOIN {flights} f ON f.wind = w.id WHERE f.duration_s > 350"
    assert rows_of(joined) == [(3 * sum(300 + i % 60 > 350 for i in range(1, 300, 2)),)]
    arrow = pyarrow.dataset.dataset(tmp_path / "winds", partitioning="hive")
    assert arrow.count_rows() == 900


def test_a_second_export_writes_only_what_changed(tmp_path: Path) -> None:
    written(tmp_path, "Birch", 1, 60)
    before = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*.parquet")}
    assert written(tmp_path, "Birch", 1, 60) == 0
    assert written(tmp_path, "Birch", 1, 61) == 1  # one more wind in the first month, not flown
    changed = [path for path in tmp_path.rglob("*.parquet") if path.stat().st_mtime_ns != before[path]]
    assert [path.parent.name for path in changed] == ["month=2026-03"]


def test_a_file_that_was_cut_off_is_written_again(tmp_path: Path) -> None:
    written(tmp_path, "Birch", 1, 60)
    broken = next((tmp_path / "winds").rglob("*.parquet"))
    os.truncate(broken, 100)
    assert written(tmp_path, "Birch", 1, 60) == 1
    assert polars.scan_parquet(f"{tmp_path}/winds/**/*.parquet").select(polars.len()).collect().item() == 60


def test_people_are_left_out_unless_asked_for(tmp_path: Path) -> None:
    written(tmp_path / "a", "Birch", 1, 4)
    written(tmp_path / "b", "Birch", 1, 4, people=True)
    people = [polars.read_parquet(f"{tmp_path / each}/winds/**/*.parquet")["person"].unique() for each in "ab"]
    assert [one.to_list() for one in people] == [[None], ["Wren"]]


class TestAsACommand:
    def test_winds_and_their_readings(self, home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        (home / "traces").mkdir(parents=True)
        for name in ("stalled-crank", "meter-reset-and-unplugged"):
            shutil.copy(next(RECORDINGS.glob(f"{name}*")), home / "traces")
        to = str(tmp_path / "clubs")
        first = as_object(capsys, "export", to, "--club", "Alder Hall", "--with-readings")
        assert first["without_trace"] == 0
        assert sorted(name.partition("/")[0] for name in first["written"]) == ["readings", "readings", "winds"]
        again = as_object(capsys, "export", to, "--club", "Alder Hall", "--with-readings")
        assert (again["written"], again["unchanged"]) == ({}, 3)
        asked = f"SELECT count(DISTINCT wind) FROM read_parquet('{to}/readings/**/*.parquet')"
        assert rows_of(asked) == [(2,)]
        with Shelf(home / "shelf.sqlite") as shelf:
            ids = {wind.id for wind in shelf.winds()}
        seen = polars.read_parquet(f"{to}/readings/**/*.parquet")["wind"].unique().to_list()
        assert set(seen) == ids

    def test_a_wind_whose_trace_is_gone_is_said(
        self, home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        make_trace(home / "traces", 1)
        said(capsys, "shelf", "winds")
        next((home / "traces").glob("*.jsonl")).unlink()
        text = said(capsys, "export", str(tmp_path / "clubs"), "--club", "Birch", "--with-readings")
        assert "1 wind without a readable trace" in text

    @pytest.mark.parametrize(
        ("words", "says"),
        [
            (("clubs", "--club", "../up"), "cannot name a folder"),
            (("clubs.csv", "--club", "Birch"), "name a folder"),
            (("clubs", "--with-people"), "go with --club"),
        ],
    )
    def test_wrong_words_are_one_sentence(
        self, home: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], says: str
    ) -> None:
        assert says in refused(capsys, 2, "export", *words)
