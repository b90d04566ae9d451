"""A crank sender beside a meter, over real pseudo-terminals and sockets: conform, check, a whole wind.

Nothing here asserts how late a line was: the computer that runs it may be busy.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.test_coaching import SMALL, Processes, start
from tests.cli.test_main import run
from tests.sources.helpers import Pty
from winding_coach.cli import main
from winding_coach.live.sources.crank_link import CrankLink, JoinedWire


def emulated(processes: Processes, *words: str) -> tuple[str, str]:
    """An emulated meter and its sender, in a process of its own."""
    meter = start(processes, "meter", "emulate", "--crank-sender", *words)
    assert meter.stdout is not None
    return meter.stdout.readline().strip(), meter.stdout.readline().strip()


def checked(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    capsys.readouterr()
    status = main(["meter", "check", *words])
    captured = capsys.readouterr()
    return status, captured.out + captured.err


@pytest.mark.parametrize("socket", [False, True], ids=["pseudo-terminal", "socket"])
def test_a_whole_wind_counts_by_the_sender(home: Path, processes: Processes, socket: bool) -> None:
    words = ["--script", "good", "--speed", "10", "--wait", "--pulses-per-turn", "4", *SMALL[:-2]]
    device, crank = emulated(processes, *words, *(["--socket"] if socket else []))
    assert device != crank
    assert crank.startswith("socket://127.0.0.1:" if socket else "/dev/")
    ports = ("--port", device, "--crank-port", crank, "--calibration", "simulated")
    done = run("wind", *ports, *SMALL, "--headless", "--json", "--readings", "5")
    assert done.returncode == 0, done.stderr
    events = [json.loads(line) for line in done.stdout.splitlines()]
    assert [event["phase"] for event in events if event["event"] == "phase"][-1] == "done"
    assert {event["turns_source"] for event in events if event["event"] == "reading"} >= {"counted"}
    assert events[-1]["peak_turns"] > 100
    (trace,) = (home / "traces").glob("*.wind.jsonl")
    assert "$C," in trace.read_text(), "both streams are in the trace"
    assert run("replay", str(trace), "--check").returncode == 0


def test_conform_names_what_a_sender_says(processes: Processes) -> None:
    _, crank = emulated(processes, "--script", "good", "--pulses-per-turn", "4")
    done = run("meter", "conform", crank, "--seconds", "3", "--json")
    found = json.loads(done.stdout)
    assert found["crank_lines"] > 10
    assert found["samples"] == 0
    assert [fault["words"] for fault in found["faults"]] == []
    assert any("No pulse of the crank came" in note for note in found["notes"])


def test_check_with_a_sender(home: Path, capsys: pytest.CaptureFixture[str], processes: Processes) -> None:
    device, crank = emulated(processes)
    status, said = checked(capsys, device, "--crank-port", crank, "--seconds", "2", "--json")
    found = json.loads(said)
    assert status == 0, found["verdict"]
    assert found["sender"]["lines"] > 5
    assert found["crank_pulses"] == 0
    assert found["channels"] == ""


def test_a_meter_that_prints_numbers_gets_a_crank(
    home: Path, capsys: pytest.CaptureFixture[str], processes: Processes
) -> None:
    device, crank = emulated(processes, "--lines", "plain")
    _, said = checked(capsys, device, "--lines", "plain", "--crank-port", crank, "--seconds", "2", "--json")
    found = json.loads(said)
    assert found["plain"]
    assert found["sender"]["lines"] > 5
    assert found["crank_pulses"] == 0


def test_check_names_a_sender_that_is_not_there(
    home: Path, capsys: pytest.CaptureFixture[str], processes: Processes
) -> None:
    device, _ = emulated(processes)
    status, said = checked(capsys, device, "--crank-port", "socket://127.0.0.1:1", "--seconds", "1")
    assert status == 1
    assert "Nothing came from the crank sender: check its battery, its address and its port." in said


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("wind", "--port", "/dev/ttyX", "--crank-port", "auto"), "--crank-port: name the sender's port"),
        (("wind", "--port", "/dev/ttyX", "--crank-port", "/dev/ttyX"), "--crank-port: that is the meter's own port"),
    ],
)
def test_a_port_that_is_none_of_a_sender_is_refused(
    home: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], says: str
) -> None:
    assert main([*words, *SMALL, "--headless", "--calibration", "simulated"]) == 2
    assert says in capsys.readouterr().err


def test_a_sender_needs_a_crank(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["meter", "emulate", "--crank-sender", "--channels", "d"]) == 2
    assert "--crank-sender: it counts the crank that --channels names" in capsys.readouterr().err


# -- the joined wire


class Bytes:
    """A meter's wire that gives what it is told."""

    def __init__(self) -> None:
        self.data = b""

    def receive(self) -> bytes:
        data, self.data = self.data, b""
        return data

    def send(self, data: bytes) -> None:
        self.data = data

    def close(self) -> None:
        pass


class Sender(CrankLink):
    """A link whose lines the test gives."""

    def __init__(self) -> None:
        super().__init__("none", lambda name: Pty())  # type: ignore[arg-type, return-value]
        self.close()

    def give(self, data: bytes) -> None:
        self._keep(data)


def test_a_senders_lines_go_in_between_the_meters_and_never_into_one() -> None:
    meter, sender = Bytes(), Sender()
    joined = JoinedWire(meter, sender)
    sender.give(b"$C,1,2,3,4,00*AAAA\r\n$C,2,")
    meter.send(b"$D,1,1")
    assert joined.receive() == b"$D,1,1", "there is no end of a line to go behind"
    meter.send(b"2,3,00*1234\r\n$D,")
    assert joined.receive() == b"2,3,00*1234\r\n$C,1,2,3,4,00*AAAA\r\n$D,"
    sender.give(b"3,4,5,00*BBBB\r\n")
    assert joined.receive() == b"", "a meter's silence stays one"
    meter.send(b"2\r\n")
    assert joined.receive() == b"2\r\n$C,2,3,4,5,00*BBBB\r\n"


def test_what_is_no_line_of_a_sender_is_left_out_and_lines_do_not_pile_up() -> None:
    sender = Sender()
    sender.give(b"rubbish\r\n$D,1,2,3,00*1234\r\nxx$C,1,2,3,4,00*AAAA\r\n" + b"y" * 100_000)
    assert sender.take() == b"$C,1,2,3,4,00*AAAA\r\n"
    sender.give(b"\r\n" + b"$C,1,2,3,4,00*AAAA\r\n" * 5_000)
    assert sender.take().count(b"\n") == 400
