"""`batch`: what was put into simulated winds comes out of their traces; what they cannot tell is said."""

from __future__ import annotations

import json
import math
import os
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.cli.test_main import run
from winding_coach.base.inputs import BytesArrived, KeyPressed, LinkUp
from winding_coach.cli import main
from winding_coach.meter.calibration import SIMULATED
from winding_coach.rubber.figures import ModelFigures, MotorFigures, WinderFigures
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.plan import make_plan
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.hands import STYLES, ScriptedHands
from winding_coach.simulator.motor import SimulatedMotor
from winding_coach.traces.files import Trace, TraceWriter, read_trace
from winding_coach.traces.header import Header

TH_07 = MotorFigures(loop_m=0.30, mass_kg=1.40e-3, orings_kg=0.08e-3, name="th-07")
WINDER, THISTLEDOWN = WinderFigures(10.0), ModelFigures(0.22, name="Thistledown")
PLAN = make_plan(TH_07, WINDER, THISTLEDOWN)


def simulated_trace(
    folder: Path,
    style: str = "good",
    channels: str = "c",
    torque_scale: float = 1.0,
    strength_u: float = 0.5,
    key: str | None = None,
) -> str:
    """A wind at twenty lines a second, written as a trace; returns its path. key: pressed at its end."""
    rng = np.random.default_rng(4)
    motor = SimulatedMotor(TH_07, torque_scale=torque_scale, strength_u=strength_u)
    hands = ScriptedHands(PLAN, TH_07, WINDER, STYLES[style], rng)
    bench = Bench(motor, hands, WINDER.ratio, MeterModel(lines_per_s=20.0, channels=channels), rng)
    header = Header(
        id="1",
        started=datetime(2026, 3, 7, 10, tzinfo=UTC),
        calibration=SIMULATED,
        motor=TH_07,
        winder=WINDER,
        model=THISTLEDOWN,
        plan=PLAN,
    )
    writer = TraceWriter(folder, header)
    writer.input(LinkUp(0.0, "simulated"))
    at_s = 0.0
    while not bench.done and at_s < 400:
        at_s = round(at_s + 0.1, 6)
        data = bench.advance(0.1)
        if data:
            writer.input(BytesArrived(at_s, data))
    if key is not None:
        writer.input(KeyPressed(at_s, key))
    writer.close()
    return str(writer.path)


@pytest.fixture(scope="module")
def traces(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("traces")
    return {
        "stiff": simulated_trace(folder, torque_scale=1.08),
        "broke": simulated_trace(folder, "overwind", channels="cd", strength_u=0.9, key="broke"),
        "unsaid": simulated_trace(folder, "overwind", channels="cd", strength_u=0.9),
        "uncounted": simulated_trace(folder, channels=""),
    }


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("WINDING_COACH_HOME", str(tmp_path))
    return tmp_path


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["batch", *words]) == 0
    return capsys.readouterr().out


def as_object(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    return json.loads(said(capsys, *words, "--json"))


def refused(capsys: pytest.CaptureFixture[str], status: int, *words: str) -> str:
    assert main(["batch", *words]) == status
    out, error = capsys.readouterr()
    assert out == ""
    assert error.count("\n") == 1
    return error


def test_a_break_that_nobody_confirmed_tells_nothing_of_strength(
    capsys: pytest.CaptureFixture[str], traces: dict[str, str]
) -> None:
    """A motor that came off the hook counted as one that broke."""
    found = as_object(capsys, "fit", "amber", traces["stiff"], traces["unsaid"])
    assert found["winds"][0]["wound"]["broke"] is False
    assert found["winds"][1]["wound"] is None
    assert "it is not logged whether the motor broke" in " ".join(found["winds"][1]["remarks"])


def test_a_break_that_is_confirmed_afterwards_counts(
    capsys: pytest.CaptureFixture[str], home: Path, traces: dict[str, str]
) -> None:
    kept = home / "traces" / Path(traces["unsaid"]).name
    kept.parent.mkdir()
    shutil.copy(traces["unsaid"], kept)
    os.utime(kept, (1e9, 1e9))  # or it might still be written
    assert main(["flight", "broke"]) == 0
    capsys.readouterr()
    found = as_object(capsys, "fit", "amber", traces["stiff"], str(kept))
    assert found["winds"][1]["wound"]["broke"] is True


def test_scale_and_strength_come_out_of_the_traces(capsys: pytest.CaptureFixture[str], traces: dict[str, str]) -> None:
    found = as_object(capsys, "fit", "amber", traces["stiff"], traces["broke"])
    stiff, broke = found["winds"]
    assert stiff["scale"]["scale"] == pytest.approx(1.08, rel=0.02)
    assert stiff["scale"]["rms"] < 0.03
    assert stiff["wound"]["broke"] is False
    # A motor 8 % stiffer than planned shows the peak's torque earlier, and there its hands stopped.
    path = PlanPath(PLAN, TH_07)
    stopped = path.turns_at_torque(PLAN.peak_torque_Nm / 1.08)
    assert stopped is not None
    assert stiff["wound"]["stretch"] == pytest.approx(path.stretch_at_worst(stopped, 0.22), rel=0.01)
    # A weak motor: a tenth of all would break before it (Weibull, shape 45). The trace's figure supposes an even
    # walk-in; the hands' steps loosened the knots by a further 1.4 %, and turns are counted in tens.
    assert broke["wound"]["broke"] is True
    strength = 9.61 * (-math.log(0.9) / math.log(2)) ** (1 / 45)
    assert -0.025 < broke["wound"]["stretch"] / strength - 1 < 0.003
    assert broke["scale"]["scale"] == pytest.approx(1.0, rel=0.02)
    assert as_object(capsys, "show", "amber")["wound"] == [stiff["wound"], broke["wound"]]
    (listed,) = as_object(capsys, "list")["batches"]
    assert (listed["name"], listed["fitted"]) == ("amber", True)


def test_a_motor_of_the_law_itself_is_learned_as_such(
    capsys: pytest.CaptureFixture[str], traces: dict[str, str]
) -> None:
    """A motor taken off its hook is no unwinding, and steps of the walk-in between two counts are no hysteresis: once
    each made the rubber three times as lossy."""
    found = as_object(capsys, "fit", "amber", traces["stiff"], traces["broke"])
    assert {"stiffness", "hysteresis"} <= set(found["learned"]["told"])
    for name, one in found["properties"].items():
        assert one["low"] < 1.0 < one["high"] or one["value"] == pytest.approx(1.0, rel=0.06), name
    assert "softening" in found["not_told"]
    assert sum(found["looseness"].values()) == pytest.approx(1.0)


def test_the_text_shows_fits_and_residuals(capsys: pytest.CaptureFixture[str], traces: dict[str, str]) -> None:
    assert "no batches in use" in said(capsys, "list")
    text = said(capsys, "fit", "amber", traces["stiff"], traces["uncounted"])
    assert "misfit" in text
    assert "held" in text
    assert "no usable data" in text
    assert "No turns were counted" in text
    assert "by your winds: stiffness" in text
    assert " from 1 wind, strength from 0 breaks and 1 survivor" in text
    assert "Not shown by these winds" in text
    assert "relaxation: a stop of a minute at full stretch" in text
    assert "Kept as" in text
    assert said(capsys, "show", "amber") in text
    assert said(capsys, "list").split() == ["name", "fitted", "amber", "fitted"]
    text = said(capsys, "fit", "amber", traces["broke"])
    assert "broke" in text


def test_the_set_from_measured_loops(capsys: pytest.CaptureFixture[str], traces: dict[str, str]) -> None:
    loops = "30.0cm, 30.9cm, 31.2cm"
    text = said(capsys, "fit", "amber", traces["stiff"], traces["broke"], "--loops", loops)
    assert "Permanent set" in text
    assert as_object(capsys, "show", "amber")["set_limit"] == pytest.approx(0.045, abs=0.01)
    assert "3 lengths" in refused(capsys, 2, "fit", "b", traces["stiff"], traces["broke"], "--loops", "30cm")
    assert "--loops" in refused(capsys, 2, "fit", "b", traces["stiff"], "--loops", "30cm, long")
    assert "measuring error" in refused(capsys, 1, "fit", "b", traces["stiff"], "--loops", "30cm, 30.05cm")
    assert "does not show" in refused(capsys, 1, "fit", "b", traces["uncounted"], "--loops", "30cm, 31cm")


def test_a_torque_that_does_not_follow_the_law_is_said(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, traces: dict[str, str]
) -> None:
    strange = simulated_trace(tmp_path, torque_scale=0.15)
    text = said(capsys, "fit", "amber", traces["stiff"], strange)
    assert "nowhere near" in text


def test_what_cannot_be_is_refused_in_one_line(
    capsys: pytest.CaptureFixture[str], home: Path, traces: dict[str, str]
) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["batch", "show"])
    capsys.readouterr()
    refused(capsys, 2, "fit", "amber")
    refused(capsys, 2, "fit", "../amber", traces["stiff"])
    assert "no batch" in refused(capsys, 1, "show", "amber")
    assert "no trace" in refused(capsys, 1, "fit", "amber", "nothing.wind.jsonl")
    assert "show nothing" in refused(capsys, 1, "fit", "amber", traces["uncounted"])
    odd = home / "odd.json"
    odd.write_text('{"format": "winding-coach batch", "version": 1, "torque_scales": [50]}')
    assert "torque scale" in refused(capsys, 1, "show", str(odd))
    (home / "batches").write_text("in the way")
    assert "cannot be kept" in refused(capsys, 1, "fit", "amber", traces["stiff"])


def test_a_batch_on_the_shelf_shows_with_what_its_winds_tell(
    capsys: pytest.CaptureFixture[str], traces: dict[str, str]
) -> None:
    said(capsys, "add", "amber", "--received", "2026-01-10", "--density", "2.19 g/m, 2.2 g/m")
    assert as_object(capsys, "show", "am")["densities_kg_per_m"] == pytest.approx([2.19e-3, 2.2e-3])
    assert "has not been fitted" in refused(capsys, 1, "show", "am", "--picture", "amber.svg")
    said(capsys, "fit", "amber", traces["stiff"])
    shown = as_object(capsys, "show", "am")
    assert shown["received"] == "2026-01-10"
    assert len(shown["torque_scales"]) == 1
    (listed,) = as_object(capsys, "list")["batches"]
    assert (listed["received"], listed["fitted"]) == ("2026-01-10", True)
    text = said(capsys, "show", "amber")
    assert "densities 2.190 g/m, 2.200 g/m" in text
    assert "Breaking turns" in text


def test_a_fit_takes_the_shelfs_winds_of_the_batch(
    capsys: pytest.CaptureFixture[str], home: Path, traces: dict[str, str]
) -> None:
    (home / "traces").mkdir()
    shutil.copy(traces["stiff"], home / "traces")
    spoilt = home / "traces" / "spoilt.wind.jsonl"
    spoilt.write_bytes(Path(traces["broke"]).read_bytes().replace(b'"id":"1"', b'"id":"2"') + b"?\n")
    for path in (home / "traces").iterdir():
        os.utime(path, (1e9, 1e9))
    assert "none of 'amber' is on the shelf" in refused(capsys, 2, "fit", "amber")
    for wind in ("1", "2"):
        assert main(["shelf", "note", wind, "--batch", "amber"]) == 0
    capsys.readouterr()
    found = as_object(capsys, "fit", "amber")
    assert len(found["winds"]) == 2
    assert found["torque_scales"] == [pytest.approx(1.08, rel=0.02)]
    assert any("is not JSON" in remark for one in found["winds"] for remark in one["remarks"])
    assert "--loops" in refused(capsys, 2, "fit", "amber", "--loops", "30 cm, 31 cm")


def test_the_picture_of_a_batch(capsys: pytest.CaptureFixture[str], tmp_path: Path, traces: dict[str, str]) -> None:
    said(capsys, "fit", "amber", traces["stiff"], traces["broke"])
    picture = tmp_path / "amber.svg"
    said(capsys, "show", "amber", "--picture", str(picture))
    assert "Batch amber" in picture.read_text(encoding="utf-8")
    assert "must end in" in refused(capsys, 2, "show", "amber", "--picture", "amber.png")
    assert "cannot be written" in refused(capsys, 1, "show", "amber", "--picture", str(tmp_path / "no" / "a.svg"))
    odd = tmp_path / "odd.json"
    odd.write_text('{"format": "winding-coach batch", "version": 1, "wound": [{"stretch": 99, "broke": true}]}')
    assert "cannot be" in refused(capsys, 1, "show", str(odd), "--picture", str(picture))


def crank_turns_at_the_top(trace: Trace) -> int:
    """The meter's count where its reading was highest: a quick back-off may be counted as turns on by the coach."""
    sent = b"".join(one.data for one in trace.inputs if isinstance(one, BytesArrived)).decode("ascii", "replace")
    rows = [line.partition("*")[0].split(",") for line in sent.split("\r\n") if line.startswith("$D,")]
    return int(max(rows, key=lambda row: int(row[3]))[5].removeprefix("c="))


def test_every_command_that_takes_a_motor_takes_its_batch(
    capsys: pytest.CaptureFixture[str], home: Path, traces: dict[str, str]
) -> None:
    said(capsys, "fit", "amber", traces["stiff"])
    rests_on = as_object(capsys, "show", "amber")["rests_on"]
    motor = ("--loop", "30 cm", "--mass", "1.40 g", "--orings", "0.08 g", "--hooks", "22 cm", "--batch", "amber")
    assert main(["plan", *motor, "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert plan["rests_on"] == rests_on
    assert plan["peak_torque_Nm"] > 1.02 * PLAN.peak_torque_Nm
    for number, words in enumerate(
        (("practice", "--script", "good"), ("wind", "--port", "sim", "--sim-script", "good", "--sim-speed", "5"))
    ):
        own = home / str(number)
        own.mkdir()
        shutil.copytree(home / "batches", own / "batches")
        speed = ("--speed", "max") if words[0] == "practice" else ()
        done = run(*words, *speed, *motor, "--headless", "--json", "--home", str(own))
        assert done.returncode == 0, done.stderr
        (file,) = (own / "traces").glob("*.wind.jsonl")
        trace = read_trace(file)
        assert trace.header.plan is not None
        assert trace.header.plan.rests_on == rests_on
        assert trace.header.plan.peak_torque_Nm == pytest.approx(plan["peak_torque_Nm"])
        # The simulated motor is of that rubber too: the default's would need more turns to that torque.
        assert crank_turns_at_the_top(trace) * 10.0 == pytest.approx(plan["target_turns"], rel=0.03)
    for words in (("practice", "--headless"), ("meter", "emulate"), ("wind", "--port", "sim", "--headless")):
        assert main([*words, *motor[:-1], "nowhere"]) == 1
        assert "There is no batch 'nowhere'" in capsys.readouterr().err
