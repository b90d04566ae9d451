"""The address for a phone: the code is the one that the standard's library makes, and the page is found by it alone."""

from __future__ import annotations

import http.client
import re
import subprocess
import sys
from pathlib import Path
from urllib.parse import urlsplit

import pytest
import segno

from tests.cli.test_shelf import refused
from tests.test_indexing import make_trace
from winding_coach.app.phone import HALVES, QUIET_ZONE, code_lines, reachable_at

ADDRESS = "http://192.0.2.7:8270/Zk3_a-9QbC1x/"


def test_the_halves_are_the_modules_of_the_code_with_its_quiet_zone() -> None:
    lines = code_lines(ADDRESS)
    cells = {blocks: pair for pair, blocks in HALVES.items()}
    light = [[cells[char][half] for char in line] for line in lines for half in (0, 1)]
    matrix = [list(row) for row in segno.make(ADDRESS, error="m", micro=False).matrix]
    side = len(matrix)
    dark = [[not cell for cell in row[QUIET_ZONE : QUIET_ZONE + side]] for row in light[QUIET_ZONE : QUIET_ZONE + side]]
    assert dark == [[bool(cell) for cell in row] for row in matrix]
    assert all(all(row) for row in light[:QUIET_ZONE])
    assert all(all(row[:QUIET_ZONE]) and all(row[-QUIET_ZONE:]) for row in light)
    assert max(map(len, lines)) <= 80


def test_an_address_of_one_network_card_is_said_as_it_is() -> None:
    assert reachable_at("192.0.2.7") == "192.0.2.7"
    assert reachable_at("0.0.0.0") not in ("0.0.0.0", "")


def test_a_phone_that_reads_the_code_finds_the_page_and_nobody_else_does(
    home: Path, processes: list[subprocess.Popen[str]]
) -> None:
    make_trace(home / "traces", 1)
    words = ["watch", "--serve", "0.0.0.0:0", "--show-code", "--home", str(home)]
    process = subprocess.Popen(
        [sys.executable, "-m", "winding_coach", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    processes.append(process)
    assert process.stdout is not None
    first = process.stdout.readline()
    assert "Anyone with this address" in process.stdout.readline()
    printed = re.search(r"http://\S+", first)
    assert printed is not None
    address = printed[0]
    shown = [process.stdout.readline().rstrip("\n") for _ in code_lines(address)]
    assert shown == code_lines(address)
    port = urlsplit(address).port
    assert port is not None
    answers = []
    for path in (urlsplit(address).path, "/"):
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
        connection.request("GET", path)
        answers.append(connection.getresponse().status)
        connection.close()
    assert answers == [200, 404]


def test_a_code_without_a_page_is_refused(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "--show-code goes with --serve" in refused(capsys, 2, "watch", "--show-code")
