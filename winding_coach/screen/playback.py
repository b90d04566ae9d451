"""A saved wind to look at: every view worked out once by the same coach, then any moment is at hand at once.

It stands in for a session before the screen; seek, step and speed touch nothing but the place.
"""

from __future__ import annotations

import time
from bisect import bisect_right
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from winding_coach.base.inputs import Input
from winding_coach.coach.loop import taken
from winding_coach.coach.said import Alarm, Level, PhaseSaid
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.screen.chart import AlarmMark, Points
from winding_coach.screen.figures import clock_words

EVERY_S = 0.05
"""Views are kept this often, and whenever something is said."""
MOST_POINTS = 2000
JUMP_S = 5.0
SPEEDS = (0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0)


@dataclass(frozen=True, slots=True)
class Film:
    """A whole wind as pictures. views: in order of time, one at least. events_s: phases begun and alarms on."""

    name: str
    views: tuple[CoachView, ...]
    times_s: tuple[float, ...]
    events_s: tuple[float, ...]
    alarms: tuple[AlarmMark, ...]
    points: Points

    @property
    def end_s(self) -> float:
        """The last moment."""
        return self.times_s[-1]


def film_of(name: str, inputs: Iterable[Input], settings: CoachSettings, *, closed: bool = True) -> Film:
    """Return the film of a wind; costs about a second for ten minutes. closed: the wind was closed at its end."""
    coach = Coach(settings)
    views: list[CoachView] = [coach.view]
    events: list[float] = []
    alarms: list[AlarmMark] = []
    points: list[tuple[float, float | None, float]] = []

    for event in taken(coach, inputs, close=closed):
        if not coach.said and event.at_s - views[-1].at_s < EVERY_S:
            continue
        view = coach.view
        views.append(view)
        if view.reading.torque_Nm is not None:
            points.append((view.at_s, view.reading.turns, view.reading.torque_Nm))
        for said in coach.said:
            if isinstance(said, Alarm) and said.active:
                alarms.append((said.at_s, view.reading.turns, Level(said.level)))
            if isinstance(said, PhaseSaid) or (isinstance(said, Alarm) and said.active):
                events.append(said.at_s)
    thin = -(-len(points) // MOST_POINTS) or 1
    times = tuple(view.at_s for view in views)
    return Film(name, tuple(views), times, tuple(sorted(set(events))), tuple(alarms), tuple(points[::thin]))


class Playback:
    """A place in a film that moves with a clock; one `winding_coach.screen.looking.Looked`."""

    replaying = True
    trouble = None

    def __init__(
        self,
        film: Film,
        others: tuple[Film, ...] = (),
        *,
        speed: float = 1.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """speed: how fast to begin with. others: winds to compare with."""
        self._film = film
        self.others = others
        self._clock = clock
        self._at_s = 0.0
        self._since = clock()
        self._speed = speed
        self._paused = False
        self._commands: dict[str, Callable[[], None]] = {
            "pause": self._pause,
            "on": lambda: self.seek(self.at_s + JUMP_S),
            "back": lambda: self.seek(self.at_s - JUMP_S),
            "step": lambda: self._step(1),
            "step_back": lambda: self._step(-1),
            "next_event": lambda: self._event(1),
            "last_event": lambda: self._event(-1),
            "faster": lambda: self._change_speed(1),
            "slower": lambda: self._change_speed(-1),
            "begin": lambda: self.seek(0.0),
            "finish": lambda: self.seek(film.end_s),
        }

    # -- what the screen looks at

    @property
    def at_s(self) -> float:
        """The present place, in seconds of the wind."""
        # Changes nothing: the sound looks from a thread of its own.
        if self._paused:
            return self._at_s
        return min(self._at_s + (self._clock() - self._since) * self._speed, self._film.end_s)

    @property
    def view(self) -> CoachView:
        """The view at the place."""
        return self._film.views[self._number()]

    @property
    def curve(self) -> Playback:
        """Its own points."""
        return self

    def points(self) -> Points:
        """Return the chart's points up to the place."""
        points = self._film.points
        return points[: bisect_right(points, self.at_s, key=lambda point: point[0])]

    @property
    def alarms(self) -> tuple[AlarmMark, ...]:
        """The alarms that went on up to the place."""
        return tuple(mark for mark in self._film.alarms if mark[0] <= self.at_s)

    @property
    def trace_name(self) -> str | None:
        """The name of the trace."""
        return self._film.name

    @property
    def finished(self) -> bool:
        """Whether the place is the end."""
        return self.at_s >= self._film.end_s

    @property
    def place(self) -> tuple[float, str]:
        """The share of the film that is over, and the place in words."""
        at_s, end_s = self.at_s, self._film.end_s
        speed = f"{self._speed:g}×" if self._speed >= 1 else f"1/{1 / self._speed:g}×"
        state = "paused" if self._paused else "end" if at_s >= end_s else speed
        return (at_s / end_s if end_s > 0 else 1.0), f"{clock_words(at_s)} of {clock_words(end_s)}  {state}"

    @property
    def comparison(self) -> tuple[str, float | None] | None:
        """The first other wind's name and its torque at the present turns (N·m), None without another."""
        if not self.others:
            return None
        other, turns = self.others[0], self.view.reading.turns
        return other.name, None if turns is None else torque_at_turns(other.points, turns)

    # -- what moves it

    def start(self) -> None:
        """Begin to move."""
        self._since = self._clock()

    def stop(self) -> None:
        """Nothing is held."""

    def press(self, key_name: str) -> None:
        """The wind's own keys are recorded: none is taken."""

    def command(self, name: str) -> None:
        """Do one of the commands of `wording.PLAY_KEYS`."""
        self._commands[name]()

    def seek(self, at_s: float) -> None:
        """Go to a moment, within the film."""
        self._at_s = min(max(at_s, 0.0), self._film.end_s)
        self._since = self._clock()

    def _number(self) -> int:
        return max(bisect_right(self._film.times_s, self.at_s) - 1, 0)

    def _pause(self) -> None:
        if self.finished and not self._paused:
            self.seek(0.0)
            return
        self.seek(self.at_s)
        self._paused = not self._paused

    def _step(self, by: int) -> None:
        number = min(max(self._number() + by, 0), len(self._film.views) - 1)
        self._paused = True
        self.seek(self._film.times_s[number])

    def _event(self, by: int) -> None:
        at_s, events = self.at_s, self._film.events_s
        if by > 0:
            self.seek(next((event for event in events if event > at_s + 1e-6), self._film.end_s))
        else:
            # A second's grace, so that pressing twice goes back twice while it plays.
            grace = 0.0 if self._paused else 1.0
            self.seek(next((event for event in reversed(events) if event < at_s - grace - 1e-6), 0.0))

    def _change_speed(self, by: int) -> None:
        self.seek(self.at_s)
        nearest = min(range(len(SPEEDS)), key=lambda number: abs(SPEEDS[number] - self._speed))
        self._speed = SPEEDS[min(max(nearest + by, 0), len(SPEEDS) - 1)]


def torque_at_turns(points: Points, turns: float) -> float | None:
    """Return the torque of a wind when it first had so many turns, None if it never had."""
    before: tuple[float, float] | None = None
    for _, at, torque_Nm in points:
        if at is None:
            continue
        if at >= turns:
            if before is None or at == before[0]:
                return torque_Nm
            return before[1] + (torque_Nm - before[1]) * (turns - before[0]) / (at - before[0])
        before = (at, torque_Nm)
    return None
