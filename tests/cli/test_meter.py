"""`meter list`, `check` and `emulate` on real pseudo-terminals."""

from __future__ import annotations

import json
import os
import subprocess
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from tests.cli.test_coaching import Processes, lines_until, start
from tests.cli.test_main import run
from winding_coach.cli import main
from winding_coach.live.sources.ports import Port
from winding_coach.meter.calibration import SIMULATED, Calibration
from winding_coach.meter.frames import NO_DATA, Sample, encode_sample
from winding_coach.meter.frozen import FrozenReadings, Repeats


def checked(capsys: pytest.CaptureFixture[str], *words: str, status: int = 0) -> str:
    """What `meter check` prints; it must end with this status."""
    capsys.readouterr()
    assert main(["meter", "check", *words]) == status
    captured = capsys.readouterr()
    return captured.out + captured.err


def test_check_of_a_good_meter(home: Path, capsys: pytest.CaptureFixture[str], processes: Processes) -> None:
    # Each check has a meter of its own, that waits for it: once the crank turns, nothing is at rest to judge.
    words = ("meter", "emulate", "--wait", "--speed", "4", "--channels", "cdt", "--pulses-per-turn", "4")
    meter, other = start(processes, *words), start(processes, *words)
    assert meter.stdout is not None
    assert other.stdout is not None
    device = meter.stdout.readline().strip()
    found = json.loads(checked(capsys, device, "--seconds", "1", "--json"))
    assert found["rate_hz"] == pytest.approx(80.0, rel=0.01), "by the meter's own clock, whatever the speed"
    assert found["channels"] == "cdt"
    assert found["pulses_per_turn"] == 4
    assert found["lost_lines"] == found["bad_lines"] == 0
    assert found["noise_Nm"] == pytest.approx(8e-6, rel=0.4)
    assert found["verdict"] == ["Meter OK."]
    plain = checked(capsys, other.stdout.readline().strip(), "--seconds", "0.5", "--units", "inch")
    assert "board        simulated\n" in plain
    assert "lines/s, by its own clock" in plain
    assert "ozf·in" in plain
    assert "flags        none\n" in plain
    assert plain.endswith("Meter OK.\n")


def test_check_keeps_what_it_learnt_of_the_meter_s_noise(
    home: Path, capsys: pytest.CaptureFixture[str], processes: Processes
) -> None:
    """So a wind knows from its first line for how long equal values can last."""
    words = ("meter", "emulate", "--wait", "--speed", "1")
    meter = start(processes, *words)
    assert meter.stdout is not None
    home.mkdir(exist_ok=True)
    kept = home / "calibration.json"
    kept.write_text(SIMULATED.to_json(), encoding="utf-8")
    said = checked(capsys, meter.stdout.readline().strip(), "--seconds", "5", "--units", "metric")
    assert "How often it repeats a value is kept with its calibration" in said
    found = Calibration.from_json(kept.read_text(encoding="utf-8"))
    assert Repeats.from_json(found.more["repeats"]).longest < FrozenReadings().repeats.longest
    assert replace(found, more={}) == SIMULATED


def test_check_names_lost_and_damaged_lines(
    home: Path, capsys: pytest.CaptureFixture[str], processes: Processes
) -> None:
    meter = start(processes, "meter", "emulate", "--speed", "8", "--fault", "lost=0.05", "--fault", "cut=0.05")
    assert meter.stdout is not None
    device = meter.stdout.readline().strip()
    found = json.loads(checked(capsys, device, "--seconds", "1.5", "--json", status=1))
    assert found["lost_lines"] > 10
    assert found["bad_lines"] > 5
    assert any("damaged" in words for words in found["verdict"])
    assert any("lost" in words for words in found["verdict"])


@contextmanager
def device_that_sends(data: bytes) -> Iterator[str]:
    """A pseudo-terminal on which the same bytes come again and again."""
    master, slave = os.openpty()
    tty.setraw(slave)
    ended = threading.Event()

    def send() -> None:
        while not ended.wait(0.05):
            os.write(master, data)

    thread = threading.Thread(target=send)
    if data:
        thread.start()
    try:
        yield os.ttyname(slave)
    finally:
        ended.set()
        if data:
            thread.join(5)
        os.close(master)
        os.close(slave)


def test_check_of_what_is_no_meter(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with device_that_sends(b"$GPGGA,1,2*47\r\n") as device:
        said = checked(capsys, device, "--seconds", "0.5", status=1)
    assert said.startswith("It speaks something else")
    assert said.count("\n") == 1, "where nothing was understood there are no figures"


def test_check_of_flagged_readings_names_the_flags(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with device_that_sends(encode_sample(Sample(7, 1_000_000, None, NO_DATA))) as device:
        said = checked(capsys, device, "--seconds", "0.5", status=1)
    assert "without a reading" in said
    assert "The converter gives no readings" in said
    assert "rate         not known\n" in said


def test_check_of_a_silent_port_says_so_however_long_it_is_checked(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with device_that_sends(b"") as device:
        monkeypatch.setattr("winding_coach.app.listening.PATIENCE_S", 0.1)
        assert checked(capsys, device, "--seconds", "0.2", status=1).startswith("It sends nothing")
        # Long before the end the source would open a silent port again.
        monkeypatch.setattr("winding_coach.live.sources.serial_port.REOPEN_AFTER_SILENT_S", 0.2)
        assert checked(capsys, device, "--seconds", "60", status=1).startswith("It sends nothing")


def test_check_of_a_meter_that_is_pulled_out_says_so(
    home: Path, capsys: pytest.CaptureFixture[str], processes: Processes
) -> None:
    meter = start(processes, "meter", "emulate", "--wait", "--fault", "unplug@1:60")
    assert meter.stdout is not None
    device = meter.stdout.readline().strip()
    said = checked(capsys, device, "--seconds", "60", status=1)
    assert said == "winding-coach meter: The meter cannot be checked: the meter was unplugged.\n"


def test_check_of_no_port_is_a_sentence(home: Path) -> None:
    done = run("meter", "check", "/dev/no-such-port")
    assert done.returncode == 1
    assert "there is no port" in done.stderr
    assert "Traceback" not in done.stderr


def test_list_shows_ports_and_says_when_there_is_no_likely_one(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    ports = [Port("/dev/ttyACM0", "a \x1b[31mboard", (0x2341, 0x0043, "85")), Port("/dev/ttyS0", "")]
    monkeypatch.setattr("winding_coach.live.sources.ports.list_ports", lambda: ports)
    assert main(["meter", "list"]) == 0
    said = capsys.readouterr().out
    assert said.splitlines() == [
        "Likely a meter:",
        "  /dev/ttyACM0  USB 2341:0043, serial number 85  a ?[31mboard",
        "Without a USB identity, so most likely no meter:",
        "  /dev/ttyS0",
    ]
    monkeypatch.setattr("winding_coach.live.sources.ports.list_ports", lambda: ports[1:])
    assert main(["meter", "list"]) == 0
    assert "plug the meter in" in capsys.readouterr().out
    assert main(["meter", "list", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["ports"][0]["likely"] is False


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--script", "dance"), "no style"),
        (("--channels", "cq"), "--channels"),
        (("--fault", "earthquake@3"), "no fault"),
        (("--seed", "-1"), "--seed"),
        (("--pulses-per-turn", "0"), "--pulses-per-turn"),
        (("--lines-per-s", "0"), "--lines-per-s"),
        (("--link", "/no/such/folder/x"), "--link"),
    ],
)
def test_wrong_wishes_are_named(
    home: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], says: str
) -> None:
    assert main(["meter", "emulate", *words]) in (1, 2)
    assert says in capsys.readouterr().err


def test_the_emulator_ends_when_its_owner_s_end_closes(home: Path, processes: Processes) -> None:
    meter = start(processes, "meter", "emulate", "--until-stdin-closes", stdin=subprocess.PIPE)
    lines_until(meter, "/dev/")
    assert meter.stdin is not None
    meter.stdin.close()
    assert meter.wait(10) == 0


def test_the_link_leads_to_the_present_device_and_goes_with_it(
    home: Path, tmp_path: Path, processes: Processes
) -> None:
    link = tmp_path / "meter"
    meter = start(processes, "meter", "emulate", "--link", str(link))
    lines_until(meter, str(link))
    assert Path(os.path.realpath(link)).exists()
    meter.terminate()
    assert meter.wait(10) == 0
    assert not link.is_symlink()


@pytest.mark.parametrize("job", ["list", "check", "emulate"])
def test_each_job_s_help_has_an_example(capsys: pytest.CaptureFixture[str], job: str) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["meter", job, "--help"])
    assert ended.value.code == 0
    said = capsys.readouterr().out
    assert f"winding-coach meter {job}" in said.partition("example:")[2]
    assert job != "emulate" or all(kind in said for kind in ("unplug@SECONDS[:3]", "flip=SHARE", "hasty"))
