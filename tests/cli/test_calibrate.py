"""`meter calibrate` at a simulated bench on a real pseudo-terminal, and from points taken before."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.cli.test_main import run
from winding_coach.app.calibrations import expired
from winding_coach.live.sources.emulator import PseudoPort
from winding_coach.meter.calibration import SIMULATED, Calibration
from winding_coach.simulator.weights import WeighedMeter, WeightBench

ARM_M, GRAVITY = 0.030, 9.80665
SPEED = 20.0
"""The bench's time runs this much faster: a weight needs three seconds to come to rest."""


def at_the_bench(
    meter: WeighedMeter, *options: str, hangs: Callable[[float], float] = float, job: str = "calibrate"
) -> tuple[int, Any, str]:
    """Run a job with somebody who hangs what it asks for; hangs: what really hangs, of the grams asked."""
    bench = WeightBench(meter, np.random.default_rng(5))
    port = PseudoPort()
    ended = threading.Event()
    lock = threading.Lock()

    def drive() -> None:
        while not ended.is_set():
            with lock:
                bench.answer(port.received())
                port.send(bench.advance(0.1))
            time.sleep(0.1 / SPEED)

    thread = threading.Thread(target=drive)
    thread.start()
    command = [sys.executable, "-m", "winding_coach", "meter", job, port.device, "--json", *options]
    process = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    said = []
    try:
        assert process.stdin is not None
        assert process.stderr is not None
        for line in process.stderr:
            said.append(line)
            if "hangs still" in line:  # On a busy computer a weight may not come to rest in time: it is asked again.
                process.stdin.write("\n")
                process.stdin.flush()
                continue
            if "press Enter" not in line:
                continue
            asked = re.search(r"Load ([\d.]+) g, (\w+)", line)
            grams = hangs(float(asked.group(1))) if asked else 0.0
            side = -1 if asked and asked.group(2) == "left" else 1
            torque_Nm, weight_N, pull_N = side * grams * 1e-3 * GRAVITY * ARM_M, grams * 1e-3 * GRAVITY, 0.0
            stated = re.search(r"Load (-?[\d.]+) mN·m", line)
            if stated:
                torque_Nm, weight_N = 1e-3 * float(stated.group(1)), 0.0
            if "straight from the hook" in line:
                torque_Nm, pull_N = 0.0, GRAVITY
            elif "load the arm" in line:
                torque_Nm, weight_N = 15e-3, 0.5
            with lock:
                if "upwards" in line:
                    bench.hang(-3e-3)
                bench.hang(torque_Nm, weight_N, pull_N=pull_N)
            process.stdin.write("\n")
            process.stdin.flush()
        out = process.stdout.read() if process.stdout else ""
        return process.wait(20), json.loads(out) if out else None, "".join(said)
    finally:
        process.kill()
        process.wait(10)
        for stream in (process.stdin, process.stdout, process.stderr):
            if stream is not None:
                stream.close()
        ended.set()
        thread.join(5)
        port.unplug()


SHORT = ("--arm", "30 mm", "--masses", "0 g,20 g,50 g,20 g,0 g", "--rating", "29.4 mN.m")


def test_a_good_meter_is_calibrated_and_its_file_is_used(home: Path) -> None:
    status, found, said = at_the_bench(WeighedMeter(), *SHORT, "--name", "Bench 2", "--report", str(home / "page.html"))
    assert status == 0, said
    assert found["findings"] == []
    made = Calibration.from_json((home / "calibration.json").read_text())
    assert made.meter == "Bench 2"
    assert made.Nm_per_count == pytest.approx(SIMULATED.Nm_per_count, rel=2e-4)
    assert made.zero_counts == pytest.approx(SIMULATED.zero_counts, abs=60)
    assert made.rating_Nm == pytest.approx(29.4e-3)
    assert len(made.points) == 9
    kept = made.more["repeats"]
    assert kept["pairs"] >= 160
    assert kept["equal"] < 0.05 * kept["pairs"], "its noise of hundreds of counts hardly repeats a value"
    assert len(list((home / "calibrations").glob("*-Bench-2.json"))) == 1
    page = (home / "page.html").read_text()
    assert "Nothing was found wrong" in page
    assert page.count("<circle") + page.count('fill="none" stroke="#111111"') >= 9


def test_a_sticking_bearing_and_a_pull_off_the_axis_are_judged_rightly(home: Path) -> None:
    status, found, _ = at_the_bench(WeighedMeter(sticks_Nm=60e-6), *SHORT)
    assert status == 1
    assert any("bearing sticks" in words for words in found["faults"])
    assert found["file"] is None
    assert not (home / "calibration.json").exists()
    status, found, _ = at_the_bench(WeighedMeter(arms_off_m=0.5e-3), *SHORT)
    assert status == 1
    assert any("go through the axis" in words for words in found["faults"])
    # Half a millimetre on 30 mm: the right side reads 1.7 % more, the left as much less.
    assert found["arms_differ"] == pytest.approx(2 * 0.5 / 30, rel=0.02)


def test_another_weight_than_the_one_asked_for_is_named(home: Path) -> None:
    status, found, _ = at_the_bench(
        WeighedMeter(),
        "--arm",
        "30 mm",
        "--masses",
        "0 g,10 g,20 g,50 g,70 g,0 g",
        hangs=lambda g: 25.0 if g == 20 else g,
    )
    assert status == 1
    assert len(found["faults"]) == 1
    assert "'20 g" in found["faults"][0]


def test_trials_of_a_good_meter(home: Path) -> None:
    status, found, said = at_the_bench(WeighedMeter(), "--tests", "pull,release,crank", job="check")
    assert status == 0, said
    assert [(trial["name"], trial["passed"]) for trial in found["trials"]] == [
        ("pull", True),
        ("release", True),
        ("crank", None),
    ]


def test_trials_of_a_meter_that_sticks_and_pulls_off_its_axis(home: Path) -> None:
    meter = WeighedMeter(sticks_Nm=60e-6, pull_Nm_per_N=0.2e-3)
    status, found, _ = at_the_bench(meter, "--tests", "pull,release", job="check")
    assert status == 1
    pull, release = found["trials"]
    assert pull["passed"] is False
    # 1 kg at 0.2 mN·m per newton, less what the bearing holds back.
    assert pull["figures"]["moved_Nm"] == pytest.approx(9.80665 * 0.2e-3 - 60e-6 - 30e-6, abs=40e-6)
    assert "stay behind" in release["words"]


@pytest.mark.parametrize(
    ("words", "says"),
    [(["--tests", "push"], "no trial 'push'"), (["--tests", "pull", "--pull-mass", "1 t"], "--pull-mass")],
)
def test_trials_that_are_none(home: Path, words: list[str], says: str) -> None:
    done = run("meter", "check", "PORT", *words)
    assert done.returncode == 2
    assert says in done.stderr


@pytest.mark.parametrize(
    ("until", "old"), [("2026-03-01", False), ("2026-02-28", True), (None, False), (7, False), ("soon", False)]
)
def test_a_calibration_expires(until: object, old: bool) -> None:
    words = expired(replace(SIMULATED, more={"expires": until}), date(2026, 3, 1))
    assert (words is not None) == old


def test_a_reference_torque_in_place_of_weights(home: Path) -> None:
    out = str(home / "by-reference.json")
    torques = "0 mN.m,5 mN.m,10 mN.m,5 mN.m,0 mN.m,-5 mN.m,-10 mN.m"
    status, found, said = at_the_bench(WeighedMeter(), "--torques", torques, "--rating", "29 mN.m", "--out", out)
    assert status == 0, said
    assert found["file"] == out
    assert [point["torque_Nm"] for point in found["calibration"]["points"]] == [0, 5e-3, 10e-3, 5e-3, 0, -5e-3, -10e-3]
    assert found["calibration"]["Nm_per_count"] == pytest.approx(SIMULATED.Nm_per_count, rel=2e-4)


def test_a_wind_says_that_its_calibration_is_too_old(home: Path, tmp_path: Path) -> None:
    path = tmp_path / "old.json"
    path.write_text(replace(SIMULATED, more={"expires": "2020-01-01"}).to_json())
    motor = ["--loop", "30 cm", "--mass", "1.40 g", "--hooks", "22 cm", "--headless"]
    command = [
        sys.executable,
        "-m",
        "winding_coach",
        "wind",
        "--port",
        "/dev/nonsuch",
        "--calibration",
        str(path),
        *motor,
    ]
    done = subprocess.run(command, input="quit\n", capture_output=True, text=True, timeout=60, check=False)
    assert "good until 2020-01-01" in done.stderr


def write_points(path: Path, rows: list[tuple[float, float]]) -> Path:
    path.write_text("torque_mNm,counts\n" + "".join(f"{torque},{counts}\n" for torque, counts in rows))
    return path


GOOD = [(torque, 84_200 + 72_994 * torque) for torque in (0, 2.942, 5.884, 14.71, 5.884, 2.942, 0, -2.942, -14.71, 0)]


def test_points_taken_before(home: Path, tmp_path: Path) -> None:
    path = write_points(tmp_path / "points.csv", GOOD)
    done = run("meter", "calibrate", "--points", str(path), "--rating", "29.4 mN.m")
    assert done.returncode == 0, done.stderr
    assert re.search(r"counts for 1 mN·m +72,994\.0", done.stdout)
    assert "Kept as" in done.stdout


def test_old_calibrations_stay(home: Path, tmp_path: Path) -> None:
    home.mkdir()
    (home / "calibration.json").write_text("by hand")
    for torques in (GOOD, [(torque, counts * 2) for torque, counts in GOOD]):
        path = write_points(tmp_path / "points.csv", torques)
        assert run("meter", "calibrate", "--points", str(path), "--rating", "29 mN.m", "--name", "a/b").returncode == 0
        time.sleep(1.05 if torques is GOOD else 0)
    kept = [path.read_text() for path in (home / "calibrations").glob("*.json")]
    assert len(kept) == 3
    assert "by hand" in kept
    assert (home / "calibration.json").read_text() in kept


def test_what_is_wrong_is_kept_on_request(home: Path, tmp_path: Path) -> None:
    rows = [(torque, counts + (8000 if i in (4, 5) else 0)) for i, (torque, counts) in enumerate(GOOD)]
    path = write_points(tmp_path / "points.csv", rows)
    refused = run("meter", "calibrate", "--points", str(path))
    assert refused.returncode == 1
    assert "Not kept" in refused.stdout
    out = tmp_path / "kept.json"
    kept = run("meter", "calibrate", "--points", str(path), "--force", "--out", str(out))
    assert kept.returncode == 0
    assert "bearing" in Calibration.from_json(out.read_text()).remarks
    assert not (home / "calibration.json").exists()


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        (["--arm", "30 mm"], 2, "Name the meter's port"),
        (["PORT"], 2, "--arm"),
        (["PORT", "--arm", "30 kg"], 2, "--arm"),
        (["PORT", "--arm", "3 m"], 2, "between 1 mm and 1 m"),
        (["PORT", "--arm", "30 mm", "--masses", "0 g,-5 g"], 2, "below zero"),
        (["PORT", "--arm", "30 mm", "--masses", "0 g,x"], 2, "--masses"),
        (["PORT", "--arm", "30 mm", "--masses", "0 g,20 g", "--sides", "left"], 2, "3 different loads"),
        (["PORT", "--arm", "30 mm", "--rating", "0 mN.m"], 2, "above zero"),
        (["PORT", "--arm", "30 mm", "--valid-months", "soon"], 2, "--valid-months"),
        (["PORT", "--torques", "0, 5 furlong"], 2, "--torques"),
        (["/dev/nonsuch", "--arm", "30 mm"], 1, "cannot be read"),
        (["--points", "/nonsuch.csv"], 1, "cannot be read"),
    ],
)
def test_wrong_use_is_said_in_one_sentence(home: Path, words: list[str], status: int, says: str) -> None:
    done = run("meter", "calibrate", *words)
    assert done.returncode == status
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert len(done.stderr.strip().splitlines()) <= 2


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("torque_mNm,counts\n1,x\n", "line 2"),
        ("a,b\n1,2\n", "line 2"),
        ("torque_mNm,counts\n1,nan\n", "line 2"),
        ("torque_mNm,counts\n0,1\n1,2\n", "different loads"),
        ("", "different loads"),
    ],
)
def test_points_that_are_none(home: Path, tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "points.csv"
    path.write_text(text)
    done = run("meter", "calibrate", "--points", str(path))
    assert done.returncode == 1
    assert says in done.stderr
