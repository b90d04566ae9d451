"""What a motor's last wind says of the next: which way round, turns left in it, whether it is known to have broken."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.test_from_shelf import picked, stocked
from tests.cli.test_main import run
from tests.shelf.examples import a_wind
from winding_coach.app.home import Home
from winding_coach.cli import main
from winding_coach.cli.commands.flight import keeper
from winding_coach.shelf.records import Flight, Model, Motor
from winding_coach.shelf.store import Shelf

pytestmark = pytest.mark.usefixtures("hurried_disk")


def wound(home: Path, **changes: object) -> None:
    stocked(home)
    with Shelf(home / "shelf.sqlite") as shelf:
        shelf.log(a_wind(1, id="w1", **changes))  # type: ignore[arg-type]


def test_turns_that_the_last_flight_left_are_expected(home: Path) -> None:
    wound(home)
    assert picked(home, motor="th-07", ratio="10")[0].turns_left is None, "nobody logged a flight"
    with Shelf(home / "shelf.sqlite") as shelf:
        shelf.fly(Flight("f1", "w1", "2026-03-07T10:10:00+01:00", 412.0, 180.0))
    found, _ = picked(home, motor="th-07", ratio="10")
    assert found.turns_left == 180.0
    assert any("left about 180 turns in motor th-07" in said for said in found.said)
    assert picked(home, motor="th-08", ratio="10")[0].turns_left is None


def test_a_motor_that_was_let_down_is_expected_empty(home: Path) -> None:
    wound(home)
    with Shelf(home / "shelf.sqlite") as shelf:
        shelf.fly(Flight("f1", "w1", "2026-03-07T10:10:00+01:00", 412.0, 180.0))
    (home / "unwindings").mkdir()
    first = {"format": "winding-coach trace", "version": 2, "id": "u", "started": "2026-03-07T10:20:00+01:00"}
    line = json.dumps(first | {"unwinding": {"wind": "w1", "torque_scale": None}})
    (home / "unwindings" / "2026-03-07-th-07.wind.jsonl").write_text(line + "\n", encoding="utf-8")
    assert picked(home, motor="th-07", ratio="10")[0].turns_left is None


def test_the_model_says_which_way_round_and_a_difference_is_told(home: Path) -> None:
    wound(home, direction="left")
    with Shelf(home / "shelf.sqlite") as shelf:
        shelf.add(Model("Counter", 0.22, hand="right"))
    assert any("left-hand in its last wind" in said for said in picked(home, motor="th-07", ratio="10")[0].said)
    found, args = picked(home, motor="th-07", model="Counter", ratio="10")
    assert args["hand"] == "right"
    assert any("right-hand is asked for now" in said for said in found.said)
    assert picked(home, motor="th-07", model="Counter", ratio="10", hand="found")[1]["hand"] == "found"


def test_only_somebody_can_say_that_a_motor_broke(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wound(home, outcome="gone")
    assert any("no word on whether it broke" in said for said in picked(home, motor="th-07", ratio="10")[0].said)

    def so() -> tuple[str, str]:
        with Shelf(home / "shelf.sqlite") as shelf:
            return shelf.wind("w1").outcome, shelf.get(Motor, "th-07").state

    assert so() == ("gone", "in_use")
    assert main(["flight", "broke"]) == 0
    assert "motor th-07 broke and is marked so" in capsys.readouterr().out
    assert so() == ("broken", "broken")
    assert main(["flight", "intact", "--wind", "w1"]) == 0
    assert so() == ("stopped", "in_use"), "somebody said now that it came off"
    assert not any("no word on" in said for said in picked(home, motor="th-07", ratio="10")[0].said)
    kept, said = keeper(Home(home, {}), "w1", "metric")("broke")
    assert kept, said
    assert so() == ("broken", "broken"), "typed in the finished screen"
    with Shelf(home / "shelf.sqlite") as shelf:
        assert [wind.outcome for wind in shelf.winds()] == ["broken"]


def test_a_plan_says_which_way_round(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["plan", "--loop", "30 cm", "--mass", "1.4 g", "--hand", "left"]
    assert main(words) == 0
    assert "Wind it left-hand." in capsys.readouterr().out
    assert main([*words, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["hand"] == "left"
    assert main(["model", "add", "Counter", "--hand", "left"]) == 0
    assert main(["model", "show", "Counter", "--json"]) == 0
    assert json.loads(capsys.readouterr().out.splitlines()[-1])["hand"] == "left"


@pytest.mark.no_cover
def test_a_wind_the_other_way_round_is_reviewed_as_any(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    figures = []
    for hand in ("right", "left", "found"):
        given = ("--hand", hand) if hand != "found" else ()
        words = ("practice", "--script", "good", "--speed", "max", "--headless", "--seed", "3", *given)
        assert run(*words).returncode == 0
        trace = max((home / "traces").iterdir())
        capsys.readouterr()
        assert main(["review", str(trace), "--json"]) == 0
        (one,) = json.loads(capsys.readouterr().out)["winds"]
        figures.append(one["figures"])
        trace.unlink()
    right, left, _ = figures
    for name in ("peak_torque_mNm", "launch_torque_mNm", "crank_work_J"):
        assert left[name] == pytest.approx(right[name], rel=0.03), name
        assert left[name] > 0
    assert left["peak_turns"] == pytest.approx(right["peak_turns"], abs=20)


def test_a_break_that_was_none_is_none_for_good(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Key b pressed by mistake: 'flight intact' left the wind broken, and it counted as a break of its batch."""
    wound(home, outcome="broken")
    with Shelf(home / "shelf.sqlite") as shelf:
        shelf.edit(Motor, "th-07", state="broken")
    assert main(["flight", "intact", "--wind", "w1"]) == 0
    with Shelf(home / "shelf.sqlite") as shelf:
        assert (shelf.wind("w1").outcome, shelf.get(Motor, "th-07").state) == ("stopped", "in_use")
    assert main(["flight", "broke", "--wind", "w1"]) == 0
    with Shelf(home / "shelf.sqlite") as shelf:
        assert shelf.wind("w1").outcome == "broken"
    wound_well = a_wind(2, id="w2")
    with Shelf(home / "shelf.sqlite") as shelf:
        shelf.log(wound_well)
    assert main(["flight", "intact", "--wind", "w2"]) == 0
    with Shelf(home / "shelf.sqlite") as shelf:
        assert shelf.wind("w2").outcome == "done"


def test_next_and_advice_ask_of_a_motor_whose_torque_went(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A wind that nobody looked after: the motor was proposed as rested, and advice wound it on."""
    wound(home, outcome="gone")
    with Shelf(home / "shelf.sqlite") as shelf:
        if not shelf.has(Motor, "th-08"):
            shelf.add(Motor("th-08", 0.30, 1.4e-3))
    assert main(["motor", "next"]) == 0
    said = capsys.readouterr().out
    assert said.index("th-08") < said.index("th-07")
    assert "Did motor th-07 break?" in said
    assert "flight broke --wind w1" in said
    assert main(["motor", "next", "--flights", "4"]) == 0
    rows = capsys.readouterr().out.partition("Did motor")[0]
    assert "th-07" not in rows
    assert "th-08" in rows
    assert main(["advise", "--motor", "th-07"]) == 0
    said = capsys.readouterr().out
    assert "1. Say whether motor th-07 broke" in said
    assert "Wind th-07 to" not in said
    assert main(["flight", "intact", "--wind", "w1"]) == 0
    capsys.readouterr()
    for words in (["motor", "next"], ["advise", "--motor", "th-07"]):
        assert main(words) == 0
        said = capsys.readouterr().out
        assert "th-07" in said
        assert "flight broke" not in said
