"""`ready`: what works on this computer, and for whatever does not, what to do."""

from __future__ import annotations

import grp
import json
import os
import tty
from pathlib import Path
from typing import Any

import pytest

from tests.cli.test_coaching import Processes, start
from winding_coach.app.readiness import EXTRAS, permission
from winding_coach.cli import main
from winding_coach.live.sources.ports import Port
from winding_coach.meter.calibration import SIMULATED


def found(capsys: pytest.CaptureFixture[str], *words: str, status: int = 0) -> dict[str, dict[str, Any]]:
    """The findings by name (the last of a name); the command must end with this status."""
    capsys.readouterr()
    assert main(["ready", "--json", *words]) == status
    result = json.loads(capsys.readouterr().out)
    assert result["ready"] == (status == 0)
    for finding in result["findings"]:
        assert finding["state"] in ("works", "mend", "without")
        assert finding["do"] or finding["state"] != "mend"
    return {finding["name"]: finding for finding in result["findings"]}


@pytest.fixture
def no_ports(monkeypatch: pytest.MonkeyPatch) -> list[Port]:
    """The ports of a computer, none to begin with."""
    ports: list[Port] = []
    monkeypatch.setattr("winding_coach.live.sources.ports.list_ports", lambda: ports)
    return ports


def test_a_fresh_computer_is_ready_to_practise(
    home: Path, no_ports: list[Port], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["ready"]) == 0
    said = capsys.readouterr().out
    assert "Ready to practise: winding-coach practice" in said
    assert "made with the first wind" in said
    assert "plug the meter in" in said
    assert not home.exists(), "looking changes nothing"


def test_a_meter_with_its_calibration_is_ready_to_wind(
    home: Path, capsys: pytest.CaptureFixture[str], processes: Processes
) -> None:
    home.mkdir()
    (home / "calibration.json").write_text(json.dumps(SIMULATED.as_json()), encoding="utf-8")
    meter = start(processes, "meter", "emulate", "--speed", "4")
    assert meter.stdout is not None
    device = meter.stdout.readline().strip()
    seen = found(capsys, "--meter", device, "--seconds", "0.5")
    assert seen["meter"]["state"] == seen["calibration"]["state"] == seen["data folder"]["state"] == "works"
    assert "80 lines/s" in seen["meter"]["found"], "by the meter's own clock"
    assert list(home.iterdir()) == [home / "calibration.json"]


def test_a_port_that_says_nothing_has_to_be_mended(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("winding_coach.app.listening.PATIENCE_S", 0.1)
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    try:
        seen = found(capsys, "--meter", os.ttyname(theirs), "--seconds", "0.2", status=1)
    finally:
        os.close(ours)
        os.close(theirs)
    assert seen["meter"]["found"].endswith("sends nothing")
    assert "meter check" in seen["meter"]["do"]


def test_a_port_that_is_not_there_is_named(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    seen = found(capsys, "--meter", "/dev/no-such-meter", status=1)
    assert seen["meter"]["state"] == "mend"
    assert "/dev/no-such-meter" in seen["meter"]["found"]


def test_without_permission_the_port_s_group_is_named(
    tmp_path: Path,
    no_ports: list[Port],
    home: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    device = tmp_path / "ttyACM0"
    device.touch()
    group = grp.getgrgid(device.stat().st_gid).gr_name
    no_ports.append(Port(str(device), "a board", (0x2341, 0x43, None)))
    monkeypatch.setattr(os, "access", lambda path, mode: path != device)
    seen = found(capsys, status=1)
    assert seen["ports"]["state"] == "mend"
    assert f"group {group}" in seen["ports"]["do"]
    assert "log in again" in seen["ports"]["do"]
    assert "meter" not in seen, "what may not be opened is not listened to"
    monkeypatch.setattr("winding_coach.app.readiness.waits_for_login", lambda name: name == group)
    refused = permission(no_ports[0])
    assert refused is not None
    assert refused.do == "log out and in again"


def test_a_data_folder_that_cannot_be_has_to_be_mended(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "a-file"
    file.touch()
    for folder in (file, file / "below"):
        seen = found(capsys, "--home", str(folder), "--meter", "none", status=1)
        assert seen["data folder"]["state"] == "mend"
        assert "--home" in seen["data folder"]["do"]


@pytest.mark.parametrize(
    ("name", "file", "text"),
    [
        ("settings", "settings.json", "no settings"),
        ("calibration", "calibration.json", "{}"),
        ("calibration", "calibration.json", json.dumps(SIMULATED.as_json() | {"expires": "2001-01-01"})),
        ("shelf", "shelf.sqlite", "no shelf"),
    ],
)
def test_what_is_spoilt_is_named_and_left_alone(
    home: Path, capsys: pytest.CaptureFixture[str], name: str, file: str, text: str
) -> None:
    home.mkdir()
    (home / file).write_text(text, encoding="utf-8")
    assert found(capsys, "--meter", "none", status=1)[name]["state"] == "mend"
    assert (home / file).read_text(encoding="utf-8") == text


def test_the_optional_parts_are_told_with_what_they_are_for(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None if name == "pyarrow" else object())
    seen = found(capsys, "--meter", "none")
    assert seen["extras"] == {
        "name": "extras",
        "state": "without",
        "found": f"parquet ({EXTRAS['parquet'][1]})",
        "do": "pip install 'winding-coach[parquet]'",
    }


def test_a_wrong_number_of_seconds_is_wrong_usage(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ready", "--seconds", "long"]) == 2
    assert "--seconds" in capsys.readouterr().err
