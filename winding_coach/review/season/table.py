"""Winds and flights of the index in, each person's season out: medians and trends by the number of the wind. Pure.

Figures are the index's own, as the coach told them on the day; no trace is opened.
"""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from winding_coach.base.wind_values import BY_NAME, VALUES, WindValue
from winding_coach.review.season.trend import Trend, trend_of
from winding_coach.shelf.records import Flight, Wind

PER_WINDS = 10
"""Trends are told for so many winds."""
NOBODY = "(no name)"
Of = Callable[[Wind, Flight | None], float | None]


@dataclass(frozen=True, slots=True)
class IndexFigure:
    """key: with its unit. wanted: 1 more is better, -1 less is, 0 neither. kind: how it is shown."""

    key: str
    label: str
    kind: str
    wanted: int
    of: Of


def _off(seen: float | None, planned: float | None) -> float | None:
    return None if seen is None or not planned else abs(seen / planned - 1.0)


def _energy(wind: Wind, flight: Flight | None) -> float | None:
    if wind.energy_stored_J is None or wind.mass_kg is None:
        return None
    rubber_g = 1e3 * (wind.mass_kg - (wind.orings_kg or 0.0))
    return wind.energy_stored_J / rubber_g if rubber_g > 0.0 else None


def _share(wind: Wind, flight: Flight | None) -> float | None:
    return None if wind.peak_turns is None or not wind.breaking_turns else wind.peak_turns / wind.breaking_turns


def _turns_left(wind: Wind, flight: Flight | None) -> float | None:
    if flight is None or flight.turns_left is None or not wind.launch_turns:
        return None
    return flight.turns_left / wind.launch_turns


def _value(value: WindValue) -> IndexFigure:
    """Return a value of the table; torque in mN·m."""
    label = f"{value.label}, {value.unit}" if value.scale != 1.0 else value.label
    return IndexFigure(value.key, label, value.kind, value.wanted or 0, lambda w, f: value.written_of(w))


FIGURES: tuple[IndexFigure, ...] = (
    _value(BY_NAME["time_in_rate_band"]),
    _value(BY_NAME["stalled_s"]),
    IndexFigure(
        "peak_off", "peak off the plan's", "share", -1, lambda w, f: _off(w.peak_torque_Nm, w.target_peak_torque_Nm)
    ),
    IndexFigure(
        "launch_off",
        "launch off the plan's",
        "share",
        -1,
        lambda w, f: _off(w.launch_torque_Nm, w.target_launch_torque_Nm),
    ),
    IndexFigure("share_of_breaking_turns", "wound, of breaking turns", "share", 0, _share),
    IndexFigure("energy_stored_J_per_g", "stored at launch, J/g", "two", 0, _energy),
    IndexFigure("flight_s", "flight, s", "zero", 1, lambda w, f: None if f is None else f.duration_s),
    IndexFigure("turns_left_share", "turns left, of launch's", "share", 0, _turns_left),
    *(_value(one) for one in VALUES if one.wanted is not None and one.name not in ("time_in_rate_band", "stalled_s")),
)
MOST_DECIMALS = 5
_DECIMALS = {"zero": 0, "turns": 0, "one": 1, "two": 2, "torque": 2, "rate": 2}


def shown(figure: IndexFigure, value: float | None) -> str:
    """Return a figure as text."""
    if value is None:
        return "–"
    return f"{value:z.0%}" if figure.kind == "share" else f"{value:z.{_DECIMALS[figure.kind]}f}"


@dataclass(frozen=True, slots=True)
class Course:
    """One figure over a person's winds: (number of the wind, figure), its median, its trend if it can be looked for."""

    figure: IndexFigure
    points: tuple[tuple[float, float], ...]
    median: float | None
    trend: Trend | None

    @property
    def change(self) -> str:
        """The change for `PER_WINDS` winds."""
        return "–" if self.trend is None else self._signed(self.trend, self.trend.slope)

    @property
    def interval(self) -> str:
        """The interval of the change."""
        if self.trend is None:
            return "–"
        return f"{self._signed(self.trend, self.trend.low)} to {self._signed(self.trend, self.trend.high)}"

    def _signed(self, trend: Trend, slope: float) -> str:
        """A slope for `PER_WINDS` winds, to two digits of its interval; of a share in percentage points."""
        times = PER_WINDS * (100.0 if self.figure.kind == "share" else 1.0)
        reach = times * max(abs(trend.low), abs(trend.high))
        decimals = min(max(1 - math.floor(math.log10(reach)), 0), MOST_DECIMALS) if reach > 0.0 else 0
        return f"{times * slope:+.{decimals}f}"

    @property
    def told(self) -> str:
        """Whether it rises or falls, and whether that is better or worse."""
        if self.trend is None:
            return "too few winds"
        word = {1: "rises", -1: "falls", 0: "no trend"}[self.trend.told]
        return f"{word}, {self.verdict}" if self.verdict else word

    @property
    def words(self) -> str:
        """All that in one phrase."""
        if self.trend is None:
            return self.told
        unit = " percentage points" if self.figure.kind == "share" else ""
        return f"{self.told}: {self.change}{unit} ({self.interval})"

    @property
    def verdict(self) -> str:
        """What that means, where more or less of the figure is better."""
        if self.trend is None or self.trend.told == 0 or self.figure.wanted == 0:
            return ""
        return "better" if self.trend.told == self.figure.wanted else "worse"


@dataclass(frozen=True, slots=True)
class PersonSeason:
    """One person's winds in order. flights: how many were logged. simulated: on a simulated meter.

    weeks: (number of the week, winds in it), those with any.
    """

    name: str
    winds: int
    broken: int
    simulated: int
    flights: int
    first: str
    last: str
    courses: tuple[Course, ...]
    weeks: tuple[tuple[int, int], ...]

    def course(self, key: str) -> Course:
        """Return one figure's course."""
        return next(one for one in self.courses if one.figure.key == key)

    def as_json(self) -> dict[str, Any]:
        """Return it as an object; slopes are for one wind."""
        return {
            "person": self.name,
            "winds": self.winds,
            "broken": self.broken,
            "simulated": self.simulated,
            "flights": self.flights,
            "first": self.first,
            "last": self.last,
            "figures": [
                {
                    "figure": one.figure.key,
                    "winds": len(one.points),
                    "median": _rounded(one.median),
                    "slope_per_wind": _rounded(None if one.trend is None else one.trend.slope),
                    "slope_low": _rounded(None if one.trend is None else one.trend.low),
                    "slope_high": _rounded(None if one.trend is None else one.trend.high),
                }
                for one in self.courses
            ],
        }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 6)


def person_season(
    name: str, flown: Sequence[tuple[Wind, Flight | None]], trends: frozenset[str] | None = None
) -> PersonSeason:
    """Return a person's season; winds in order of time, one at least. trends: keys to look at, None for all."""
    courses = []
    for figure in FIGURES:
        found = [(n, figure.of(*pair)) for n, pair in enumerate(flown, 1)]
        points = tuple((float(n), value) for n, value in found if value is not None)
        xs, ys = [x for x, _ in points], [y for _, y in points]
        trend = trend_of(xs, ys) if trends is None or figure.key in trends else None
        courses.append(Course(figure, points, statistics.median(ys) if ys else None, trend))
    winds = [wind for wind, _ in flown]
    days = [date.fromisoformat(wind.started[:10]) for wind in winds]
    return PersonSeason(
        name,
        len(winds),
        sum(wind.outcome == "broken" for wind in winds),
        sum(wind.simulated for wind in winds),
        sum(flight is not None for _, flight in flown),
        winds[0].started[:10],
        winds[-1].started[:10],
        tuple(courses),
        tuple(sorted(Counter((day.toordinal() - 1) // 7 for day in days).items())),
    )


def season_of(
    flown: Iterable[tuple[Wind, Flight | None]], trends: frozenset[str] | None = None
) -> tuple[PersonSeason, ...]:
    """Return the season of each person, those with most winds first; winds come with the newest first."""
    by_person: dict[str, list[tuple[Wind, Flight | None]]] = {}
    for wind, flight in flown:
        by_person.setdefault(wind.person or NOBODY, []).append((wind, flight))
    seasons = [person_season(name, pairs[::-1], trends) for name, pairs in by_person.items()]
    return tuple(sorted(seasons, key=lambda one: (-one.winds, one.name)))
