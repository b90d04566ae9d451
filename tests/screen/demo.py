"""The screen with an invented wind going by, to look at and to measure: `python -m tests.screen.demo SECONDS LOOKS`.

Prints, after so many seconds (or q), the processor time a second and the time to draw a picture.
"""

from __future__ import annotations

import sys
import threading
import time
from dataclasses import replace
from statistics import median

from tests.screen.views import SPEED, Still, curve_to, final, torque_at, walk_in, wind
from winding_coach.coach.view import CoachView
from winding_coach.screen import app as app_module
from winding_coach.screen.app import CoachApp
from winding_coach.screen.face import face
from winding_coach.screen.terminal import drawing


class Going(Still):
    """Four times an honest pace, again and again."""

    def __init__(self) -> None:
        super().__init__(wind().view)
        self._began = time.monotonic()

    def turns(self) -> float:
        return (time.monotonic() - self._began) * 4 * SPEED % 1310.0

    @property
    def view(self) -> CoachView:
        turns = self.turns()
        made = wind if turns < 700 else walk_in if turns < 1150 else final
        view = made().view
        reading = replace(view.reading, turns=turns, torque_Nm=torque_at(turns), distance_m=None)
        self.curve = curve_to(turns)
        return replace(view, at_s=turns / SPEED, reading=reading)

    @view.setter
    def view(self, _view: CoachView) -> None:
        """Made anew each time."""


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 1e9
    app_module.LOOKS_PER_S = int(sys.argv[2]) if len(sys.argv) > 2 else app_module.LOOKS_PER_S
    app = CoachApp(Going(), drawn=drawing())
    began, before = time.monotonic(), time.process_time()
    timer = threading.Timer(seconds, lambda: app.call_from_thread(app.exit))
    timer.daemon = True
    if seconds < 1e6:
        timer.start()
    app.run()
    timer.cancel()
    share = (time.process_time() - before) / (time.monotonic() - began)
    took = []
    for _ in range(50):
        start = time.perf_counter()
        face(app.scene(), *app.size)
        took.append(time.perf_counter() - start)
    print(f"{app.size.width}×{app.size.height}: {share:.1%} of a core, a picture in {median(took) * 1e3:.1f} ms")


if __name__ == "__main__":
    main()
