"""The shelf's commands as they are typed: what goes in comes out, in text and JSON, and what is wrong is said."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.test_indexing import SUMMARY, make_trace
from winding_coach.app.home import Home
from winding_coach.app.problem import UsageProblem
from winding_coach.cli import main
from winding_coach.cli.args.duration import duration_s
from winding_coach.cli.commands.flight import changes_in, log_line
from winding_coach.shelf.records import Motor, Person
from winding_coach.shelf.store import Shelf

pytestmark = pytest.mark.usefixtures("hurried_disk")
TH_07 = ("th-07", "--loop", "30 cm", "--mass", "1.40 g", "--orings", "0.08 g")


@pytest.fixture(autouse=True)
def own_home(home: Path) -> Path:
    return home


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main([*words]) == 0, capsys.readouterr().err
    return capsys.readouterr().out


def as_object(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    return json.loads(said(capsys, *words, "--json"))


def refused(capsys: pytest.CaptureFixture[str], status: int, *words: str) -> str:
    """The one line that a refused command says."""
    assert main([*words]) == status
    out, error = capsys.readouterr()
    assert out == ""
    assert error.count("\n") == 1
    assert "Traceback" not in error
    return error


def test_the_five_jobs(capsys: pytest.CaptureFixture[str]) -> None:
    said(capsys, "batch", "add", "amber", "--density", "2.19 g/m, 2.2 g/m")
    added = as_object(capsys, "motor", "add", *TH_07, "--batch", "am", "--made", "2026-02-01")
    assert (added["loop_m"], added["mass_kg"], added["batch"], added["uses"]) == (
        0.3,
        pytest.approx(1.4e-3),
        "amber",
        0,
    )
    assert added["linear_density_kg_per_m"] == pytest.approx(2.2e-3)
    assert "loop 30.0 cm" in said(capsys, "motor", "show", "th")
    edited = as_object(capsys, "motor", "edit", "th", "--loop", "30.6 cm", "--made", "none", "--used", "2")
    assert (edited["loop_m"], edited["made"], edited["uses"], edited["next_share"]) == (0.306, None, 2, 0.9)
    assert "state retired" in said(capsys, "motor", "retire", "th-07")
    assert "no motors in use" in said(capsys, "motor", "list")
    assert "th-07" in said(capsys, "motor", "list", "--all")
    assert as_object(capsys, "motor", "list") == {"motors": []}
    assert len(as_object(capsys, "motor", "list", "--all")["motors"]) == 1


def test_the_other_kinds(capsys: pytest.CaptureFixture[str]) -> None:
    said(capsys, "winder", "add", "ten", "--ratio", "10:1", "--limit", "50 mN.m")
    assert as_object(capsys, "winder", "show", "t")["limit_Nm"] == 0.05
    said(capsys, "model", "add", "Thistledown", "--hooks", "22 cm", "--prop", "propeller 40 cm")
    assert "hooks 8.7 in" in said(capsys, "model", "show", "Th", "--units", "inch")
    said(capsys, "person", "add", "Wren")
    assert "retired" in said(capsys, "person", "retire", "wr")
    assert as_object(capsys, "person", "list") == {"people": []}
    assert "retired" in said(capsys, "person", "list", "--all")
    assert as_object(capsys, "person", "edit", "Wren", "--in-use")["retired"] is False


def test_the_help_says_to_keep_little_of_children(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (("person", "--help"), ("person", "add", "--help")):
        with pytest.raises(SystemExit):
            main([*words])
        assert "no family names, ages, schools" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("status", "words", "hint"),
    [
        (2, ("motor", "add", "x", "--loop", "30 cm"), "needs --mass"),
        (2, ("motor", "add", "x", "--loop", "30 kg", "--mass", "1 g"), "--loop"),
        (2, ("motor", "add", "x", "--loop", "0 cm", "--mass", "1 g"), "not above zero"),
        (2, ("motor", "add", "../x", *TH_07[1:]), "cannot be a name"),
        (2, ("motor", "add", "x" * 41, *TH_07[1:]), "cannot be a name"),
        (2, ("motor", "add", "x", *TH_07[1:], "--made", "yesterday"), "2026-03-07"),
        (2, ("motor", "add", "x", *TH_07[1:], "--state", "lost"), "no state"),
        (2, ("motor", "add", "x", *TH_07[1:-1], "2 g"), "O-rings"),
        (2, ("motor", "edit", "th-07", "--strands", "90"), "impossible for a strip"),
        (1, ("motor", "add", "x", *TH_07[1:], "--batch", "blue"), "no batch 'blue'"),
        (1, ("motor", "add", *TH_07), "already"),
        (1, ("motor", "show", "y"), "no motor 'y'"),
        (1, ("motor", "show", "th-"), "may be th-07, th-08"),
        (2, ("motor", "edit", "th-07"), "needs what to change"),
        (2, ("motor", "edit", "th-07", "--loop", "none"), "cannot be without"),
        (2, ("winder", "add", "x"), "needs --ratio"),
        (2, ("winder", "add", "x", "--ratio", "-3"), "--ratio"),
        (2, ("model", "add", "x", "--hooks", "-1 cm"), "not above zero"),
        (2, ("person", "add", "x", "--remarks", "a\x1bb"), "one line"),
        (1, ("shelf", "note", "last", "--remarks", "x"), "no wind on the shelf yet"),
        (2, ("shelf", "note", "last"), "needs what to add"),
        (2, ("shelf", "winds", "--newest", "0"), "--newest"),
        (2, ("shelf", "winds", "--since", "soon"), "--since"),
        (2, ("flight",), "as in: winding-coach flight"),
        (2, ("flight", "6:72"), "no duration"),
        (2, ("flight", "99:00:00"), "no duration"),
        (1, ("flight", "412"), "no wind on the shelf yet"),
        (2, ("motor", "label", "--to", "labels.png"), ".svg or .pdf"),
        (1, ("motor", "label", "--to", "no/where/labels.svg"), "cannot be written"),
        (2, ("export", "winds.xls"), ".csv or .parquet"),
        (2, ("export", "folder", "--readings", "last"), "--readings"),
        (1, ("import", "nowhere"), "no folder"),
        (2, ("backup", "--check"), "needs the folder"),
        (1, ("backup", "--check", "."), "is no backup"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    status: int,
    words: Any,
    hint: str,
) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    said(capsys, "motor", "add", *TH_07)
    said(capsys, "motor", "add", "th-08", *TH_07[1:])
    assert hint in refused(capsys, status, *words)
    assert list((tmp_path / "here").iterdir()) == []


def test_a_flight_in_one_line(capsys: pytest.CaptureFixture[str], home: Path) -> None:
    make_trace(home / "traces")
    flown = as_object(capsys, "flight", "6:52", "--left-crank", "18", "--height", "7.5 m", "--no-ceiling")
    # 1270 turns at launch, 10 turns of the motor for one of the crank, by the trace.
    assert (flown["duration_s"], flown["turns_left"], flown["height_m"], flown["ceiling"]) == (412.0, 180.0, 7.5, False)
    assert flown["turns_used"] == 1090.0
    assert flown["turns_per_s"] == pytest.approx(1090 / 412)
    assert flown["left_share"] == pytest.approx(180 / 1270)
    # Torque falls as turns come off, so the first turns gave more than their share.
    assert 1090 / 1270 < flown["energy_share"] < 1.0
    assert "add --correct" in refused(capsys, 2, "flight", "6:52")
    assert "more turns are left" in refused(capsys, 2, "flight", "--left", "1271", "--correct")
    text = said(capsys, "flight", "--left", "127", "--remarks", "a beam", "--correct")
    assert "6:52; 127 turns left of 1270 (10%)" in text
    assert text.endswith("ceiling not touched; a beam.\n")
    assert len(as_object(capsys, "flight", "list")["flights"]) == 1
    assert "6:52" in said(capsys, "flight", "list", "--motor", "th-07", "--person", "Wren")


def test_all_of_the_energy_is_used_when_no_turn_is_left(capsys: pytest.CaptureFixture[str], home: Path) -> None:
    make_trace(home / "traces")
    assert as_object(capsys, "flight", "412", "--left", "0")["energy_share"] == pytest.approx(1.0)
    assert as_object(capsys, "flight", "--left", "1270", "--correct")["energy_used_J"] == pytest.approx(0.0)


def test_no_flight_of_a_wind_that_broke_unless_it_is_named(capsys: pytest.CaptureFixture[str], home: Path) -> None:
    make_trace(home / "traces", 1)
    make_trace(home / "traces", 2, SUMMARY | {"outcome": "broken"})
    assert main(["flight", "412"]) == 2
    assert "broke: name the wind" in capsys.readouterr().err
    assert as_object(capsys, "flight", "412", "--wind", "00000001")["wind"].startswith("00000001")


@pytest.mark.parametrize(
    ("typed", "seconds"), [("6:52", 412.0), ("412", 412.0), ("412 s", 412.0), ("1:06:52.5", 4012.5), ("0:09", 9.0)]
)
def test_durations(typed: str, seconds: float) -> None:
    assert duration_s(typed) == seconds


@pytest.mark.parametrize(
    ("line", "changes"),
    [
        ("6:52", {"duration_s": 412.0}),
        ("6:52 180 7.5m ceiling", {"duration_s": 412.0, "turns_left": 180.0, "height_m": 7.5, "ceiling": True}),
        ("412 18c a beam, 3 m off", {"duration_s": 412.0, "turns_left": 180.0, "remarks": "a beam, 3 m off"}),
        ("412 25ft 180 stalled", {"duration_s": 412.0, "height_m": 7.62, "turns_left": 180.0, "remarks": "stalled"}),
        ("412 180 190", {"duration_s": 412.0, "turns_left": 180.0, "remarks": "190"}),
    ],
)
def test_a_flight_typed_as_one_line(line: str, changes: dict[str, Any]) -> None:
    found = changes_in(line, 10.0, "metric")
    assert found == {key: pytest.approx(value) if key == "height_m" else value for key, value in changes.items()}


@pytest.mark.parametrize("line", ["", "soon", "180turns", "6:52 18c", "6:52 a\x1bb"])
def test_a_line_that_holds_no_flight(line: str) -> None:
    with pytest.raises(UsageProblem):
        changes_in(line, None, "metric")


def test_the_finished_screens_line_is_logged_and_corrected(home: Path) -> None:
    trace = make_trace(home / "traces")
    assert "6:52; 180 turns left of 1270" in log_line(Home(home, {}), trace.name, "6:52 180", "metric")
    assert "6:53; 180 turns left" in log_line(Home(home, {}), trace.name, "6:53", "metric")
    with pytest.raises(UsageProblem, match="more turns are left"):
        log_line(Home(home, {}), trace.name, "6:53 1800", "metric")
    with Shelf(home / "shelf.sqlite") as shelf:
        (flight,) = shelf.flights()
    assert (flight.duration_s, flight.turns_left) == (413.0, 180.0)


def test_winds_season_and_notes(capsys: pytest.CaptureFixture[str], home: Path) -> None:
    for number in range(1, 4):
        make_trace(home / "traces", number, person="Wren" if number < 3 else "Pip")
    listed = as_object(capsys, "shelf", "winds", "--person", "Wren")["winds"]
    assert [wind["id"][:8] for wind in listed] == ["00000002", "00000001"]
    assert len(as_object(capsys, "shelf", "winds", "--newest", "1")["winds"]) == 1
    assert as_object(capsys, "shelf", "winds", "--since", "2026-03-08")["winds"] == []
    assert len(as_object(capsys, "shelf", "winds", "--since", "2026-03-07", "--until", "2026-03-07")["winds"]) == 3
    said(capsys, "flight", "400", "--left", "254", "--wind", "00000002")
    groups = {row["group"]: row for row in as_object(capsys, "shelf", "season", "--by", "person")["groups"]}
    assert (groups["Wren"]["winds"], groups["Wren"]["flights"], groups["Pip"]["flights"]) == (2, 1, 0)
    assert groups["Wren"]["share_left"] == pytest.approx(0.2)
    assert groups["Wren"]["best_duration_s"] == 400.0
    assert groups["Pip"]["mean_duration_s"] is None
    assert "6:40" in said(capsys, "shelf", "season", "--by", "person")
    noted = as_object(capsys, "shelf", "note", "last", "--person", "Juno", "--remarks", "cold hall", "--use", "2")
    assert (noted["person"], noted["remarks"], noted["use"]) == ("Juno", "cold hall", 2)
    text = said(capsys, "shelf", "winds")
    assert "cold hall" in text
    assert "Juno" in text
    assert as_object(capsys, "shelf", "note", "last", "--person", "none")["person"] == "Pip"
    assert "bench-1" in said(capsys, "shelf", "meters")
    assert as_object(capsys, "shelf", "meters")["calibrations"][0]["id"] == "c-1"


def test_an_empty_shelf_says_what_to_do(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (("shelf", "winds"), ("shelf", "season"), ("flight", "list"), ("shelf", "meters"), ("model", "list")):
        assert said(capsys, *words).endswith(".\n")
    assert "no motors in use" in refused(capsys, 1, "motor", "label")


def test_a_shelf_that_is_gone_is_rebuilt_and_what_cannot_come_back_is_said(
    capsys: pytest.CaptureFixture[str], home: Path
) -> None:
    for number in range(1, 4):
        make_trace(home / "traces", number)
    (home / "traces" / "odd.wind.jsonl").write_text("?")
    said(capsys, "motor", "add", *TH_07)
    said(capsys, "flight", "400")
    assert "All is well" in said(capsys, "shelf", "check", "--full")
    assert "Flights, remarks" not in said(capsys, "shelf", "rebuild")
    for file in home.glob("shelf.sqlite*"):
        file.unlink()
    text = said(capsys, "shelf", "rebuild", "--records")
    assert "3 winds are on the shelf" in text
    assert "Passed over odd.wind.jsonl" in text
    assert "motor th-07" in text
    assert "Flights, remarks" in text
    with Shelf(home / "shelf.sqlite") as shelf:
        assert shelf.get(Motor, "th-07") == Motor("th-07", 0.30, 1.40e-3, 0.08e-3, 2, "amber")
        assert shelf.all(Person) == [Person("Wren")]
        assert shelf.uses("th-07") == 3
    assert as_object(capsys, "shelf", "rebuild")["logged"] == 3


def test_check_tells_what_is_missing_spoilt_or_changed(capsys: pytest.CaptureFixture[str], home: Path) -> None:
    paths = [make_trace(home / "traces", number) for number in range(1, 4)]
    assert as_object(capsys, "shelf", "check") == {"winds": 3, "wrong": [], "passed_over": 0}
    paths[0].unlink()
    paths[1].write_bytes(paths[1].read_bytes()[:-100])
    paths[2].write_bytes(paths[2].read_bytes().replace(b"Wren", b"Wran"))
    assert main(["shelf", "check", "--json"]) == 1
    assert len(json.loads(capsys.readouterr().out)["wrong"]) == 2
    assert main(["shelf", "check", "--full"]) == 1
    text = capsys.readouterr().out
    assert "is missing: put it back from a backup" in text
    assert "has lost its end" in text
    assert "is not as it was logged" in text
    assert [wind["person"] for wind in as_object(capsys, "shelf", "winds")["winds"]] == ["Wren"] * 3


def test_words_of_a_newcomer(capsys: pytest.CaptureFixture[str], home: Path, tmp_path: Path) -> None:
    make_trace(home / "traces")
    said(capsys, "shelf", "rebuild")
    assert "logged: log one" in said(capsys, "flight", "list", "--motor", "th-99")
    assert said(capsys, "flight", "list", "--motor", "th-99").startswith("No such flight")
    assert "leave --format away" in refused(capsys, 2, "export", str(tmp_path / "a.csv"), "--format", "parquet")
    assert said(capsys, "export", str(tmp_path / "a.csv")).endswith("a.csv: 1 row.\n")
    assert "There is no batch 'amber' that was fitted: first 'batch fit" in refused(
        capsys, 1, "plan", "--loop", "30 cm", "--mass", "1.4 g", "--batch", "amber"
    )
    assert "check its name" in refused(capsys, 1, "review", str(home))


def test_a_wind_of_the_shelf_is_replayed_by_its_id(capsys: pytest.CaptureFixture[str], home: Path) -> None:
    trace = make_trace(home / "traces")
    said(capsys, "shelf", "rebuild")
    wanted = refused(capsys, 1, "replay", str(trace), "--check")
    assert f"The replay of '{trace}' differs" in wanted, "its summary is made up"
    assert refused(capsys, 1, "replay", "last", "--check") == wanted
    assert "There is no trace 'lst'" in refused(capsys, 1, "replay", "lst", "--headless")
