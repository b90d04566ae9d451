"""Runs the benches and writes docs/evidence/benchmarks.md: `python -m tests.bench.page [WINDS...]` (300 1000 3000).

Not a test: everything depends on the machine, which is described by what matters of it. Start-up and memory are of
whole processes; processor time is given beside the time on the clock, since it is less disturbed by others.
"""

from __future__ import annotations

import fcntl
import math
import os
import platform
import pty
import re
import select
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from tests.bench.corridor import measured
from tests.bench.shelf import fill

TOP = Path(__file__).parents[2]
PAGE = TOP / "docs" / "evidence" / "benchmarks.md"
RUNS = 5
FIGURES = ("--loop", "30 cm", "--mass", "1.40 g", "--orings", "0.08 g", "--ratio", "10", "--hooks", "22 cm")
RECORDING = str(TOP / "recordings" / "good-wind.wind.jsonl.gz")
PROGRAM = (sys.executable, "-m", "winding_coach")
STARTED: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("bare Python", (sys.executable, "-c", "pass")),
    ("`--version`", (*PROGRAM, "--version")),
    ("`--help`", (*PROGRAM, "--help")),
    ("`wind --help`", (*PROGRAM, "wind", "--help")),
    ("`plan`", (*PROGRAM, "plan", *FIGURES)),
    (
        "`replay --headless --speed max`, a wind of two minutes",
        (*PROGRAM, "replay", RECORDING, "--headless", "--speed", "max"),
    ),
    ("`review` of that wind", (*PROGRAM, "review", RECORDING)),
)
PATIENCE_S = 120.0


@dataclass(frozen=True, slots=True)
class Run:
    """One process: seconds on the clock and of the processor, most memory (MB)."""

    took_s: float
    used_s: float
    most_MB: float


class MemoryWatch:
    """Reads a process's high-water mark of memory until it ends.

    The system's own figure for a child that ended begins with what its parent held before the new program was loaded.
    """

    def __init__(self, pid: int) -> None:
        self._file = Path(f"/proc/{pid}/status")
        self.most_MB = 0.0
        threading.Thread(target=self._watch, daemon=True).start()

    def _watch(self) -> None:
        while True:
            try:
                found = re.search(r"VmHWM:\s+(\d+) kB", self._file.read_text(encoding="ascii"))
            except OSError:
                return
            if found is None:
                return
            self.most_MB = int(found[1]) / 1024
            time.sleep(0.002)


def run(command: tuple[str, ...], environment: dict[str, str]) -> Run:
    """Run a process to its end."""
    began = time.perf_counter()
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    watch = MemoryWatch(process.pid)
    _, status, usage = os.wait4(process.pid, 0)
    took_s = time.perf_counter() - began
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(command)} failed with {process.returncode}.")
    return Run(took_s, usage.ru_utime + usage.ru_stime, watch.most_MB)


def middle(runs: list[Run]) -> Run:
    """Medians of some runs."""
    return Run(median(r.took_s for r in runs), median(r.used_s for r in runs), median(r.most_MB for r in runs))


def first_frame(environment: dict[str, str]) -> Run:
    """From starting `practice` in a terminal of 120×40 to the first picture with the cautions in it, then ended."""
    began = time.perf_counter()
    pid, terminal = pty.fork()
    if pid == 0:
        os.execvpe(PROGRAM[0], [*PROGRAM, "practice"], environment | {"TERM": "xterm-256color"})
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    watch = MemoryWatch(pid)
    seen, took_s = b"", 0.0
    while time.perf_counter() - began < PATIENCE_S:
        if select.select([terminal], [], [], 0.5)[0]:
            try:
                seen += os.read(terminal, 65536)
            except OSError:
                break
            if not took_s and b"Before the first turn" in seen:
                took_s = time.perf_counter() - began
                os.write(terminal, b"q")
    _, _, usage = os.wait4(pid, 0)
    os.close(terminal)
    return Run(took_s or math.nan, usage.ru_utime + usage.ru_stime, watch.most_MB)


def rows_of(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    """A table; all columns but the first are figures."""
    lines = [heads, ("---", *("---:" for _ in heads[1:])), *rows]
    return "\n".join(f"| {' | '.join(row)} |" for row in lines)


def corridor_part() -> str:
    """What a sample costs on its way."""
    found = measured()
    real_us = 1e6 * found.wind_s / found.lines
    rows = [
        (name, f"{1e6 * seconds / found.lines:.0f}", f"{real_us * found.lines / (1e6 * seconds):,.0f}")
        for name, seconds in (
            ("bytes to advice", found.step_s),
            ("with a view made for each sample", found.view_s),
            ("replay through the session", found.replay_s),
            ("simulated motor, hands and meter", found.simulated_s),
        )
    ]
    return (
        f"A wind of {found.wind_s:.0f} s, {found.lines} lines of data at 80 a second.\n\n"
        + rows_of(("", "µs a sample", "times faster than real time"), rows)
        + f"\n\nA plan costs {1e3 * found.plan_s:.1f} ms, as much as {found.plan_s / found.step_s * found.lines:.0f}"
        " samples on their way."
    )


def start_part(environment: dict[str, str]) -> str:
    """How long commands take from start to end, and what they take of memory."""
    bare = None
    rows = []
    for name, command in STARTED:
        found = middle([run(command, environment) for _ in range(RUNS)])
        bare = bare or found
        rows.append(
            (
                name,
                f"{1e3 * found.took_s:.0f}",
                f"{1e3 * found.used_s:.0f}",
                f"{found.used_s / bare.used_s:.1f}",
                f"{found.most_MB:.0f}",
            )
        )
    frame = middle([first_frame(environment) for _ in range(3)])
    rows.append(
        (
            "`practice` to its first picture (processor and memory: to its end)",
            f"{1e3 * frame.took_s:.0f}",
            f"{1e3 * frame.used_s:.0f}",
            f"{frame.used_s / (bare or frame).used_s:.1f}",
            f"{frame.most_MB:.0f}",
        )
    )
    return rows_of(("command", "ms", "ms of the processor", "times bare Python", "MB at most"), rows)


def season_part(counts: list[int], environment: dict[str, str]) -> str:
    """What a season costs at some sizes, and how it grows."""
    commands: tuple[tuple[str, ...], ...] = (
        ("shelf", "season", "--by", "person"),
        ("review", "--season", "--json"),
        ("shelf", "winds", "--json"),
    )
    found: dict[tuple[str, ...], list[Run]] = {words: [] for words in commands}
    for count in counts:
        with tempfile.TemporaryDirectory() as folder:
            home = Path(folder)
            fill(home, count)
            for words in commands:
                command = (*PROGRAM, *words, "--home", folder)
                run(command, environment)
                found[words].append(middle([run(command, environment) for _ in range(3)]))
    rows = []
    for words, runs in found.items():
        grown = (
            math.log(runs[-1].used_s / runs[0].used_s) / math.log(counts[-1] / counts[0]) if len(counts) > 1 else 0.0
        )
        cells = (f"{1e3 * one.used_s:.0f} ({one.most_MB:.0f} MB)" for one in runs)
        rows.append((f"`{' '.join(words)}`", *cells, f"{grown:.2f}"))
    return (
        rows_of(("ms of the processor", *(f"{count} winds" for count in counts), "grows by the power"), rows)
        + "\n\nRows and small traces invented by the bench; half of the winds were flown. Start-up is in each figure,"
        " so the power is below what one wind more costs."
    )


def printed_by(module: str, *words: str) -> str:
    """What another bench prints."""
    done = subprocess.run([sys.executable, "-m", module, *words], cwd=TOP, capture_output=True, text=True, check=False)
    return done.stdout.strip() or f"{module} printed nothing: {done.stderr.strip()[-300:]}"


def page(counts: list[int]) -> str:
    """Measure everything; return the page."""
    load = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "WINDING_COACH_HOME": folder, "PYTHONPATH": str(TOP)}
        parts = [
            "# Benchmarks",
            "Written by `python -m tests.bench.page`, which measures everything anew (some minutes). Speed is in no"
            " test: compare ratios and growth rather than milliseconds.",
            f"Measured on {os.cpu_count()} cores, {platform.machine()}, {platform.system()},"
            f" Python {platform.python_version()}; {load:.1f} other processes wanted a core when it began"
            f" ({'busy' if load > 1 else 'quiet'}).",
            "## A sample on its way",
            corridor_part(),
            "## Start-up and memory",
            start_part(environment),
            "## From a line on the port to the screen",
            f"```\n{printed_by('tests.bench.latency', '80')}\n```",
            "## A season",
            season_part(counts, environment),
        ]
    return "\n\n".join(parts) + "\n"


def main() -> None:
    """Write the page."""
    counts = [int(word) for word in sys.argv[1:]] or [300, 1000, 3000]
    PAGE.write_text(page(counts), encoding="utf-8")
    print(f"Written: {PAGE}")


if __name__ == "__main__":
    main()
