"""The states that people meet, as a stand-in for a session whose view stands still; and the screen as plain text."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache

from textual.app import App

from tests.scenario import SETTINGS, wind
from winding_coach.coach.curve import Curve
from winding_coach.coach.said import Alarm, Level
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView, LinkView
from winding_coach.inputs import LinkDown, TimePassed


@dataclass
class Still:
    """A session that stands still and remembers what was pressed."""

    view: CoachView
    curve: Curve = field(default_factory=Curve)
    replaying: bool = False
    finished: bool = False
    trace_name: str | None = "2026-03-01-140509-th-07.wind.jsonl"
    trouble: str | None = None
    pressed: list[str] = field(default_factory=list)
    started: int = 0
    stopped: int = 0

    def press(self, key_name: str) -> None:
        self.pressed.append(key_name)

    def start(self) -> None:
        self.started += 1

    def stop(self) -> None:
        self.stopped += 1


@lru_cache(maxsize=8)
def _wound(style: str, until_s: float) -> tuple[CoachView, tuple[tuple[float, float | None, float], ...]]:
    coach, curve = Coach(SETTINGS), Curve()
    for number, event in enumerate(wind(style)):
        if event.at_s > until_s:
            break
        coach.step(event)
        if number % 4 == 0 and coach.view.reading.torque_Nm is not None:
            curve.add(event.at_s, coach.view.reading.turns, coach.view.reading.torque_Nm)
    return coach.view, curve.points()


def wound(style: str, until_s: float) -> Still:
    """A simulated wind as it looks at a moment."""
    view, points = _wound(style, until_s)
    curve = Curve()
    for point in points:
        curve.add(*point)
    return Still(view, curve)


def state(name: str) -> Still:
    """One of `STATES` by name."""
    return STATES[name]()


def _waiting() -> Still:
    coach = Coach(SETTINGS)
    coach.step(LinkDown(0.1, "no meter is plugged in: connect it by USB"))
    return Still(coach.view)


def _silent() -> Still:
    coach = Coach(SETTINGS)
    for event in wind("good"):
        if event.at_s < 80.0:
            coach.step(event)
    coach.step(TimePassed(83.0))
    return replace(wound("good", 80.0), view=coach.view)


def _danger() -> Still:
    still = wound("overwind", 112.0)
    more = Alarm(110.0, "winder_limit", Level.DANGER, True, "Winder past its rating: stop cranking.")
    return replace(still, view=replace(still.view, alarms=(*still.view.alarms, more)))


def _inch() -> Still:
    still = wound("good", 60.0)
    return replace(still, view=replace(still.view, units="inch"))


def _trouble() -> Still:
    still = wound("good", 60.0)
    return replace(still, trouble="The trace cannot be written (No space left on device): make room on the disk.")


def _lost() -> Still:
    still = wound("good", 60.0)
    link = LinkView("down", "/dev/ttyACM0", "the meter was unplugged", "uno", lost_lines=12, bad_lines=3, restarts=1)
    return replace(still, view=replace(still.view, link=link, stale=True))


STATES = {
    "waiting": _waiting,
    "hook-up": lambda: wound("good", 1.0),
    "stretch-out": lambda: wound("good", 5.0),
    "wind": lambda: wound("good", 60.0),
    "walk-in": lambda: wound("good", 90.0),
    "stalled": lambda: wound("stall", 88.0),
    "final": lambda: wound("good", 112.5),
    "danger": _danger,
    "back-off": lambda: wound("good", 121.0),
    "ready": lambda: wound("good", 128.0),
    "done": lambda: wound("good", 400.0),
    "broken": lambda: wound("overwind", 400.0),
    "silent": _silent,
    "lost": _lost,
    "replaying": lambda: replace(wound("good", 60.0), replaying=True, trace_name=None),
    "trouble": _trouble,
    "inch": _inch,
}


def shown(app: App[None]) -> str:
    """The screen as lines of text, without colours, trailing blanks cut."""
    from textual.geometry import Region

    size = app.size
    lines = app.screen._compositor.render_strips(size)
    text = ["".join(segment.text for segment in strip).rstrip() for strip in lines]
    assert Region.from_offset((0, 0), size).height == len(text)
    return "\n".join(text) + "\n"
