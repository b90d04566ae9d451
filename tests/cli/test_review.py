"""`review`: one wind, several, a person, the season, a batch; and what cannot be reviewed is said in a sentence."""

from __future__ import annotations

import gzip
import json
import os
import shutil
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from tests.cli.test_batch import simulated_trace
from tests.cli.test_main import loaded
from tests.review.test_season import winds
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem
from winding_coach.app.reviewing import record_from
from winding_coach.app.writing import write_whole
from winding_coach.cli import main
from winding_coach.cli.commands.review import earlier_of
from winding_coach.cli.output.review_text import WIDEST, chart_lines, text_of
from winding_coach.report.chart import Chart, Curve
from winding_coach.report.seasons import season_report
from winding_coach.report.winds import several_winds
from winding_coach.review.season.table import season_of
from winding_coach.shelf.records import Batch, Person
from winding_coach.shelf.store import SHELF_FILE, Shelf

ID = "0a0b0c0d-1e1f-4a{}0-8000-000000000000"


@pytest.fixture(scope="module")
def trace(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A good wind at twenty lines a second."""
    return Path(simulated_trace(tmp_path_factory.mktemp("trace")))


def changed(trace: Path, to: Path, **keys: Any) -> Path:
    """Write the trace again with other keys in its first line."""
    first, rest = trace.read_text(encoding="utf-8").split("\n", 1)
    to.parent.mkdir(parents=True, exist_ok=True)
    to.write_text(json.dumps(json.loads(first) | keys) + "\n" + rest, encoding="utf-8")
    # Long ago, so that it is not taken for a wind that is going on.
    os.utime(to, (1e9, 1e9))
    return to


def said(capsys: pytest.CaptureFixture[str], *words: object, status: int = 0) -> tuple[str, str]:
    """Run `review` and return what it printed."""
    assert main(["review", *map(str, words)]) == status
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    return out, err


def test_one_wind_as_text_and_as_json(trace: Path, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, _ = said(capsys, trace)
    assert "Wind 1 of th-07" in out
    assert "J of work" in out
    assert "To do better next time" in out
    assert "peak torque, mN·m" in out
    assert "⠀" not in out
    assert any(0x2800 < ord(char) <= 0x28FF for char in out)
    out, _ = said(capsys, trace, "--json", "--units", "inch")
    found = json.loads(out)
    assert found["not_read"] == []
    (wind,) = found["winds"]
    assert wind["motor"] == "th-07"
    assert wind["figures"]["peak_torque_mNm"] == pytest.approx(6.8, rel=0.1)
    assert 20.0 < wind["figures"]["crank_work_J"] < 35.0
    assert wind["review"]["score"] == round(wind["figures"]["score"])


def test_reports_are_written_whole_and_what_they_replace_is_said(
    trace: Path, home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page, picture = tmp_path / "wind.html", tmp_path / "wind.SVG"
    out, _ = said(capsys, trace, "--report", page)
    assert out.endswith(f"The report is in {page}.\n")
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    out, err = said(capsys, trace, "--report", page, "--json")
    json.loads(out)
    assert "in place of the file that was there" in err
    said(capsys, trace, "--report", picture)
    assert picture.read_text(encoding="utf-8").startswith("<svg")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["wind.SVG", "wind.html"]
    _, err = said(capsys, trace, "--report", tmp_path / "no" / "x.html", status=1)
    assert "name another file" in err
    _, err = said(capsys, trace, "--report", "wind.pdf", status=2)
    assert "must end in" in err


def test_a_write_that_fails_leaves_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    there = tmp_path / "a.html"
    there.write_bytes(b"before")
    there.chmod(0o640)
    assert write_whole(there, b"after", "report")
    assert there.stat().st_mode & 0o777 == 0o640
    link = tmp_path / "link.html"
    link.symlink_to(there)
    assert write_whole(link, b"through", "report")
    assert link.is_symlink()
    assert there.read_bytes() == b"through"

    def full(descriptor: int) -> None:
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(Problem, match="No space left"):
        write_whole(there, b"lost", "report")
    assert there.read_bytes() == b"through"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.html", "link.html"]
    with pytest.raises(Problem, match="is a folder"):
        write_whole(tmp_path, b"", "report")


def test_the_newest_is_taken_and_held_against_earlier_ones(
    trace: Path, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, err = said(capsys, status=1)
    assert "no wind in" in err
    traces = home / "traces"
    for day in range(1, 7):
        started = f"2026-03-0{day}T10:00:00+00:00"
        changed(trace, traces / f"2026-03-0{day}-100000-th-07.wind.jsonl", id=ID.format(day), started=started)
    changed(trace, traces / "2026-03-05-110000-th-07.wind.jsonl", id="other", motor=None)
    (traces / "2026-03-05-120000-th-07.wind.jsonl").write_text("spoilt\n", encoding="utf-8")
    assert [path.name[:10] for path in earlier_of(traces / "2026-03-06-100000-th-07.wind.jsonl", Home(home, {}))] == [
        "2026-03-05",
        "2026-03-04",
        "2026-03-03",
    ]
    for old in sorted(traces.iterdir())[:4]:
        old.unlink()
    out, _ = said(capsys)
    assert "2026-03-06 10:00" in out
    assert "wind before" in out
    with Shelf(home / SHELF_FILE):
        pass
    out, _ = said(capsys, ID.format(5)[:20])
    assert "2026-03-05 10:00" in out
    _, err = said(capsys, ID[:8], status=1)
    assert "type more" in err
    _, err = said(capsys, "9", status=1)
    assert "no trace '9'" in err


def test_several_winds_and_one_that_cannot_be_read(
    trace: Path, home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pip = changed(trace, tmp_path / "pip.wind.jsonl", person="Pip")
    wren = changed(trace, tmp_path / "wren.wind.jsonl", person="Wren")
    none = [tmp_path / name for name in ("none.wind.jsonl", "nothing.wind.jsonl")]
    out, err = said(capsys, pip, *none, wren, "--report", tmp_path / "both.svg", status=1)
    assert "2 winds side by side" in out
    assert "A Pip" in out
    assert "B Wren" in out
    assert "There is no trace" in err
    assert (tmp_path / "both.svg").exists()
    _, err = said(capsys, *["x"] * 61, status=2)
    assert "too many" in err


def test_traces_in_every_sad_state_are_sentences(
    trace: Path, home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = trace.read_text(encoding="utf-8").split("\n")
    empty = tmp_path / "empty.wind.jsonl"
    empty.write_text(lines[0] + "\n", encoding="utf-8")
    out, _ = said(capsys, empty, "--report", tmp_path / "empty.html")
    assert "No torque was measured" in out
    assert "was not closed" in out
    cut = tmp_path / "cut.wind.jsonl.gz"
    cut.write_bytes(gzip.compress(("\n".join(lines[:300]) + '\n{"at_s":33.1,"in":"byt').encode()))
    out, _ = said(capsys, cut)
    assert "was cut off" in out
    uncalibrated = changed(trace, tmp_path / "none.wind.jsonl", calibration=None)
    _, err = said(capsys, uncalibrated, status=1)
    assert "name one with --calibration" in err
    said(capsys, uncalibrated, "--calibration", "simulated")
    summary = {"event": "summary", "peak_torque_mNm": 7.1, "peak_turns": None, "launch_torque_mNm": 3.5}
    uncalibrated.write_text(uncalibrated.read_text(encoding="utf-8") + json.dumps(summary) + "\n", encoding="utf-8")
    assert "On the day it said: peak 7.1 mN·m, launch 3.5 mN·m." in record_from(uncalibrated, "metric").trouble
    _, err = said(capsys, changed(trace, tmp_path / "newer.wind.jsonl", version=4), status=1)
    assert "of trace version 4" in err
    spoilt = tmp_path / "spoilt.wind.jsonl"
    spoilt.write_text("\n".join([*lines[:50], "{", *lines[50:]]), encoding="utf-8")
    _, err = said(capsys, spoilt, status=1)
    assert "line 51" in err


def fill(home: Path, *people: str) -> None:
    home.mkdir(parents=True, exist_ok=True)
    with Shelf(home / SHELF_FILE) as shelf:
        shelf.add(Person("Wren"))
        for seed, person in enumerate(people):
            pairs = winds(person, 20, 0.01 * (person == "Wren"), seed)
            shelf.log(*(replace(wind, batch="amber") for wind, _ in pairs))
            for _, flight in pairs:
                if flight is not None:
                    shelf.fly(replace(flight, id=f"{person}-{flight.id}"))


def test_a_person_s_progress_and_the_season(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, err = said(capsys, "--season", status=1)
    assert "no wind on the shelf" in err
    fill(home, "Wren", "Pip")
    out, _ = said(capsys, "--person", "wr")
    assert "Wren: 20 winds" in out
    assert "rises, better" in out
    assert "change for 10 winds" in out
    # Who is only known from winds is found too.
    out, _ = said(capsys, "--person", "pip", "--json")
    assert json.loads(out)["person"] == "Pip"
    _, err = said(capsys, "--person", "Juno", status=1)
    assert "Juno" in err
    out, _ = said(capsys, "--season", "--report", tmp_path / "season.html")
    assert "40 winds by 2 people" in out
    assert "more and more in its band for Wren." in out
    out, _ = said(capsys, "--season", "--json")
    assert [one["person"] for one in json.loads(out)["people"]] == ["Pip", "Wren"]
    _, err = said(capsys, "--season", "x.wind.jsonl", status=2)
    assert "Name traces, or one of" in err


def test_the_season_loads_neither_scipy_nor_a_screen(home: Path) -> None:
    fill(home, "Wren")
    assert not loaded("review", "--season", "--home", str(home)) & {"scipy", "textual", "resvg_py", "serial"}


def test_a_batch_from_its_traces_and_from_what_was_fitted(
    trace: Path, home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, err = said(capsys, "--batch", "amber", status=1)
    assert "Nothing is known of a batch 'amber'" in err
    home.mkdir()
    (home / "traces").mkdir()
    shutil.copy(trace, home / "traces" / "a.wind.jsonl")
    (home / "traces" / "spoilt.wind.jsonl").write_text("{}\n", encoding="utf-8")
    with Shelf(home / SHELF_FILE) as shelf:
        shelf.add(Batch("amber", densities_kg_per_m=(2.20e-3, 2.22e-3, 2.19e-3)))
        out, _ = said(capsys, "--batch", "amb")
        assert "No wind shows its torque yet" in out
        assert "3 strips: 2.203 g/m" in out
        base = winds("Wren", 2, 0.0)
        shelf.log(
            replace(base[0][0], batch="amber", trace="a.wind.jsonl"),
            replace(base[1][0], batch="amber", trace="spoilt.wind.jsonl"),
            replace(base[1][0], id="3", batch="amber", trace="gone.wind.jsonl"),
        )
    out, _ = said(capsys, "--batch", "amber", "--report", tmp_path / "batch.svg")
    assert "torque from 1 wind" in out
    assert "spoilt.wind.jsonl (cannot be read)" in out
    assert "gone.wind.jsonl" not in out
    assert main(["batch", "fit", "amber", str(trace)]) == 0
    capsys.readouterr()
    out, _ = said(capsys, "--batch", "amber", "--json")
    found = json.loads(out)
    assert found["torque_scale"]["value"] == pytest.approx(1.0, abs=0.05)
    assert found["winds"] == []
    assert found["densities_kg_per_m"] == [2.20e-3, 2.22e-3, 2.19e-3]


def test_text_keeps_to_its_width_and_to_ascii_where_it_must(trace: Path) -> None:
    record = record_from(trace, "metric").record
    assert record is not None
    seasons = season_of(winds("A person whose nickname never seems to end", 9, 0.0))
    reports = (several_winds([record] * 7, "metric"), season_report(seasons))
    for columns, report in product((20, 60, 80, 300), reports):
        text = text_of(report, columns)
        widest = max(len(line) for line in text.split("\n"))
        assert widest <= max(min(columns, WIDEST), 64)
        if columns >= 80:
            assert widest <= columns
        assert text_of(report, columns, plain=True).isascii()
        assert "nan" not in text.lower().replace("mn·m", "").split()


def test_a_curve_that_leaves_its_chart_is_kept_within() -> None:
    chart = Chart(
        "Far",
        "",
        "x",
        "y",
        (Curve((((0.0, 0.0), (1.0, 1e30), (1e30, -1e30)),)),),
        x_range=(0.0, 2.0),
        y_range=(0.0, 1.0),
    )
    lines = chart_lines(chart, 60)
    assert max(map(len, lines)) <= 60
    assert any(0x2800 < ord(char) <= 0x28FF for char in lines[0])
