"""The rehearsal: `meter emulate --weights` and `meter calibrate` against it, two real processes."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.cli.test_main import run
from winding_coach.cli.commands.emulate_weights import FAULTS, Hung, hung_from
from winding_coach.meter.calibration import SIMULATED, Calibration


def rehearsed(
    *options: str,
    fault: str | None = None,
    job: str = "calibrate",
    typed: str = "",
    meter_lines: str = "protocol",
    leaves_at: str = "",
) -> tuple[int, Any, str]:
    """Type at the emulator what the other asks for; typed: what is answered at a load instead, as 'N=words'.

    leaves_at: the number of the load at which it is left.
    """
    instead = dict(part.split("=") for part in typed.split(";") if part)
    me = [sys.executable, "-m", "winding_coach", "meter"]
    meter = subprocess.Popen(
        [*me, "emulate", "--weights", "--lines", meter_lines, "--speed", "20", *(["--fault", fault] if fault else [])],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert meter.stdin is not None
    assert meter.stdout is not None
    assert meter.stderr is not None
    device = meter.stdout.readline().strip()
    other = subprocess.Popen(
        [*me, job, device, "--json", *options],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert other.stdin is not None
    assert other.stdout is not None
    assert other.stderr is not None
    said = asked = ""
    try:
        for line in other.stderr:
            said += line
            assert said.count("ress Enter") < 40, said
            if "ress Enter" not in line:
                continue
            if " of " in line:
                asked = line
            number = line.split(" of ")[0]
            if number == leaves_at:
                other.stdin.write("q\n")
                other.stdin.flush()
                continue
            line = asked
            weight = re.search(r"(?:Load|Put on) ([\d.]+ g), (\w+)", line)
            pull = re.search(r"([\d.]+ kg) (?:straight )?from the hook(?:, leaning (\d+)° to the (\w+))?", line)
            parts = [f"{weight[1]} {weight[2]}"] if weight else []
            if pull:
                lean = f" {'-' if pull[3] == 'left' else ''}{pull[2]} deg" if pull[2] else ""
                parts.append(f"{pull[1]} pull{lean}")
            words = instead.pop(number, ", ".join(parts) or "off")
            meter.stdin.write(words + "\n")
            meter.stdin.flush()
            while not meter.stderr.readline().startswith("hangs"):
                pass
            other.stdin.write("\n")
            other.stdin.flush()
        out = other.stdout.read()
        status = other.wait(20)
        meter.stdin.close()
        assert meter.wait(20) == 0, "it ends with its input"
        return status, json.loads(out) if out else None, said
    finally:
        for process in (meter, other):
            process.kill()
            process.wait(10)
            for stream in (process.stdin, process.stdout, process.stderr):
                if stream is not None:
                    stream.close()


SHORT = (
    "--arm",
    "30 mm",
    "--arm-sd",
    "0.05 mm",
    "--masses",
    "0 g,10 g,20 g,50 g,20 g,10 g,0 g",
    "--rating",
    "29.4 mN.m",
)
PULLED = (*SHORT, "--pull-masses", "0.5 kg,1 kg")


def test_a_good_meter_with_its_cross_talk(home: Path) -> None:
    status, found, said = rehearsed(*PULLED)
    assert status == 0, said
    made = Calibration.from_json((home / "calibration.json").read_text())
    assert made.Nm_per_count == pytest.approx(SIMULATED.Nm_per_count, rel=2e-4)
    assert abs(made.more["pull"]["Nm_per_N"]) < 1e-6
    assert {"masses", "arm", "gravity", "pull of the motor"} <= set(made.more["parts_Nm"])
    assert found["dof"] > 30
    assert len(made.points) == 13, "the pulls are no points of the line"


def test_cross_talk_is_kept_in_the_file_and_the_budget(home: Path) -> None:
    status, _, said = rehearsed(*PULLED, fault="hook")
    assert status == 0, said
    made = Calibration.from_json((home / "calibration.json").read_text())
    assert made.more["pull"]["offset_m"] == pytest.approx(0.5e-3, rel=0.01)
    # 18 N, 0.5 mm, 1 degree: 0.157 mN·m at most, rectangular.
    assert made.more["parts_Nm"]["pull of the motor"] == pytest.approx(0.157e-3 / 3**0.5, rel=0.05)


@pytest.mark.parametrize(
    ("fault", "says"), [("stop", "stop"), ("creeps", "creep"), ("arms", "two directions"), ("sticks", "sticks")]
)
def test_faults_of_the_bench_are_named(home: Path, fault: str, says: str) -> None:
    status, found, said = rehearsed(
        *SHORT, "--masses", "0 g,10 g,20 g,30 g,50 g,70 g,50 g,30 g,20 g,10 g,0 g", fault=fault
    )
    assert status == 1, said
    assert says in found["faults"][0]


def test_one_load_is_taken_again_without_the_rest(home: Path) -> None:
    status, found, said = rehearsed(*SHORT, typed="3=25 g right")
    assert status == 1
    assert "20 g" in found["faults"][0], said
    status, found, said = rehearsed("--again", "3", "--arm", "30 mm", "--arm-sd", "0.05 mm", "--rating", "29.4 mN.m")
    assert status == 0, said
    assert said.count("ress Enter") == 1
    assert len(found["calibration"]["points"]) == 13


def test_a_load_that_was_not_changed_is_refused_at_once(home: Path) -> None:
    """The third load is not hung at first: it is asked for again, and the set comes out good."""
    status, _, said = rehearsed(*SHORT, typed="3=10 g right")
    assert "did not change" in said
    assert status == 0, said


def test_a_frozen_converter_is_found_by_the_check(home: Path) -> None:
    me = [sys.executable, "-m", "winding_coach", "meter"]
    command = [*me, "emulate", "--weights", "--fault", "frozen"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as meter:
        assert meter.stdout is not None
        assert meter.stdin is not None
        done = run("meter", "check", meter.stdout.readline().decode().strip(), "--seconds", "1.5")
        meter.stdin.close()
    assert done.returncode == 1
    assert "frozen" in done.stdout


@pytest.mark.parametrize(
    ("typed", "hung"),
    [
        ("off", Hung()),
        ("20 g right", Hung(20.0)),
        ("20g, left", Hung(-20.0)),
        ("1 kg pull", Hung(0.0, 1.0)),
        ("500 g pull -5 deg", Hung(0.0, 0.5, -5.0)),
        ("20 g right, 1 kg pull 5 deg", Hung(20.0, 1.0, 5.0)),
        ("20 g", None),
        ("1.2.3 g right", None),
        ("90 kg pull", None),
        ("", None),
    ],
)
def test_what_hangs_is_typed(typed: str, hung: Hung | None) -> None:
    assert hung_from(typed) == hung
    if hung is not None:
        assert hung_from(hung.words) == hung


def test_a_fault_that_is_none(home: Path) -> None:
    done = run("meter", "emulate", "--weights", "--fault", "gremlins")
    assert done.returncode == 2
    assert all(name in done.stderr for name in FAULTS)


def test_a_set_that_was_broken_off_goes_on_where_it_was(home: Path) -> None:
    """All loads were lost with it."""
    status, _, said = rehearsed(*SHORT, leaves_at="6")
    assert status == 1
    assert "The first 5 loads are kept: --resume takes the rest." in said
    status, found, said = rehearsed(*SHORT, "--resume")
    assert status == 0, said
    assert said.count("ress Enter") == 8
    assert "6 of 13" in said
    assert len(found["calibration"]["points"]) == 13
    status, _, said = rehearsed(*SHORT, "--resume")
    assert (status, "the last set is complete" in said) == (2, True)


def test_a_set_of_other_loads_is_not_gone_on_with(home: Path) -> None:
    assert rehearsed(*SHORT, leaves_at="3")[0] == 1
    status, _, said = rehearsed("--arm", "25 mm", "--masses", "0 g,10 g,20 g,0 g", "--resume")
    assert status == 2
    assert "the last set was of other loads" in said


def test_one_weight_of_two_per_cent_more_is_named_as_one(home: Path) -> None:
    """Hung once, on the way down: the bearing was blamed for it."""
    status, found, said = rehearsed(*SHORT, typed="5=20.4 g right")
    assert status == 1, said
    assert "The load '20 g, right' reads as 1.020 times itself would, once (load 5)" in found["faults"][0]


def test_a_meter_that_prints_numbers_is_calibrated(home: Path) -> None:
    status, found, said = rehearsed(*SHORT, "--lines", "plain", meter_lines="plain")
    assert status == 0, said
    made = Calibration.from_json((home / "calibration.json").read_text())
    assert made.Nm_per_count == pytest.approx(SIMULATED.Nm_per_count, rel=5e-4)
    assert len(found["calibration"]["points"]) == 13


def test_a_fault_of_a_meter_that_prints_numbers_is_named_too(home: Path) -> None:
    masses = "0 g,10 g,20 g,30 g,50 g,70 g,50 g,30 g,20 g,10 g,0 g"
    status, found, said = rehearsed(*SHORT, "--masses", masses, "--lines", "plain", meter_lines="plain", fault="stop")
    assert status == 1, said
    assert "stop" in found["faults"][0]


@pytest.mark.parametrize(
    "words", [("check", "sim"), ("calibrate", "sim", "--arm", "30 mm", "--plain"), ("conform", "sim")]
)
def test_sim_leads_to_the_rehearsal(home: Path, words: tuple[str, ...]) -> None:
    done = run("meter", *words)
    assert done.returncode == 2
    assert "run 'winding-coach meter emulate --weights' in another terminal" in done.stderr
