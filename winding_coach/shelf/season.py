"""Winds with their flights in, figures of a season out, for each person, motor, batch, model or month. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from winding_coach.shelf.records import Flight, Wind

GROUPS: dict[str, Callable[[Wind], str | None]] = {
    "all": lambda wind: "all",
    "person": lambda wind: wind.person,
    "motor": lambda wind: wind.motor,
    "batch": lambda wind: wind.batch,
    "model": lambda wind: wind.model,
    "month": lambda wind: wind.started[:7],
}
"""What winds can be put together by."""


@dataclass(slots=True)
class _Mean:
    total: float = 0.0
    count: int = 0

    def add(self, value: float | None) -> None:
        if value is not None:
            self.total += value
            self.count += 1

    @property
    def value(self) -> float | None:
        return self.total / self.count if self.count else None


@dataclass(frozen=True, slots=True)
class SeasonRow:
    """A group's figures: shares 0-1, means over the winds or flights that know the figure, None if none does.

    peak_share: turns at the peak over breaking turns. share_left: turns left over turns at launch.
    """

    group: str | None
    winds: int
    broken: int
    flights: int
    peak_share: float | None
    in_band: float | None
    stalls: float | None
    mean_duration_s: float | None
    best_duration_s: float | None
    share_left: float | None


@dataclass(slots=True)
class _Sum:
    winds: int = 0
    broken: int = 0
    flights: int = 0
    peak: _Mean = field(default_factory=_Mean)
    band: _Mean = field(default_factory=_Mean)
    stalls: _Mean = field(default_factory=_Mean)
    duration: _Mean = field(default_factory=_Mean)
    left: _Mean = field(default_factory=_Mean)
    best_s: float | None = None

    def add(self, wind: Wind, flight: Flight | None) -> None:
        self.winds += 1
        self.broken += wind.outcome == "broken"
        if wind.peak_turns is not None and wind.breaking_turns:
            self.peak.add(wind.peak_turns / wind.breaking_turns)
        self.band.add(wind.time_in_rate_band)
        self.stalls.add(wind.stalls)
        if flight is None:
            return
        self.flights += 1
        self.duration.add(flight.duration_s)
        if flight.duration_s is not None:
            self.best_s = max(self.best_s or 0.0, flight.duration_s)
        if flight.turns_left is not None and wind.launch_turns:
            self.left.add(flight.turns_left / wind.launch_turns)

    def row(self, group: str | None) -> SeasonRow:
        return SeasonRow(
            group,
            self.winds,
            self.broken,
            self.flights,
            self.peak.value,
            self.band.value,
            self.stalls.value,
            self.duration.value,
            self.best_s,
            self.left.value,
        )


def season(flown: Iterable[tuple[Wind, Flight | None]], by: str = "all") -> list[SeasonRow]:
    """Return the figures of each group, by name; winds that do not know it come last."""
    group_of = GROUPS[by]
    sums: dict[str | None, _Sum] = {}
    for wind, flight in flown:
        sums.setdefault(group_of(wind), _Sum()).add(wind, flight)
    return [sums[group].row(group) for group in sorted(sums, key=lambda name: (name is None, name or ""))]
