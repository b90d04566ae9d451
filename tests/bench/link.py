"""What the link costs: `python -m tests.bench.link [SECONDS]`. Prints milliseconds and shares; asserts nothing.

A process writes lines to a pseudo-terminal at 80 a second and notes when; the serial source reads them here. From a
line's writing to the input that completes it, and this process's time on the processor; then the same by TCP.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import tty

import numpy as np
from numpy.typing import NDArray

from winding_coach.base.inputs import BytesArrived
from winding_coach.live.sources.serial_port import SerialSource

FloatArray = NDArray[np.float64]
LINES_PER_S = 80
WRITER = f"""
import os, sys, time
far, lines = int(sys.argv[1]), int(sys.argv[2])
time.sleep(0.5)
began = time.monotonic()
for i in range(lines):
    wait = began + i / {LINES_PER_S} - time.monotonic()
    if wait > 0:
        time.sleep(wait)
    at = time.monotonic_ns()
    os.write(far, b"$D,%d,%d\\r\\n" % (i, at))
time.sleep(0.5)
"""
"""The line holds the time of its writing: the monotonic clock is one for all processes."""


def measure(source: SerialSource, far: int, lines: int) -> tuple[FloatArray, float, int]:
    """Return latencies in ms, the share of a processor that reading took, and how many inputs came."""
    writer = subprocess.Popen([sys.executable, "-c", WRITER, str(far), str(lines)], pass_fds=[far])
    took: list[float] = []
    rest = b""
    inputs = 0
    used, began = time.process_time(), time.monotonic()
    while writer.poll() is None:
        event = source.read(0.1)
        now = time.monotonic_ns()
        if not isinstance(event, BytesArrived):
            continue
        inputs += 1
        *whole, rest = (rest + event.data).split(b"\n")
        took += [(now - int(line.split(b",")[2])) / 1e6 for line in whole if line.startswith(b"$D,")]
    share = (time.process_time() - used) / (time.monotonic() - began)
    source.close()
    return np.array(took), share, inputs


def told(what: str, took: FloatArray, share: float, inputs: int) -> None:
    """Print one row."""
    p50, p99 = np.percentile(took, [50, 99])
    print(
        f"{what:<16} {len(took)} lines, {inputs / len(took):.2f} inputs a line, p50 {p50:.3f} ms, p99 {p99:.3f} ms, "
        f"longest {took.max():.3f} ms, {share:.2%} of a processor"
    )


def main() -> None:
    """Print both rows."""
    lines = int(float(sys.argv[1] if len(sys.argv) > 1 else 10) * LINES_PER_S)
    master, slave = os.openpty()
    tty.setraw(slave)
    told("pseudo-terminal", *measure(SerialSource(os.ttyname(slave)), master, lines))
    os.close(master)
    os.close(slave)
    with socket.create_server(("127.0.0.1", 0)) as server:
        source = SerialSource(f"socket://127.0.0.1:{server.getsockname()[1]}")
        source.read(1.0)
        far, _ = server.accept()
        with far:
            told("TCP", *measure(source, far.fileno(), lines))


if __name__ == "__main__":
    main()
