"""Make the traces in `recordings/`: each a simulated wind through a real pseudo-terminal, in real time.

`python -m tests.make_recordings` runs them side by side and takes as long as the longest, about three minutes.
"""

from __future__ import annotations

import gzip
import json
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

RECORDINGS = Path(__file__).parent.parent / "recordings"
MOTOR = ["--loop", "30 cm", "--mass", "1.40 g", "--orings", "0.08 g", "--ratio", "10", "--hooks", "22 cm"]
WINDS: dict[str, list[str]] = {
    "good-wind": ["--script", "good"],
    "stalled-crank": ["--script", "stall"],
    "walked-in-too-fast": ["--script", "hasty"],
    "overwound-until-it-broke": ["--script", "overwind"],
    "meter-reset-and-unplugged": ["--script", "good", "--seed", "5", "--fault", "reset@40", "--fault", "unplug@85:4"],
}
"""Name of each recording and what the emulator is asked for."""


def record(name: str, options: list[str], folder: Path) -> tuple[subprocess.Popen[str], subprocess.Popen[str]]:
    """Start an emulated meter and a coach on its port; return both."""
    link = folder / f"{name}.port"
    meter = subprocess.Popen(
        [sys.executable, "-m", "winding_coach", "meter", "emulate", *MOTOR, *options, "--link", str(link)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert meter.stdout is not None
    meter.stdout.readline()
    coaching = ["wind", "--headless", "--port", str(link), "--calibration", "simulated", *MOTOR, "--motor", "th-07"]
    whose = ["--model", "Thistledown", "--person", "Wren", "--home", str(folder / name)]
    coach = subprocess.Popen(
        [sys.executable, "-m", "winding_coach", *coaching, *whose],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        text=True,
    )
    return meter, coach


def say_that_it_broke(coach: subprocess.Popen[str], traces: Path) -> None:
    """Press the key that says so, once the torque is gone; nobody else can."""
    assert coach.stdin is not None
    while coach.poll() is None:
        if any('"motor_broke"' in trace.read_text(encoding="utf-8") for trace in traces.glob("*.wind.jsonl")):
            time.sleep(5.0)
            coach.stdin.write("broke\n")
            coach.stdin.flush()
            return
        time.sleep(0.5)


def main() -> int:
    """Record them all."""
    folder = Path(tempfile.mkdtemp())
    try:
        running = {name: record(name, options, folder) for name, options in WINDS.items()}
        for name, (meter, coach) in running.items():
            if name == "overwound-until-it-broke":
                say_that_it_broke(coach, folder / name / "traces")
            coach.wait(400)
            meter.terminate()
            meter.wait(10)
            (trace,) = (folder / name / "traces").glob("*.wind.jsonl")
            text = trace.read_text(encoding="utf-8").replace(f"{folder}/", "")  # a port's name alone
            lines = text.splitlines(keepends=True)
            header = json.loads(lines[0])
            header["simulated"] = f"no real motor or meter: meter emulate {' '.join(WINDS[name])}"
            lines[0] = json.dumps(header, ensure_ascii=False, separators=(",", ":")) + "\n"
            packed = gzip.compress("".join(lines).encode("utf-8"), mtime=0)
            RECORDINGS.mkdir(exist_ok=True)
            (RECORDINGS / f"{name}.wind.jsonl.gz").write_bytes(packed)
            print(f"{name}: {len(lines)} lines, {len(packed) // 1024} KiB, {json.loads(lines[-1]).get('outcome')}")
    finally:
        shutil.rmtree(folder)
    return 0


if __name__ == "__main__":
    sys.exit(main())
