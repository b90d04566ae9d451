"""`advise` as it is typed, on a real shelf."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.review.flying import ORINGS_KG, Flyer, Size
from winding_coach.cli import main
from winding_coach.shelf.records import Motor
from winding_coach.shelf.store import SHELF_FILE, Shelf
from winding_coach.simulator.flights import SimulatedModel

pytestmark = pytest.mark.usefixtures("hurried_disk")
SIMULATED = SimulatedModel("Thistledown", mass_kg=2.0e-3, radius_m=0.16)
SIZE = Size(0.51, 1.9e-3, 2.6e-3)


def shelved(home: Path, flights: int, *, motor: bool = True, model: bool = True) -> None:
    """Put flights with too long a motor on the shelf."""
    flyer = Flyer(SIMULATED, np.random.default_rng(1))
    home.mkdir(exist_ok=True)
    with Shelf(home / SHELF_FILE) as shelf:
        if motor:
            shelf.add(Motor("th-07", 0.52, 2.0e-3, ORINGS_KG, remarks="smooth"))
        if model:
            shelf.add(flyer.shelf_model)
        for _ in range(flights):
            wind, flight = flyer.fly(SIZE)
            shelf.log(wind)
            shelf.fly(flight)


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["advise", *words]) == 0, capsys.readouterr().err
    return capsys.readouterr().out


def as_object(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    return json.loads(said(capsys, *words, "--json"))


def test_on_an_empty_shelf_it_says_what_to_log(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = said(capsys)
    assert "Log winds first" in out
    assert as_object(capsys)["advice"][0]["topic"] == "log"


def test_it_takes_who_flew_last_and_says_what_it_rests_on(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shelved(home, 4)
    out = said(capsys)
    assert out.startswith("Advice for Wren with Thistledown.\nBased on a fit of 4 flights")
    plain = " ".join(out.split())
    assert "1. Make the loop shorter at the same linear density" in plain
    assert "Duration +" in out
    assert "Its plan: winding-coach plan --loop '" in plain
    assert "Wind th-07 to 90% of its breaking turns next, its fifth wind" in plain or "its 5th wind" in plain
    assert max(len(line) for line in out.splitlines()) <= 80


def test_the_plan_that_it_names_can_be_asked_for(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import shlex

    shelved(home, 3)
    typed = said(capsys).split("Its plan:")[1].replace("\\\n", " ").strip().splitlines()[0]
    words = shlex.split(typed.removeprefix("winding-coach "))
    assert main(words) == 0


def test_short_names_and_names_that_only_winds_know(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shelved(home, 3, model=False)
    found = as_object(capsys, "--person", "Wren", "--model", "Thistledown", "--motor", "th")
    assert (found["person"], found["model"], found["motor"]) == ("Wren", "Thistledown", "th-07")
    # The model is not on the shelf, so its mass is not known.
    assert found["flight_law"] is None
    assert any("Weigh the model" in one["do"] for one in found["advice"])


def test_one_flight_gets_rules_of_thumb(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shelved(home, 1, motor=False)
    out = said(capsys, "--model", "Thi", "--units", "inch")
    assert "rules of thumb (common practice, no source): 1 flight " in out
    assert " in instead of " in " ".join(out.split())
    assert "(a guess from scaling laws)" in " ".join(out.split())
    assert as_object(capsys)["motor"] is None


def test_a_ceiling_may_be_given(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shelved(home, 3)
    low, high = (as_object(capsys, "--ceiling", ceiling)["flight_law"] for ceiling in ("4 m", "12 m"))
    assert low != high
    assert main(["advise", "--ceiling", "4 cm"]) == 2
    assert "no hall" in capsys.readouterr().err


def test_somebody_who_never_flew(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shelved(home, 3)
    assert "Log winds first" in said(capsys, "--person", "Juno")


def test_an_unknown_motor_is_said(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shelved(home, 1)
    assert main(["advise", "--motor", "zz"]) == 1
    assert "There is no motor 'zz'" in capsys.readouterr().err
