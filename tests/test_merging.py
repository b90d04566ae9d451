"""Another folder comes in once: no duplicates, conflicts said, nothing overwritten, and broken off it goes on."""

from __future__ import annotations

import dataclasses
import gzip
import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from tests.shelf.examples import AMBER, TEN, TH_07, WREN, a_wind
from tests.test_indexing import SUMMARY, make_trace
from winding_coach.keeping import merging
from winding_coach.keeping.indexing import look, rebuild
from winding_coach.keeping.merging import Merge, carry_out, plan_merge
from winding_coach.keeping.saving import back_up, copy_verified
from winding_coach.shelf.records import Batch, Flight, Meter, Motor, Person, Winder
from winding_coach.shelf.store import Shelf

pytestmark = pytest.mark.usefixtures("hurried_disk")


def folder_with(place: Path, *numbers: int, motor: Motor = TH_07) -> Path:
    """A data folder with these winds, each flown and noted, and a small shelf."""
    for number in numbers:
        make_trace(place / "traces", number)
    with Shelf(place / "shelf.sqlite") as shelf:
        for record in (AMBER, motor, TEN, WREN):
            shelf.add(record)
        for wind in look(place / "traces", shelf).logged:
            shelf.note(wind.id, remarks=f"of {wind.id[:8]}")
            shelf.fly(Flight(f"f-{wind.id[:8]}", wind.id, "2026-03-07T12:00:00+01:00", 400.0))
    return place


def everything(home: Path) -> dict[str, Any]:
    """What is in a folder: the shelf's content and the files' bytes."""
    with Shelf(home / "shelf.sqlite") as shelf:
        kept = (shelf.winds(), shelf.flights(), shelf.typed(), shelf.all(Motor), shelf.all(Batch), shelf.all(Person))
    return {
        "shelf": kept,
        "files": {str(path.relative_to(home)): path.read_bytes() for path in sorted(home.glob("traces/**/*.*"))},
    }


def bring_in(home: Path, other: Path, *, dry: bool = False, under: str | None = None) -> Merge:
    with Shelf(home / "shelf.sqlite") as shelf, Shelf(other / "shelf.sqlite", read_only=True) as theirs:
        merge = plan_merge(shelf, home, theirs, other, under=under)
        if not dry:
            carry_out(merge, shelf, home)
        look(home / "traces", shelf)
    return merge


def test_what_is_new_comes_in_once(tmp_path: Path) -> None:
    home, other = folder_with(tmp_path / "home", 1, 2), folder_with(tmp_path / "other", 2, 3, 4)
    before = everything(home)
    dry = bring_in(home, other, dry=True)
    assert everything(home) == before
    merge = bring_in(home, other)
    assert dry == merge
    assert [wind.id[:8] for wind in merge.winds] == ["00000003", "00000004"]
    assert len(merge.flights) == 2
    assert merge.conflicts == []
    assert merge.same == {"batch": 1, "motor": 1, "winder": 1, "person": 1, "wind": 1, "flight": 1}
    with Shelf(home / "shelf.sqlite") as shelf:
        winds = shelf.winds()
        assert [wind.remarks for wind in winds] == [f"of 0000000{i}" for i in (4, 3, 2, 1)]
        assert len(shelf.flights()) == 4
        assert look(home / "traces", shelf).logged == ()
        assert shelf.unsound() == []
    for wind in winds[:2]:
        assert (home / "traces" / wind.trace).read_bytes() == (other / "traces" / wind.trace).read_bytes()
    after = everything(home)
    again = bring_in(home, other)
    assert (again.winds, again.flights, again.records, again.copies, again.typed) == ([], [], [], [], [])
    assert everything(home) == after


def test_a_backup_comes_in_without_duplicates_and_brings_back_what_is_missing(tmp_path: Path) -> None:
    home = folder_with(tmp_path / "home", 1, 2, 3)
    before = everything(home)
    copy = back_up(home, tmp_path / "copy", datetime(2026, 3, 8, tzinfo=UTC)).folder
    assert bring_in(home, copy).winds == []
    assert everything(home) == before
    next((home / "traces").iterdir()).unlink()
    merge = bring_in(home, copy)
    assert (merge.back, merge.winds, merge.conflicts) == (1, [], [])
    assert everything(home) == before


def test_an_empty_folder_becomes_what_was_saved(tmp_path: Path) -> None:
    home = folder_with(tmp_path / "home", 1, 2)
    (tmp_path / "new").mkdir()
    bring_in(tmp_path / "new", home)
    assert everything(tmp_path / "new") == everything(home)


def test_what_differs_is_said_and_ours_stays(tmp_path: Path) -> None:
    home = folder_with(tmp_path / "home", 1, 2)
    other = folder_with(tmp_path / "other", 2, motor=dataclasses.replace(TH_07, loop_m=0.31, remarks="tied anew"))
    with Shelf(other / "shelf.sqlite") as theirs:
        (flight,) = theirs.flights()
        theirs.fly(dataclasses.replace(flight, duration_s=500.0))
        theirs.note(flight.wind, remarks="another remark")
    (trace,) = (other / "traces").iterdir()
    trace.write_bytes(trace.read_bytes().replace(b"1310.0", b"1320.0"))
    before = everything(home)
    merge = bring_in(home, other)
    assert everything(home) == before
    told = "\n".join(merge.conflicts)
    assert "motor th-07: loop_m 0.3 here, 0.31 there; remarks '' here, 'tied anew' there." in told
    assert "duration_s 400.0 here, 500.0 there" in told
    assert "'of 00000002'} here, {'remarks': 'another remark'} there" in told
    assert "move it away and import again" in told
    assert len(merge.conflicts) == 4


def test_two_different_winds_of_one_file_name_are_both_kept(tmp_path: Path) -> None:
    home, other = folder_with(tmp_path / "home", 1), tmp_path / "other"
    make_trace(other / "traces", 1, id="another")
    with Shelf(other / "shelf.sqlite") as theirs:
        look(other / "traces", theirs)
    merge = bring_in(home, other)
    assert [name for _, name in merge.copies] == ["2026-03-07-100100-th-07-2.wind.jsonl"]
    assert len(everything(home)["files"]) == 2
    with Shelf(home / "shelf.sqlite") as shelf:
        assert {wind.id for wind in shelf.winds()} == {"another", "00000001-0000-4000-8000-000000000000"}


def test_under_a_name_of_their_own_their_motors_are_no_uses_of_ours(tmp_path: Path) -> None:
    home = folder_with(tmp_path / "home", 1)
    other = folder_with(tmp_path / "other", 2, 3, motor=dataclasses.replace(TH_07, loop_m=0.31))
    merge = bring_in(home, other, under="Harbour")
    assert merge.conflicts == []
    with Shelf(home / "shelf.sqlite") as shelf:
        assert shelf.uses("th-07") == 1
        assert shelf.uses("Harbour.th-07") == 2
        assert shelf.get(Motor, "Harbour.th-07").batch == "Harbour.amber"
        assert shelf.winds()[0].person == "Harbour.Wren"
        assert shelf.winds()[0].remarks == "of 00000003"
    after = everything(home)
    bring_in(home, other, under="Harbour")
    assert everything(home) == after


def test_a_packed_trace_is_the_same_wind(tmp_path: Path) -> None:
    home, other = folder_with(tmp_path / "home", 1), folder_with(tmp_path / "other", 1)
    (trace,) = (other / "traces").iterdir()
    Path(f"{trace}.gz").write_bytes(gzip.compress(trace.read_bytes()))
    trace.unlink()
    merge = bring_in(home, other)
    assert merge.same["wind"] == 1
    assert merge.conflicts == []
    next((home / "traces").iterdir()).unlink()
    assert bring_in(home, other).back == 1
    with Shelf(home / "shelf.sqlite") as shelf:
        assert [wind.trace for wind in shelf.winds()] == [f"{trace.name}.gz"]
        assert look(home / "traces", shelf).missing == ()


def test_a_folder_of_traces_alone_will_do(tmp_path: Path) -> None:
    home, traces = folder_with(tmp_path / "home", 1), tmp_path / "mail"
    make_trace(traces, 5)
    make_trace(traces, 6, more={"practice": True})
    (traces / "spoilt.wind.jsonl").write_text("?")
    (traces / "twice.wind.jsonl").write_bytes(make_trace(tmp_path / "x", 5).read_bytes())
    with Shelf(home / "shelf.sqlite") as shelf:
        merge = plan_merge(shelf, home, None, traces)
        carry_out(merge, shelf, home)
        assert len(shelf.winds()) == 2
    assert len(merge.passed_over) == 3


def test_winds_whose_trace_they_lost_come_with_their_figures(tmp_path: Path) -> None:
    home, other = folder_with(tmp_path / "home", 1), folder_with(tmp_path / "other", 2)
    (trace,) = (other / "traces").iterdir()
    trace.unlink()
    merge = bring_in(home, other)
    assert merge.copies == []
    with Shelf(home / "shelf.sqlite") as shelf:
        assert shelf.winds()[0].peak_turns == SUMMARY["peak_turns"]
        assert len(shelf.flights()) == 2


def test_broken_off_it_goes_on_the_next_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home, other = folder_with(tmp_path / "home", 1), folder_with(tmp_path / "other", 2, 3, 4)
    straight = folder_with(tmp_path / "straight", 1)
    bring_in(straight, other, under="Harbour")
    copied: list[str] = []

    def full(source: Path, target: Path) -> tuple[int, str]:
        if copied:
            raise OSError(28, "No space left on device")
        copied.append(target.name)
        return copy_verified(source, target)

    with monkeypatch.context() as patched:
        patched.setattr(merging, "copy_verified", full)
        with pytest.raises(OSError, match="No space"):
            bring_in(home, other, under="Harbour")
    bring_in(home, other, under="Harbour")
    assert everything(home) == everything(straight)


def test_the_index_after_an_import_is_what_a_rebuild_makes(tmp_path: Path) -> None:
    home, other = folder_with(tmp_path / "home", 1), folder_with(tmp_path / "other", 2, 3)
    bring_in(home, other)
    with Shelf(home / "shelf.sqlite") as shelf:
        before = (shelf.winds(), shelf.calibrations(), shelf.all(Meter))
        rebuild(home / "traces", shelf)
        assert (shelf.winds(), shelf.calibrations(), shelf.all(Meter)) == before


def test_what_no_shelf_of_ours_holds_stays_out(tmp_path: Path) -> None:
    """Their file may be made by anybody: names that lead out of a folder or drive a terminal, figures that are none."""
    home, other = folder_with(tmp_path / "home", 1), folder_with(tmp_path / "other")
    with Shelf(other / "shelf.sqlite") as theirs:
        theirs.add(Person("../../away"))
        theirs.add(Person("a\x1b[2J"))
        theirs.add(Motor("endless", float("inf"), 1e-3))
        theirs.log(a_wind(7, trace="../../outside.wind.jsonl"), a_wind(8, trace="/etc/x.wind.jsonl"))
        theirs.log(a_wind(9, peak_turns=float("inf")), a_wind(10))
        theirs.fly(Flight("f", a_wind(10).id, "2026-03-07T12:00:00+01:00", float("inf")))
    before = everything(home)
    merge = bring_in(home, other)
    assert merge.records == []
    assert len(merge.passed_over) == 3
    assert [wind.id for wind in merge.winds] == [a_wind(10).id]
    assert everything(home)["shelf"][3:] == before["shelf"][3:]
    assert len(everything(home)["shelf"][1]) == 1


def test_fitted_batches_come_too(tmp_path: Path) -> None:
    home, other = folder_with(tmp_path / "home"), folder_with(tmp_path / "other")
    for place, name, text in (
        (home, "a", "1"),
        (other, "a", "1"),
        (other, "b", "2"),
        (home, "c", "3"),
        (other, "c", "4"),
    ):
        (place / "batches").mkdir(exist_ok=True)
        (place / "batches" / f"{name}.json").write_text(text)
    merge = bring_in(home, other)
    assert [name for _, name in merge.fits] == ["b.json"]
    assert len(merge.conflicts) == 1
    assert (home / "batches" / "b.json").read_text() == "2"
    assert (home / "batches" / "c.json").read_text() == "3"
    assert merge.same["winder"] == 1
    with Shelf(home / "shelf.sqlite") as shelf:
        assert shelf.all(Winder) == [TEN]


def test_a_backup_made_in_mid_wind_brings_no_second_file_of_a_wind_that_goes_on(tmp_path: Path) -> None:
    home, other = folder_with(tmp_path / "home"), folder_with(tmp_path / "other")
    make_trace(other / "traces", 1, summary=None)
    going_on = make_trace(home / "traces", 1, summary=None)
    os.utime(going_on)
    (home / "traces" / "x.wind.jsonl").write_text("hello\n")
    merge = bring_in(home, other)
    assert (merge.winds, merge.copies, merge.same["wind"]) == ([], [], 1)
