"""A wind picks its motor from the shelf, knows which use it is, and logs itself, killed or not."""

from __future__ import annotations

import argparse
import json
import os
import signal
from pathlib import Path

import pytest

from tests.cli.test_coaching import Processes, lines_until, start
from tests.cli.test_main import run
from tests.test_indexing import make_trace
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.cli import main
from winding_coach.cli.args.from_shelf import ResolvedNames, after_the_wind, pick
from winding_coach.shelf.records import Batch, Model, Motor, Person, Winder
from winding_coach.shelf.store import Shelf
from winding_coach.traces.files import read_trace

OPTIONS = (
    *("motor", "loop", "mass", "orings", "strands", "use", "share", "batch", "ratio", "winder", "winder_limit"),
    *("hooks", "model", "launch_torque", "person", "units", "hand"),
)


def stocked(home: Path) -> None:
    with Shelf(home / "shelf.sqlite") as shelf:
        shelf.add(Batch("amber"))
        shelf.add(Motor("th-07", 0.30, 1.40e-3, 0.08e-3, batch="amber"))
        shelf.add(Motor("th-08", 0.31, 1.45e-3, 0.08e-3, uses_before=1))
        shelf.add(Motor("old", 0.31, 1.45e-3, state="broken"))
        shelf.add(Winder("ten", 10.0, 0.05))
        shelf.add(Model("Thistledown", 0.22, launch_torque_Nm=3.4e-3))
        shelf.add(Person("Wren"))


def picked(
    home: Path, *, simulated: bool = False, winding: bool = True, **given: str
) -> tuple[ResolvedNames, dict[str, str]]:
    """What comes of the options given: what was picked, and the options that are set then."""
    args = argparse.Namespace(**dict.fromkeys(OPTIONS))
    for name, value in given.items():
        setattr(args, name, value)
    found = pick(args, Home(home, {}), simulated=simulated, winding=winding)
    return found, {name: value for name, value in vars(args).items() if value is not None}


@pytest.mark.usefixtures("hurried_disk")
def test_names_bring_their_figures(home: Path) -> None:
    stocked(home)
    found, args = picked(home, motor="TH-07", winder="t", model="Thi", person="wr")
    assert args == {
        "motor": "th-07",
        "loop": "0.3 m",
        "mass": "0.0014 kg",
        "orings": "8e-05 kg",
        "strands": "2",
        "use": "1",
        "ratio": "10",
        "winder": "t",
        "winder_limit": "0.05 N.m",
        "model": "Thistledown",
        "hooks": "0.22 m",
        "launch_torque": "0.0034 N.m",
        "person": "Wren",
    }
    assert found.more == {"shelf": {"batch": "amber", "winder": "ten"}}
    assert found.said == ("Motor th-07, wind 1: 80% of breaking turns.",)


@pytest.mark.usefixtures("hurried_disk")
def test_what_is_given_overrides(home: Path) -> None:
    stocked(home)
    found, args = picked(home, motor="th-08", loop="30 cm", use="3", share="70", winder="ten", ratio="12", batch="x")
    assert (args["loop"], args["mass"], args["use"], args["ratio"]) == ("30 cm", "0.00145 kg", "3", "12")
    assert found.more == {"shelf": {"batch": "x", "winder": "ten"}}
    assert found.said == (
        "Motor th-08 is 30.0 cm long now, 31.0 cm on the shelf: 'motor edit th-08 --loop \"30 cm\"' keeps it there.",
    )


@pytest.mark.usefixtures("hurried_disk")
def test_the_use_is_counted_from_the_shelf(home: Path) -> None:
    stocked(home)
    assert picked(home, motor="th-08")[0].said == ("Motor th-08, wind 2: 85% of breaking turns.",)
    make_trace(home / "traces", 1)
    make_trace(home / "traces", 2, meter="simulated")
    assert picked(home, motor="th-07")[1]["use"] == "2"
    assert picked(home, motor="th-07", simulated=True)[0].said == ("Motor th-07, wind 3: 90% of breaking turns.",)


@pytest.mark.usefixtures("hurried_disk")
def test_names_that_are_not_on_the_shelf_are_as_before(home: Path) -> None:
    assert picked(home, motor="x", model="y", person="z")[1] == {"motor": "x", "model": "y", "person": "z"}
    stocked(home)
    # Given whole, a name that begins one of the shelf's is another motor's.
    args = picked(home, motor="th-0", loop="30 cm", mass="1.4 g", model="Thi", hooks="21 cm")[1]
    winder = {"winder": "ten", "ratio": "10", "winder_limit": "0.05 N.m"}  # The only one on the shelf.
    assert args == {"motor": "th-0", "loop": "30 cm", "mass": "1.4 g", "model": "Thi", "hooks": "21 cm", **winder}
    assert picked(home, winder="mine", ratio="9")[0].more == {"shelf": {"winder": "mine"}}


@pytest.mark.usefixtures("hurried_disk")
def test_a_name_that_may_be_misspelt_is_doubted_once_there_are_others(home: Path) -> None:
    assert picked(home, motor="x", loop="30 cm", mass="1.4 g", model="Thistledwon", person="Wrne")[0].doubts == ()
    stocked(home)
    doubts = picked(home, motor="th-07", model="Thistledwon", person="Wrne")[0].doubts
    assert ["Thistledwon" in doubts[0], "Wrne" in doubts[1], len(doubts)] == [True, True, 2]
    assert picked(home, motor="th-07", model="thistle", person="wr")[0].doubts == ()
    assert picked(home, motor="th-07", model="another", hooks="21 cm")[0].doubts == (), "with its hooks it is known"


@pytest.mark.usefixtures("hurried_disk")
def test_what_cannot_be_meant_is_said(home: Path) -> None:
    with pytest.raises(UsageProblem, match="no winder 'ten' on the shelf: give its --ratio"):
        picked(home, winder="ten")
    stocked(home)
    with pytest.raises(UsageProblem, match="'th' may be th-07, th-08"):
        picked(home, motor="th")
    with pytest.raises(UsageProblem, match="no winder 'x'"):
        picked(home, winder="x")
    with pytest.raises(Problem, match="Motor old is broken: take another"):
        picked(home, motor="old")
    assert picked(home, motor="old", winding=False)[1]["loop"] == "0.31 m"


@pytest.mark.usefixtures("hurried_disk")
def test_a_plan_takes_a_motor_from_the_shelf(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stocked(home)
    assert main(["plan", "--motor", "th-07", "--model", "Th", "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert (plan["figures"]["motor"].pop("name"), plan["figures"]["model"].pop("name")) == ("th-07", "Thistledown")
    words = ("--loop", "30 cm", "--mass", "1.4 g", "--orings", "0.08 g", "--hooks", "22 cm")
    assert main(["plan", *words, "--launch-torque", "3.4 mN.m", "--json"]) == 0
    typed = json.loads(capsys.readouterr().out)
    assert (typed["figures"]["motor"].pop("name"), typed["figures"]["model"].pop("name")) == (None, None)
    assert typed == plan


def test_winds_log_themselves_finished_or_killed(home: Path, processes: Processes) -> None:
    """The real program: a wind, then one that is killed in mid-wind; the next start finds it."""
    stocked(home)
    words = (
        "wind",
        "--port",
        "sim",
        "--sim-script",
        "good",
        "--sim-speed",
        "5",
        "--motor",
        "th-07",
        "--winder",
        "ten",
        "--model",
        "Th",
    )
    done = run(*words, "--person", "Wren", "--headless", "--json")
    assert done.returncode == 0, done.stderr
    assert "Motor th-07, wind 1: 80% of breaking turns." in done.stderr
    assert "On the shelf as wind" in done.stderr
    with Shelf(home / "shelf.sqlite") as shelf:
        (first,) = shelf.winds()
    assert (first.motor, first.batch, first.winder, first.model) == ("th-07", "amber", "ten", "Thistledown")
    assert (first.person, first.use, first.share, first.simulated) == ("Wren", 1, 0.80, True)
    summary = read_trace(home / "traces" / first.trace).summary
    assert summary is not None
    assert first.outcome == summary["outcome"]
    killed = start(processes, *words, "--headless", "--json")
    lines_until(killed, '"walk_in"')
    killed.send_signal(signal.SIGKILL)
    killed.wait(10)
    (trace,) = set((home / "traces").iterdir()) - {home / "traces" / first.trace}
    os.utime(trace, (1e9, 1e9))
    listed = run("shelf", "winds", "--json")
    assert "was not closed" in listed.stderr
    winds = json.loads(listed.stdout)["winds"]
    assert [wind["outcome"] for wind in winds] == ["open", first.outcome]
    assert (winds[0]["use"], winds[0]["share"]) == (2, 0.85)
    assert winds[0]["peak_turns"] > 100


@pytest.mark.usefixtures("hurried_disk")
def test_a_motor_that_is_not_on_the_shelf_is_offered_a_place(home: Path) -> None:
    trace = make_trace(home / "traces")
    args = argparse.Namespace(loop="30 cm", mass="1.40 g", orings=None)
    after, offer = after_the_wind(args, Home(home, {}), trace)
    assert after.endswith("winding-coach flight 6:52 --left 180 --wind 00000001")
    assert offer.endswith("winding-coach motor add 'th-07' --loop '30 cm' --mass '1.40 g'")


def test_a_shelf_in_trouble_costs_no_wind(home: Path) -> None:
    trace = make_trace(home / "traces")
    (home / "shelf.sqlite").write_text("no database, but long enough to be one" * 30)
    with pytest.raises(Problem, match="is no shelf"):
        picked(home, motor="th-07")
    found, args = picked(home, motor="th-07", loop="30 cm", mass="1.4 g")
    assert "Continuing without the shelf" in found.said[0]
    assert args["loop"] == "30 cm"
    (said,) = after_the_wind(argparse.Namespace(), Home(home, {}), trace)
    assert "is no shelf" in said
    assert "The next start logs" in said
