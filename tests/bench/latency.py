"""From a line on the port to the changed screen, through a pseudo-terminal: `python -m tests.bench.latency [HZ...]`.

Torque jumps now and then, once the digits have come to rest: up and down by 12 % of the peak torque. Counted is the
time from writing the first line of the new torque to the first painted screen whose figure has moved that way by three
units of its last place or more, and to the first that is within a tenth of the jump of the new torque. Painted is what
the library hands to the terminal; the terminal's own time is not in it. Prints medians and 99th percentiles, and the
processor time that coach, screen and this meter took together; not a test, it depends on the machine. A rate takes
two and a half minutes.
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
from textual.app import App

from tests.scenario import SETTINGS
from winding_coach.coach.step import Coach
from winding_coach.live.session import Session
from winding_coach.live.sources.serial_port import SerialSource
from winding_coach.meter.frames import Sample, encode_sample
from winding_coach.screen.app import CoachApp
from winding_coach.screen.figures import torque_figure
from winding_coach.screen.sheet import Sheet
from winding_coach.screen.sheet_view import SheetView

JUMPS = 40
JUMP_COUNTS = 60_000
JUMP_mNm = JUMP_COUNTS * SETTINGS.calibration.Nm_per_count * 1e3
MOVED_mNm = 0.03
REST_S = 3.2
"""Longer than the smoothing remembers."""
SIZE = (120, 40)


class Meter:
    """Writes lines at an even pace; every few seconds torque jumps."""

    def __init__(self, lines_per_s: float) -> None:
        self._master, slave = pty.openpty()
        tty.setraw(slave)
        self.device = os.ttyname(slave)
        self._lines_per_s = lines_per_s
        self.jumped_s: list[float] = []
        self.up: list[bool] = []
        self.behind_s = 0.0

    def run(self) -> None:
        rng = np.random.default_rng(5)
        raw, seq, began = 100_000, 0, time.monotonic()
        next_jump = 5.0
        while len(self.jumped_s) <= JUMPS:
            at_s = time.monotonic() - began
            jump = at_s > next_jump
            if jump:
                self.up.append(raw < 130_000)
                raw += JUMP_COUNTS if self.up[-1] else -JUMP_COUNTS
                next_jump = at_s + REST_S + float(rng.random()) * 0.2
            line = encode_sample(Sample(seq % 65536, int(at_s * 1e6) % 2**32, raw, 0, crank=0))
            if jump:
                self.jumped_s.append(time.monotonic())
            os.write(self._master, line)
            seq += 1
            left_s = began + seq / self._lines_per_s - time.monotonic()
            self.behind_s = max(self.behind_s, -left_s)
            time.sleep(max(0.0, left_s))


class Painted:
    """When which figure was on the screen."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._figure = ""
        self.at_s: list[float] = []
        self.mNm: list[float] = []
        self.pictures = 0

    def watch(self) -> None:
        show, display = SheetView.show, App._display

        def showing(view: SheetView, sheet: Sheet, styles: dict[str, object]) -> None:
            self._figure = torque_figure(self._session.view)
            self.pictures += 1
            show(view, sheet, styles)  # type: ignore[arg-type]

        def displaying(app: App[None], screen: object, renderable: object) -> None:
            display(app, screen, renderable)  # type: ignore[arg-type]
            try:
                mNm = float(self._figure)
            except ValueError:
                return
            if not self.mNm or mNm != self.mNm[-1]:
                self.at_s.append(time.monotonic())
                self.mNm.append(mNm)

        SheetView.show = showing  # type: ignore[method-assign, assignment]
        App._display = displaying  # type: ignore[method-assign, assignment]

    def first(self, after_s: float, test: object) -> float | None:
        for at_s, mNm in zip(self.at_s, self.mNm, strict=True):
            if at_s > after_s and test(mNm):  # type: ignore[operator]
                return at_s - after_s
        return None


async def measure(meter: Meter) -> tuple[list[float], list[float], float, float]:
    """Run the app until the meter has done."""
    session = Session(SerialSource(meter.device), Coach(SETTINGS))
    painted = Painted(session)
    painted.watch()
    app = CoachApp(session)
    thread = threading.Thread(target=meter.run)
    async with app.run_test(size=SIZE):
        before, began = time.process_time(), time.monotonic()
        thread.start()
        while thread.is_alive():
            await asyncio.sleep(0.1)
        share = (time.process_time() - before) / (time.monotonic() - began)
        pace = painted.pictures / (time.monotonic() - began)
    session.stop()
    moved, there = [], []
    for jumped_s, up in zip(meter.jumped_s[:-1], meter.up, strict=False):
        old = [mNm for at_s, mNm in zip(painted.at_s, painted.mNm, strict=True) if at_s <= jumped_s]
        if not old:
            continue
        way = 1.0 if up else -1.0
        first = painted.first(jumped_s, lambda mNm, o=old[-1], w=way: w * (mNm - o) >= MOVED_mNm)
        whole = painted.first(jumped_s, lambda mNm, o=old[-1], w=way: abs(w * (mNm - o) - JUMP_mNm) <= 0.1 * JUMP_mNm)
        moved += [first] if first is not None and first < REST_S else []
        there += [whole] if whole is not None and whole < REST_S else []
    return moved, there, share, pace


def main() -> None:
    """Measure and print."""
    for lines_per_s in [float(word) for word in sys.argv[1:]] or [80.0, 320.0]:
        meter = Meter(lines_per_s)
        moved, there, share, pace = asyncio.run(measure(meter))
        print(
            f"{lines_per_s:.0f} lines/s, {SIZE[0]}×{SIZE[1]}: {share:.1%} of a core, {pace:.0f} pictures a second,"
            f" the meter at most {1e3 * meter.behind_s:.0f} ms behind"
        )
        for name, late in (("digits moved", moved), ("digits there", there)):
            if not late:
                print(f"  {name}: never")
                continue
            middle, worst = np.percentile(np.array(late) * 1e3, (50, 99))
            print(f"  {name}: median {middle:.0f} ms, 99 % {worst:.0f} ms, n={len(late)} of {JUMPS}")


if __name__ == "__main__":
    main()
