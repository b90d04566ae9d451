"""One wind of the real program on a real pseudo-terminal, ended at a chosen moment; what is left is looked at."""

from __future__ import annotations

import contextlib
import io
import json
import os
import signal
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.scenario import MOTOR, PLAN, WINDER
from winding_coach.cli import main
from winding_coach.keeping.replaying import difference, settings_of
from winding_coach.live.sources.emulator import PseudoPort, emulate
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.faults import FaultyBench
from winding_coach.simulator.hands import STYLES, ScriptedHands
from winding_coach.simulator.motor import SimulatedMotor
from winding_coach.traces.files import read_trace

SPEED = 25.0
"""The emulated meter runs so many times as fast: a wind of two minutes in five seconds."""
WORDS = ("--loop", "30 cm", "--mass", "1.40 g", "--orings", "0.08 g", "--hooks", "22 cm", "--motor", "th-07")
WAYS = ("killed", "port gone, then killed", "port gone, then closed")


class Meter:
    """An emulated meter in a thread of this process, at a link in a folder."""

    def __init__(self, folder: Path, seed: int) -> None:
        rng = np.random.default_rng(seed)
        hands = ScriptedHands(PLAN, MOTOR, WINDER, STYLES["good"], rng)
        bench = Bench(SimulatedMotor(MOTOR), hands, WINDER.ratio, MeterModel(), rng)
        self._bench = FaultyBench(bench, (), rng)
        self.link = folder / "meter"
        self._port = PseudoPort(self.link)
        self._gone = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        emulate(self._bench, self._port, speed=SPEED, wait_for_reader=True, stopped=self._gone.is_set)

    def unplug(self) -> None:
        """Take the port away."""
        self._gone.set()
        self._thread.join(10)


@dataclass(frozen=True)
class Left:
    """What was found after the end: how the last phase was called, seconds lost, and all that was wrong."""

    way: str
    phase: str
    heard_s: float
    lost_s: float
    inputs: int
    wrong: tuple[str, ...]


def _hear(process: subprocess.Popen[str], heard: list[dict[str, object]]) -> None:
    assert process.stdout is not None
    for line in process.stdout:
        with contextlib.suppress(ValueError):
            heard.append(json.loads(line))


def said_by(*words: str) -> tuple[int, str, str]:
    """Run a command in this process; return its exit status, what it said and its errors."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(list(words))
    return status, out.getvalue(), err.getvalue()


def end_a_wind(home: Path, seed: int, *, way: str | None = None, after_s: float | None = None) -> Left:
    """Wind, end it so many real seconds after the first reading, and look at trace and shelf.

    Without a way or a moment chance (by the seed) takes them.
    """
    rng = np.random.default_rng(seed)
    way = WAYS[int(rng.integers(0, len(WAYS)))] if way is None else way
    after_s = float(rng.uniform(0.0, 5.4)) if after_s is None else after_s
    before = set((home / "traces").glob("*")) if (home / "traces").exists() else set()
    meter = Meter(home, seed)
    heard: list[dict[str, object]] = []
    more = ("--port", str(meter.link), "--calibration", "simulated", "--home", str(home))
    process = subprocess.Popen(
        [sys.executable, "-m", "winding_coach", "wind", "--headless", "--json", "--readings", "50", *WORDS, *more],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    listener = threading.Thread(target=_hear, args=(process, heard), daemon=True)
    listener.start()
    began = time.monotonic()
    while not any(event["event"] == "reading" for event in list(heard)) and time.monotonic() - began < 60.0:
        time.sleep(0.01)
    time.sleep(after_s)
    if way != "killed":
        meter.unplug()
        time.sleep(0.3)
    process.send_signal(signal.SIGTERM if way.endswith("closed") else signal.SIGKILL)
    process.wait(30)
    listener.join(10)
    meter.unplug()
    assert process.stdout is not None
    process.stdout.close()
    (trace,) = set((home / "traces").glob("*.wind.jsonl")) - before
    return _looked_at(home, trace, way, heard)


def _looked_at(home: Path, trace: Path, way: str, heard: list[dict[str, object]]) -> Left:
    wrong = []
    kept = read_trace(trace)
    differs = difference(kept, settings_of(kept))
    if differs is not None:
        wrong.append(f"the replay differs: {differs}")
    last_s = max(float(str(event["at_s"])) for event in heard)
    lost_s = max(last_s - (kept.inputs[-1].at_s if kept.inputs else 0.0), 0.0)
    phases = [str(event["phase"]) for event in heard if event["event"] == "phase"]
    closed = any(event["event"] == "summary" for event in heard)
    if closed != (kept.summary is not None):
        wrong.append("it was closed, but its trace was not" if closed else "its trace was closed, but not heard so")
    # A wind that was written a moment ago may still go on: as if a while had passed.
    os.utime(trace, (1e9, 1e9))
    status, out, err = said_by("shelf", "winds", "--json", "--home", str(home))
    offered = "was not closed" in err and "finish its entry" in err
    if not closed and kept.inputs and not offered:
        wrong.append("the next start does not offer to finish the entry")
    logged = [wind for wind in json.loads(out)["winds"] if wind["trace"] == trace.name]
    # Closed before the first turn, it is an empty wind and stays off the shelf.
    empty = closed and "wind_stretched" not in phases
    if status != 0 or (len(logged) != 1 and not (empty and not logged)):
        wrong.append(f"the shelf has it {len(logged)} times")
    elif logged and (logged[0]["outcome"] == "open") == closed:
        wrong.append(f"the shelf has it {len(logged)} times: {[wind['outcome'] for wind in logged]}")
    status, out, err = said_by("shelf", "check", "--home", str(home))
    if status != 0:
        wrong.append(f"the shelf is not well: {out}{err}")
    return Left(way, phases[-1] if phases else "", last_s, lost_s, len(kept.inputs), tuple(wrong))
