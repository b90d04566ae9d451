"""From a line on the port to the changed screen, through a pseudo-terminal: `python -m tests.bench.latency [HZ]`.

Torque jumps now and then; counted is the time from writing the first line of the new torque to the first picture in
which the digits have changed. Prints the median and the 99th percentile; not a test, it depends on the machine.
"""

from __future__ import annotations

import asyncio
import os
import pty
import sys
import threading
import time
import tty

import numpy as np

from tests.scenario import SETTINGS
from winding_coach.coach.step import Coach
from winding_coach.meter.frames import Sample, encode_sample
from winding_coach.screen.app import CoachApp
from winding_coach.screen.figures import torque_figure
from winding_coach.screen.sheet import Sheet
from winding_coach.screen.sheet_view import SheetView
from winding_coach.session import Session
from winding_coach.sources.serial_port import SerialSource

JUMPS = 60


class Meter:
    """Writes lines at an even pace; every second or two torque jumps, when the digits have come to rest."""

    def __init__(self, lines_per_s: float) -> None:
        self._master, slave = pty.openpty()
        tty.setraw(slave)
        self.device = os.ttyname(slave)
        self._lines_per_s = lines_per_s
        self.jumped_s: list[float] = []
        self.stop = False

    def run(self) -> None:
        rng = np.random.default_rng(5)
        raw, seq, began = 100_000, 0, time.monotonic()
        next_jump = 4.0
        while not self.stop and len(self.jumped_s) < JUMPS:
            at_s = time.monotonic() - began
            jump = at_s > next_jump
            if jump:
                raw += 60_000 if raw < 200_000 else -60_000
                next_jump = at_s + 1.5 + float(rng.random()) * 0.2
            line = encode_sample(Sample(seq % 65536, int(at_s * 1e6) % 2**32, raw, 0, crank=0))
            if jump:
                self.jumped_s.append(time.monotonic())
            os.write(self._master, line)
            seq += 1
            time.sleep(max(0.0, began + seq / self._lines_per_s - time.monotonic()))


async def measure(meter: Meter) -> list[float]:
    """Run the app until the meter has done."""
    session = Session(SerialSource(meter.device), Coach(SETTINGS))
    app = CoachApp(session)
    changed: list[tuple[float, str]] = []
    paint = SheetView.show

    def noting(self: SheetView, sheet: Sheet, styles: dict[str, object]) -> None:
        paint(self, sheet, styles)  # type: ignore[arg-type]
        figure = torque_figure(session.view)
        if not changed or changed[-1][1] != figure:
            changed.append((time.monotonic(), figure))

    SheetView.show = noting  # type: ignore[method-assign, assignment]
    thread = threading.Thread(target=meter.run)
    async with app.run_test(size=(120, 40)):
        thread.start()
        while thread.is_alive():
            await asyncio.sleep(0.1)
    session.stop()
    times = np.array([at_s for at_s, _ in changed])
    late = []
    for jumped_s in meter.jumped_s[1:-1]:
        after = times[times > jumped_s]
        if len(after):
            late.append(float(after[0] - jumped_s))
    return late


def main() -> None:
    """Measure and print."""
    for lines_per_s in [float(word) for word in sys.argv[1:]] or [80.0, 320.0]:
        late = np.array(asyncio.run(measure(Meter(lines_per_s)))) * 1e3
        middle, worst = np.percentile(late, (50, 99))
        print(f"{lines_per_s:.0f} lines/s: median {middle:.0f} ms, 99 % {worst:.0f} ms, n={len(late)}")


if __name__ == "__main__":
    main()
