"""What the corridor costs: `python -m tests.bench.corridor`. Prints ratios and microseconds; asserts nothing.

Microseconds a sample through the whole pure corridor (bytes to view), replay against real time, the simulator's cost
a sample, the cost of a plan, and the time of `--help`.
"""

from __future__ import annotations

import platform
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

from tests.scenario import MODEL, MOTOR, SETTINGS, WINDER, wind
from winding_coach.base.inputs import BytesArrived
from winding_coach.coach.step import Coach
from winding_coach.live.session import Session
from winding_coach.live.sources.replay import ReplaySource
from winding_coach.rubber.plan import make_plan


def best_of(times: int, run: Callable[[], object]) -> float:
    """The shortest of some runs, in seconds: the one least disturbed by others."""
    took = []
    for _ in range(times):
        begun = time.perf_counter()
        run()
        took.append(time.perf_counter() - begun)
    return min(took)


@dataclass(frozen=True, slots=True)
class Corridor:
    """What was measured: lines and seconds of the wind; seconds of each part, whole."""

    lines: int
    wind_s: float
    simulated_s: float
    step_s: float
    view_s: float
    replay_s: float
    plan_s: float


def measured() -> Corridor:
    """Run a simulated wind through everything that is pure."""
    wind.cache_clear()
    simulated_s = best_of(1, lambda: wind("good"))
    inputs = wind("good")
    lines = sum(event.data.count(b"$D") for event in inputs if isinstance(event, BytesArrived))

    def stepped() -> None:
        coach = Coach(SETTINGS)
        for event in inputs:
            coach.step(event)

    def viewed() -> None:
        coach = Coach(SETTINGS)
        for event in inputs:
            coach.step(event)
            coach.view  # noqa: B018 - making it is what is measured

    def replayed() -> None:
        Session(ReplaySource(inputs, None), Coach(SETTINGS), None, replaying=True).run()

    return Corridor(
        lines,
        inputs[-1].at_s,
        simulated_s,
        best_of(3, stepped),
        best_of(3, viewed),
        best_of(3, replayed),
        best_of(5, lambda: make_plan(MOTOR, WINDER, MODEL)),
    )


def main() -> None:
    """Print the table."""
    found = measured()
    help_s = best_of(5, lambda: subprocess.run([sys.executable, "-m", "winding_coach", "--help"], capture_output=True))
    print(
        f"{platform.machine()}, Python {platform.python_version()}, {found.lines} lines"
        f" in {found.wind_s:.0f} s of winding"
    )
    print(f"{1e6 * found.step_s / found.lines:8.1f} µs a sample, bytes to advice")
    print(f"{1e6 * found.view_s / found.lines:8.1f} µs a sample, with a view made for each")
    print(f"{found.wind_s / found.replay_s:8.0f} times real time, replay at full speed")
    print(f"{1e6 * found.simulated_s / found.lines:8.1f} µs a sample, simulated motor, hands and meter")
    print(f"{1e3 * found.plan_s:8.2f} ms a plan")
    print(f"{1e3 * help_s:8.0f} ms for --help, whole process")


if __name__ == "__main__":
    main()
