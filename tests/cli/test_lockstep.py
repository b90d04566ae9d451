"""`replay -`: another program's rows through a real pipe, each answered before the next is sent."""

from __future__ import annotations

import gzip
import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from winding_coach.traces.files import read_trace
from winding_coach.traces.rows import dump, input_row

RECORDING = Path(__file__).parents[2] / "recordings" / "stalled-crank.wind.jsonl.gz"
ACKNOWLEDGED = ("replay", "-", "--headless", "--json", "--acknowledge")


@pytest.fixture(scope="module")
def header() -> str:
    with gzip.open(RECORDING, "rt", encoding="utf-8") as opened:
        return opened.readline()


def run(*words: str, stdin: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "winding_coach", *words],
        input=stdin,
        capture_output=True,
        encoding="utf-8",
        check=False,
        timeout=60,
    )


class Coached:
    """The command, spoken to row by row."""

    def __init__(self, *words: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "winding_coach", *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
        )

    def send(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(line.rstrip("\n") + "\n")
        self.process.stdin.flush()

    def answer(self) -> list[dict[str, Any]]:
        """What it says up to and with `taken`; it hangs where a row is not answered at once."""
        assert self.process.stdout is not None
        said: list[dict[str, Any]] = []
        for line in self.process.stdout:
            said.append(json.loads(line))
            if said[-1]["event"] == "taken":
                break
        return said

    def close(self) -> tuple[str, str, int]:
        out, errors = self.process.communicate(timeout=60)
        return out, errors, self.process.returncode


@pytest.fixture
def coached(home: Path) -> Iterator[Coached]:
    one = Coached(*ACKNOWLEDGED)
    yield one
    one.process.kill()
    one.process.communicate()


def test_each_row_is_answered_before_the_next_and_the_words_are_the_recording_s(coached: Coached, header: str) -> None:
    trace = read_trace(RECORDING)
    coached.send(header)
    said: list[tuple[int, dict[str, Any]]] = []
    for number, event in enumerate(trace.inputs, 1):
        coached.send(input_row(event) or "")
        answer = coached.answer()
        assert answer[-1] == {"event": "taken", "at_s": event.at_s}
        said += [(number, one) for one in answer[:-1]]
    out, errors, status = coached.close()
    assert (errors, status) == ("", 0)
    said += [(len(trace.inputs), json.loads(line)) for line in out.splitlines()]  # None where the wind closed itself.
    assert [(number, one | {"trace": None}) for number, one in said] == [
        (number, one | {"trace": None}) for number, one in trace.said
    ]


def test_the_end_of_the_rows_closes_the_wind_with_its_summary(coached: Coached, header: str) -> None:
    coached.send(header)
    coached.send('{"at_s":0.0,"in":"link","state":"up","port":"pipe"}')
    coached.answer()
    out, errors, status = coached.close()
    assert (json.loads(out)["event"], errors, status) == ("summary", "", 0)


def test_rows_after_the_end_of_the_wind_are_still_taken(coached: Coached, header: str) -> None:
    coached.send(header)
    coached.send('{"at_s":0.0,"in":"key","name":"quit"}')
    assert [one["event"] for one in coached.answer()][-2:] == ["summary", "taken"]
    coached.send('{"at_s":1.0,"in":"time"}')
    assert coached.answer() == [{"event": "taken", "at_s": 1.0}]
    assert coached.close() == ("", "", 0)


def test_what_was_said_then_is_passed_over_so_that_a_whole_trace_can_be_piped(home: Path) -> None:
    text = gzip.decompress(RECORDING.read_bytes()).decode("utf-8")
    done = run("replay", "-", "--headless", "--json", stdin=text)
    assert (done.returncode, done.stderr) == (0, "")
    assert len(done.stdout.splitlines()) == len(read_trace(RECORDING).said)


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("no row", "is not JSON"),
        ('{"at_s":1}', "is neither an input nor something said"),
        ("null", "is neither an input nor something said"),
        ('{"at_s":1.0,"in":"key","name":"jump"}', "names a key that there is not"),
        ('{"at_s":-1,"in":"time"}', "has no time"),
        ('{"at_s":0.5,"in":"time"}', "goes back in time"),
        ('[1.0,"key","jump"]', "names a key that there is not"),
        ('[-1,"time"]', "has no time"),
        ('[1.0,"rx","\\u2022"]', "holds received bytes that are not bytes"),
        ('[0.5,"time"]', "goes back in time"),
        ('[2,"rx","' + "x" * 2**20 + '"]', "is longer than any row of a trace"),
    ],
)
def test_a_bad_row_is_one_sentence_with_its_line(home: Path, header: str, row: str, why: str) -> None:
    done = run(*ACKNOWLEDGED, stdin=header + '[1.0,"time"]\n' + row + "\n")
    assert done.returncode == 1
    assert done.stderr == f"winding-coach replay: Line 3 of standard input {why}.\n"
    assert json.loads(done.stdout.splitlines()[-1]) == {"event": "taken", "at_s": 1.0}


@pytest.mark.parametrize("text", ["", "[1.0,'time']\n", '[1.0,"time"]\n'])
def test_without_a_first_line_there_is_no_coach(home: Path, text: str) -> None:
    done = run(*ACKNOWLEDGED, stdin=text)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith("winding-coach replay: Line 1 of standard input is ")
    assert done.stderr.count("\n") == 1


def test_a_last_row_without_its_end_counts_for_nothing_as_in_a_file(home: Path, header: str) -> None:
    done = run(*ACKNOWLEDGED, stdin=header + '[1.0,"time"]\n[2.0,"ti')
    assert done.returncode == 0
    last = [json.loads(line) for line in done.stdout.splitlines()][-2:]
    assert [one["event"] for one in last] == ["taken", "summary"]
    assert last[1]["at_s"] == 1.0


@pytest.mark.parametrize(
    "words",
    [
        ("replay", "-"),
        ("replay", "-", "--headless", "--acknowledge"),
        ("replay", "-", "--headless", "--check"),
        ("replay", str(RECORDING), "--headless", "--json", "--acknowledge"),
    ],
)
def test_wrong_usage(home: Path, words: tuple[str, ...]) -> None:
    done = run(*words)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1


def test_readings_come_at_the_rows_own_time(home: Path, header: str) -> None:
    rows = "".join(dump([number / 10, "time"]) + "\n" for number in range(21))
    done = run(*ACKNOWLEDGED, "--readings", "2", stdin=header + rows)
    at_s = [one["at_s"] for one in map(json.loads, done.stdout.splitlines()) if one["event"] == "reading"]
    assert at_s == [0.0, 0.5, 1.0, 1.5, 2.0]


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_a_signal_between_rows_closes_the_wind(coached: Coached, header: str) -> None:
    coached.send(header)
    coached.send('{"at_s":3.0,"in":"time"}')
    coached.answer()
    coached.process.send_signal(signal.SIGTERM)
    assert coached.process.stdout is not None
    last = json.loads(coached.process.stdout.readline())
    assert (last["event"], last["at_s"]) == ("summary", 3.0)
    assert coached.process.wait(timeout=60) == 0
