"""The index of winds: every trace once, nothing lost to files that move, vanish or are spoilt; rebuilt, the same."""

from __future__ import annotations

import dataclasses
import gzip
import json
import os
import shutil
from datetime import datetime, timedelta, timezone
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.scenario import MODEL, MOTOR, PLAN, WINDER
from winding_coach.base.inputs import LinkUp, TimePassed
from winding_coach.keeping.indexing import Found, look, rebuild, trace_files
from winding_coach.meter.calibration import SIMULATED
from winding_coach.shelf.records import Flight, Meter, Motor
from winding_coach.shelf.store import Shelf
from winding_coach.traces.files import TraceWriter
from winding_coach.traces.header import Header

REAL = dataclasses.replace(SIMULATED, id="c-1", meter="bench-1")
SUMMARY: dict[str, Any] = {
    "event": "summary",
    "at_s": 1.5,
    "trace": None,
    "outcome": "done",
    "peak_torque_mNm": 7.0973,
    "peak_turns": 1310.0,
    "backed_off_turns": 40.0,
    "launch_torque_mNm": 3.463,
    "launch_turns": 1270.0,
    "energy_stored_J": 12.1536,
    "stalls": 1,
    "stalled_s": 0.5,
    "time_in_rate_band": 0.8144,
    "lost_lines": 2,
    "duration_s": 132.672,
}

pytestmark = pytest.mark.usefixtures("hurried_disk")


def make_trace(folder: Path, number: int = 1, summary: dict[str, Any] | None = SUMMARY, **other: Any) -> Path:
    """Write the number-th trace of a day, old enough not to be going on; without a summary it was killed."""
    header = Header(
        id=f"{number:08d}-0000-4000-8000-000000000000",
        started=datetime(2026, 3, 7, 10, tzinfo=timezone(timedelta(hours=1))) + timedelta(minutes=number),
        meter="bench-1",
        calibration=REAL,
        motor=MOTOR,
        winder=WINDER,
        model=MODEL,
        person="Wren",
        plan=PLAN,
        more={"shelf": {"batch": "amber", "winder": "ten"}},
    )
    writer = TraceWriter(folder, dataclasses.replace(header, **other))
    writer.input(LinkUp(0.0, "port"))
    writer.input(TimePassed(1.5))
    if summary is not None:
        writer.said(summary)
    writer.close()
    os.utime(writer.path, (1e9, 1e9))
    return writer.path


def test_a_whole_number_from_2_63_on_is_not_known(tmp_path: Path) -> None:
    """SQLite holds no such number: it ended the look with a traceback."""
    (tmp_path / "traces").mkdir()
    path = make_trace(
        tmp_path / "traces", summary=SUMMARY | {"lost_lines": 2**63, "peak_turns": 2**64, "stalls": -(2**63)}
    )
    with Shelf(tmp_path / "shelf.sqlite") as shelf:
        look(tmp_path / "traces", shelf)
        (wind,) = shelf.winds()
    assert wind.trace == path.name
    assert (wind.lost_lines, wind.peak_turns, wind.stalls) == (None, None, None)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "traces").mkdir()
    return tmp_path / "traces"


@pytest.fixture
def shelf(tmp_path: Path) -> Any:
    with Shelf(tmp_path / "shelf.sqlite") as opened:
        yield opened


def test_a_row_holds_what_the_trace_tells(folder: Path, shelf: Shelf) -> None:
    path = make_trace(folder)
    (wind,) = look(folder, shelf).logged
    assert [wind] == shelf.winds()
    assert (wind.trace, wind.outcome, wind.started) == (path.name, "done", "2026-03-07T10:01:00+01:00")
    assert (wind.person, wind.motor, wind.batch, wind.winder) == ("Wren", "th-07", "amber", "ten")
    assert (wind.model, wind.meter, wind.calibration, wind.simulated) == ("Thistledown", "bench-1", "c-1", False)
    assert (wind.loop_m, wind.mass_kg, wind.orings_kg, wind.strands) == (0.30, 1.40e-3, 0.08e-3, 2)
    assert (wind.use, wind.share, wind.ratio, wind.hooks_m) == (1, 0.80, 10.0, 0.22)
    assert wind.target_turns == PLAN.target_turns
    assert wind.peak_torque_Nm == pytest.approx(7.0973e-3)
    assert (wind.peak_turns, wind.stalls, wind.lost_lines, wind.duration_s) == (1310.0, 1, 2, 132.672)
    assert wind.trace_bytes == path.stat().st_size
    assert shelf.all(Meter) == [Meter("bench-1", "c-1", REAL.made)]
    assert json.loads(shelf.calibrations()[0].content) == REAL.as_json()


def test_every_trace_is_logged_once(folder: Path, shelf: Shelf) -> None:
    for number in range(1, 4):
        make_trace(folder, number)
    assert len(look(folder, shelf).logged) == 3
    assert look(folder, shelf) == Found()
    make_trace(folder, 4)
    assert len(look(folder, shelf).logged) == 1
    assert len(shelf.winds()) == 4


def test_a_wind_going_on_is_left_until_it_is_closed_or_killed(folder: Path, shelf: Shelf) -> None:
    path = make_trace(folder, summary=None)
    assert look(folder, shelf, now_s=1e9 + 9.0) == Found()
    (wind,) = look(folder, shelf, now_s=1e9 + 11.0).logged
    assert (wind.outcome, wind.duration_s, wind.motor) == ("open", 1.5, "th-07")
    with path.open("a") as opened:
        opened.write(json.dumps(SUMMARY) + "\n")
    (wind,) = look(folder, shelf).logged
    assert wind.outcome == "done"
    assert len(shelf.winds()) == 1


def test_practised_winds_and_foreign_files_are_passed_over_and_read_once(folder: Path, shelf: Shelf) -> None:
    practised = make_trace(folder, 1, more={"practice": True})
    (folder / "x.wind.jsonl").write_text("hello\n")
    (folder / "empty.wind.jsonl").write_text("")
    (folder / "notes.txt").write_text("not looked at")
    found = look(folder, shelf)
    assert found.logged == ()
    assert found.passed_over[practised.name] == "a practised wind"
    assert "line 1 is not JSON" in found.passed_over["x.wind.jsonl"]
    assert "no complete first line" in found.passed_over["empty.wind.jsonl"]
    assert look(folder, shelf) == Found()


def test_a_trace_that_was_moved_or_packed_is_followed(folder: Path, shelf: Shelf) -> None:
    path = make_trace(folder)
    look(folder, shelf)
    (folder / "march").mkdir()
    packed = folder / "march" / f"{path.name}.gz"
    packed.write_bytes(gzip.compress(path.read_bytes()))
    copied = look(folder, shelf)
    assert copied.passed_over == {f"march/{packed.name}": f"the same wind as {path.name}"}
    path.unlink()
    assert look(folder, shelf).missing == (path.name,)
    found = rebuild(folder, shelf)
    assert found.moved == (f"march/{packed.name}",)
    assert [wind.trace for wind in shelf.winds()] == [f"march/{packed.name}"]


def test_a_missing_or_damaged_trace_costs_nothing_that_was_known(folder: Path, shelf: Shelf) -> None:
    paths = [make_trace(folder, number) for number in range(1, 5)]
    look(folder, shelf)
    before = shelf.winds()
    shelf.fly(Flight("f", before[0].id, "2026-03-07T12:00:00+01:00", 400.0))
    paths[0].unlink()
    paths[1].write_bytes(paths[1].read_bytes()[:-200])
    paths[2].write_bytes(b"\x00" * 500)
    os.utime(paths[1], (1e9, 1e9))
    for found in (look(folder, shelf), rebuild(folder, shelf), look(folder, shelf)):
        assert found.missing == (paths[0].name,)
        assert "has lost its end" in found.damaged[paths[1].name]
        assert "line 1" in found.damaged[paths[2].name]
        assert shelf.winds() == before
    assert len(shelf.flights()) == 1


def test_a_file_that_now_holds_another_wind_does_not_replace_the_first(folder: Path, shelf: Shelf) -> None:
    first, second = make_trace(folder, 1), make_trace(folder, 2)
    look(folder, shelf)
    os.replace(second, first)
    first.write_bytes(first.read_bytes().replace(b"Wren", b"Juniper"))
    found = look(folder, shelf)
    assert "holds another wind" in found.damaged[first.name]
    assert [wind.person for wind in shelf.winds()] == ["Wren", "Wren"]


def test_a_motor_that_broke_is_marked_once_and_can_be_mended(folder: Path, shelf: Shelf) -> None:
    shelf.add(Motor("th-07", 0.30, 1.40e-3))
    make_trace(folder, 1, SUMMARY | {"outcome": "broken"})
    assert look(folder, shelf).broke == ("th-07",)
    assert shelf.get(Motor, "th-07").state == "broken"
    shelf.edit(Motor, "th-07", state="in_use")
    rebuild(folder, shelf)
    assert shelf.get(Motor, "th-07").state == "in_use"


def test_no_real_motor_breaks_on_a_simulated_meter(folder: Path, shelf: Shelf) -> None:
    shelf.add(Motor("th-07", 0.30, 1.40e-3))
    make_trace(folder, 1, SUMMARY | {"outcome": "broken"}, meter="simulated")
    found = look(folder, shelf)
    assert found.logged[0].simulated
    assert found.broke == ()
    assert shelf.get(Motor, "th-07").state == "in_use"


def test_a_trace_of_little_knowledge_is_a_wind_too(folder: Path, shelf: Shelf) -> None:
    make_trace(folder, 1, None, motor=None, winder=None, model=None, plan=None, calibration=None, id="", more={})
    make_trace(folder, 2, {"event": "summary", "stalls": True, "outcome": None, "peak_torque_mNm": "x"}, meter=None)
    found = look(folder, shelf)
    assert [wind.outcome for wind in found.logged] == ["open", "open"]
    assert all(wind.peak_torque_Nm is None and wind.stalls is None for wind in found.logged)
    assert len({wind.id for wind in found.logged}) == 2
    assert rebuild(folder, shelf).logged == found.logged


def test_what_people_typed_survives_a_rebuild(folder: Path, shelf: Shelf) -> None:
    make_trace(folder)
    (wind,) = look(folder, shelf).logged
    noted = shelf.note(wind.id, person="Pip", remarks="warm hall")
    shelf.fly(Flight("f", wind.id, "2026-03-07T12:00:00+01:00", 400.0, 180.0))
    flights = shelf.flights()
    told: list[tuple[int, int]] = []
    rebuild(folder, shelf, told=lambda done, of: told.append((done, of)))
    assert told == [(1, 1)]
    assert shelf.winds() == [noted]
    assert shelf.flights() == flights


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["made", "killed", "closed", "packed", "moved", "copied", "gone", "spoilt", "looked"]),
        st.integers(0, 5),
    ),
    max_size=14,
)


def play(step: str, which: int, folder: Path, shelf: Shelf, made: int) -> int:
    """Do to the folder what people and disks do; return how many traces were made so far."""
    names = list(trace_files(folder))
    if step in ("made", "killed"):
        make_trace(folder, made + 1, SUMMARY if step == "made" else None)
        return made + 1
    if step == "looked" or not names:
        look(folder, shelf)
        return made
    path = folder / names[which % len(names)]
    if step == "closed" and path.name.endswith(".jsonl"):
        with path.open("a") as opened:
            opened.write(json.dumps(SUMMARY) + "\n")
    elif step == "packed" and path.name.endswith(".jsonl"):
        Path(f"{path}.gz").write_bytes(gzip.compress(path.read_bytes(), mtime=0))
        path.unlink()
    elif step == "moved":
        (folder / "older").mkdir(exist_ok=True)
        os.replace(path, folder / "older" / path.name)
    elif step == "copied":
        shutil.copyfile(path, path.with_name(f"copy-{which}-of-{path.name}"))
    elif step == "gone":
        path.unlink()
    elif step == "spoilt":
        path.write_bytes(path.read_bytes()[: 30 * which])
    return made


@settings(max_examples=40)
@given(STEPS)
def test_a_rebuilt_index_equals_the_index(steps: list[tuple[str, int]]) -> None:
    """Whatever happened to the files; and made from the traces alone it is the same for all that are still whole."""
    with TemporaryDirectory() as place:
        folder = Path(place, "traces")
        folder.mkdir()
        late_s = 4e9
        with Shelf(Path(place, "shelf.sqlite")) as shelf:
            made = 0
            for step, which in steps:
                made = play(step, which, folder, shelf, made)
            look(folder, shelf, now_s=late_s)
            winds, over = shelf.winds(), shelf.passed_over()
            calibrations, meters = shelf.calibrations(), shelf.all(Meter)
            rebuild(folder, shelf, now_s=late_s)
            found = look(folder, shelf, now_s=late_s)
            assert shelf.winds() == winds
            assert shelf.passed_over().keys() >= {name for name in over if (folder / name).exists()}
            assert (shelf.calibrations(), shelf.all(Meter)) == (calibrations, meters)
            with Shelf(Path(place, "new.sqlite")) as alone:
                rebuild(folder, alone, now_s=late_s)
                again = {wind.id: wind for wind in alone.winds()}
        for wind in winds:
            if wind.trace not in (*found.missing, *found.damaged):
                other = again[wind.id]
                if other.trace != wind.trace:  # The file was copied; either is the wind's.
                    assert (folder / wind.trace).exists()
                    assert (folder / other.trace).exists()
                    continue
                assert other == wind


def test_a_wind_that_was_closed_takes_the_place_of_a_copy_made_in_its_middle(folder: Path, shelf: Shelf) -> None:
    copy = make_trace(folder, summary=None)
    look(folder, shelf)
    assert [wind.outcome for wind in shelf.winds()] == ["open"]
    whole = make_trace(folder)
    assert whole != copy
    look(folder, shelf)
    assert [(wind.outcome, wind.trace) for wind in shelf.winds()] == [("done", whole.name)]
    for _ in range(2):
        found = rebuild(folder, shelf)
        assert [(wind.outcome, wind.trace) for wind in shelf.winds()] == [("done", whole.name)]
    assert look(folder, shelf).logged == ()
    assert found.moved == ()
