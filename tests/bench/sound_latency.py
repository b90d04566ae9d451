"""From a line on the port to the sound of it, through a pseudo-terminal: `python -m tests.bench.sound_latency [HZ]`.

The meter says now and then that it is past its rating, which is a danger at once. Counted is the time from writing the
first such line to the moment when the block in which the danger begins was asked for, and to the sample in it. The card
is the library's own that nobody hears, which asks for a block every 20 ms as a real one does. A real card plays after
what it still holds, two blocks at most, and adds its converter: that was not measured. Not a test: it depends on the
machine.
"""

from __future__ import annotations

import os
import pty
import sys
import threading
import time
import tty

import numpy as np
from numpy.typing import NDArray

from tests.scenario import SETTINGS
from winding_coach.coach.step import Coach
from winding_coach.live.session import Session
from winding_coach.live.sources.serial_port import SerialSource
from winding_coach.meter.frames import Sample, encode_sample
from winding_coach.sound.device import DEVICE_RATE_HZ, SoundCard
from winding_coach.sound.hearing import Cue, CueSelector
from winding_coach.sound.playing import Playing

DANGERS = 60
LOUD = 0.02
OVERLOADED = 0x04


class Meter:
    """Writes lines at an even pace; every two seconds some of them say overload."""

    def __init__(self, lines_per_s: float) -> None:
        self._master, slave = pty.openpty()
        tty.setraw(slave)
        self.device = os.ttyname(slave)
        self._lines_per_s = lines_per_s
        self.said_s: list[float] = []

    def run(self) -> None:
        rng = np.random.default_rng(5)
        began, seq, next_s, until_s = time.monotonic(), 0, 3.0, 0.0
        while len(self.said_s) < DANGERS + 1:
            at_s = time.monotonic() - began
            first = at_s > next_s
            if first:
                until_s, next_s = at_s + 0.4, at_s + 2.2 + float(rng.random()) * 0.1
            flags = OVERLOADED if at_s < until_s else 0
            line = encode_sample(Sample(seq % 65536, int(at_s * 1e6) % 2**32, 100_000, flags, crank=0))
            if first:
                self.said_s.append(time.monotonic())
            os.write(self._master, line)
            seq += 1
            time.sleep(max(0.0, began + seq / self._lines_per_s - time.monotonic()))


class Watched:
    """Notes, of each block, when it was asked for and where in it a danger begins."""

    def __init__(self, playing: Playing) -> None:
        self._playing = playing
        self._quiet = True
        self.begins: list[tuple[float, float]] = []
        self.took_s: list[float] = []

    def __call__(self, frames: int) -> NDArray[np.int16]:
        asked_s = time.monotonic()
        block = self._playing.block(frames)
        self.took_s.append(time.monotonic() - asked_s)
        cue = self._playing.hearing.cue
        danger = cue is not None and cue.cue is Cue.DANGER
        if danger and self._quiet:
            into_s = int(np.argmax(np.abs(block) > LOUD * 32767)) / DEVICE_RATE_HZ
            self.begins.append((asked_s, asked_s + into_s))
        self._quiet = not danger
        return block


def main() -> None:
    """Measure and print."""
    for lines_per_s in [float(word) for word in sys.argv[1:]] or [80.0]:
        meter = Meter(lines_per_s)
        session = Session(SerialSource(meter.device), Coach(SETTINGS))
        watched = Watched(Playing(session, CueSelector(), DEVICE_RATE_HZ))
        session.start()
        card = SoundCard(watched, null=True)
        thread = threading.Thread(target=meter.run)
        thread.start()
        before = time.process_time(), time.monotonic()
        thread.join()
        share = (time.process_time() - before[0]) / (time.monotonic() - before[1])
        card.close()
        session.stop()
        rows = []
        for said_s in meter.said_s[:-1]:
            after = [begin for begin in watched.begins if begin[0] > said_s]
            if after and after[0][0] - said_s < 1.0:
                rows.append([1e3 * (at_s - said_s) for at_s in after[0]])
        late = np.array(rows)
        print(
            f"{lines_per_s:.0f} lines/s, n={len(late)} of {DANGERS}; {share:.1%} of a core with meter, coach and sound"
        )
        for name, column in zip(("asking for the block", "the sample in it"), late.T, strict=True):
            middle, most = np.percentile(column, (50, 99))
            print(f"  to {name}: median {middle:.0f} ms, 99 % {most:.0f} ms")
        took = 1e3 * np.array(watched.took_s)
        print(f"  a block is made in {np.median(took):.2f} ms (99 %: {np.percentile(took, 99):.2f} ms)")


if __name__ == "__main__":
    main()
