"""`meter conform` at an emulated meter and at one that speaks otherwise."""

from __future__ import annotations

import json
import os
import threading
import tty
from pathlib import Path

import pytest

from tests.cli.test_coaching import Processes, start
from tests.cli.test_main import run


def test_the_emulated_meter_conforms(home: Path, processes: Processes) -> None:
    meter = start(processes, "meter", "emulate", "--channels", "qdt")
    assert meter.stdout is not None
    done = run("meter", "conform", meter.stdout.readline().strip(), "--seconds", "3")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "It conforms" in done.stdout


def test_each_fault_is_named(home: Path) -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    ended = threading.Event()

    def send() -> None:
        while not ended.wait(0.05):
            os.write(master, b"$D,1,2,3,00*ffff\r\n")

    thread = threading.Thread(target=send)
    thread.start()
    try:
        found = json.loads(run("meter", "conform", os.ttyname(slave), "--seconds", "1", "--json").stdout)
    finally:
        ended.set()
        thread.join(5)
        os.close(master)
        os.close(slave)
    words = {fault["words"]: fault for fault in found["faults"]}
    assert any("CRC" in text for text in words)
    assert any("No hello" in text for text in words)
    assert next(fault for fault in found["faults"])["example"] == "$D,1,2,3,00*ffff"


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [(["/dev/nonsuch"], 1, "cannot be tested"), (["PORT", "--seconds", "soon"], 2, "--seconds")],
)
def test_wrong_use(home: Path, words: list[str], status: int, says: str) -> None:
    done = run("meter", "conform", *words)
    assert done.returncode == status
    assert says in done.stderr
    assert "Traceback" not in done.stderr
