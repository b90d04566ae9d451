"""A long day in one process: `python -m tests.bench.long_day [WINDS]`. Prints memory, threads, handles, cost a sample.

Each wind is 62 s of waiting at the meter and a simulated wind of about 130 s, at 80 lines a second, through session,
coach, trace and the screen's picture ten times a second; 150 of them are eight hours. Nothing is waited for.
"""

from __future__ import annotations

import gc
import os
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.scenario import MOTOR, SETTINGS, TICK_S, wind
from tests.traces.test_files import HEADER
from tests.trust.winder import FreeHands
from winding_coach.base.inputs import BytesArrived, Input, LinkUp
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.live.session import Session
from winding_coach.live.sources.replay import ReplaySource
from winding_coach.screen.page import page_object
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.motor import SimulatedMotor
from winding_coach.traces.files import TraceWriter

WAITING_S = 62.0
SEEDS = 5
LOOK_EVERY_S = 0.1


def waiting() -> list[Input]:
    """The inputs of a meter that nobody uses."""
    bench = Bench(SimulatedMotor(MOTOR), FreeHands(), 10.0, MeterModel(), np.random.default_rng(9))
    inputs: list[Input] = [LinkUp(0.0, "simulated")]
    for tick in range(1, round(WAITING_S / TICK_S)):
        data = bench.advance(TICK_S)
        if data:
            inputs.append(BytesArrived(round(tick * TICK_S, 6), data))
    return inputs


class Screen:
    """Somebody who looks: the page's object is made of the view, ten times a second."""

    def __init__(self) -> None:
        self.session: Session | None = None
        self._next_s = 0.0

    def __call__(self, view: CoachView) -> None:
        if view.at_s >= self._next_s and self.session is not None:
            self._next_s = view.at_s + LOOK_EVERY_S
            page_object(view, self.session.curve.points(), self.session.trace_name, self.session.trouble)


def one_wind(inputs: Sequence[Input], folder: Path) -> float:
    """Run a wind; return the processor's microseconds for each input."""
    writer = TraceWriter(folder, HEADER)
    screen = Screen()
    session = Session(ReplaySource(inputs, None), Coach(SETTINGS), writer, seen=screen)
    screen.session = session
    used = time.process_time()
    session.run()
    cost = (time.process_time() - used) / len(inputs) * 1e6
    assert session.trouble is None
    assert session.summary is not None
    assert session.summary.outcome == "done"
    writer.path.unlink()
    return cost


def resident_MB() -> float:
    """Memory of this process that is in use."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20


def main() -> None:
    """Print a row for every tenth wind."""
    winds = int(sys.argv[1]) if len(sys.argv) > 1 else 150
    idle = waiting()
    days = []
    for seed in range(1, SEEDS + 1):
        late = [replace(event, at_s=round(event.at_s + WAITING_S, 6)) for event in wind("good", seed)]
        days.append([*idle, *late])
    lasted_s = sum(days[i % SEEDS][-1].at_s for i in range(winds))
    inputs = sum(len(days[i % SEEDS]) for i in range(winds))
    print(f"{winds} winds, {lasted_s / 3600:.1f} simulated hours, {inputs} inputs")
    costs: list[float] = []
    with tempfile.TemporaryDirectory(prefix="long-day-") as folder:
        for number in range(1, winds + 1):
            costs.append(one_wind(days[(number - 1) % SEEDS], Path(folder)))
            if number == 1 or number % 10 == 0:
                gc.collect()
                handles = len(list(Path("/proc/self/fd").iterdir()))
                print(
                    f"wind {number:>4}: {resident_MB():6.1f} MB, {len(gc.get_objects())} objects, "
                    f"{threading.active_count()} threads, {handles} handles, {np.median(costs[-10:]):5.1f} µs an input",
                    flush=True,
                )


if __name__ == "__main__":
    main()
