"""Motors with their winds in, which to take next out: rested longest first, proven ones for what counts. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from winding_coach.rubber.motor import BROKEN_IN_FROM_USE, usual_share
from winding_coach.shelf.records import Motor, Wind

FULL_REST = timedelta(hours=24)
"""After this rubber has recovered from a wind: about a day by J. Horton, Rubber motor testing, American Aircraft
Modeler, August 1968, p. 47; overnight by others' practice."""
SHORT_REST = timedelta(minutes=30)
"""A motor wound so lately is still far from recovered; our own rule, no source."""
UNSAID = "gone"
"""The outcome of a wind in which torque went, until someone says whether the motor broke."""
BETWEEN_FLIGHTS = timedelta(minutes=20)
"""From one wind of a day to the next; assumed."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A motor that could be wound next. uses so far; share of the next wind (0-1); rested since its last wind began,
    None for one that was never wound. unsaid: id of its last wind if torque went in it and no one said why."""

    motor: Motor
    uses: int
    share: float
    rested: timedelta | None
    unsaid: str | None = None

    @property
    def broken_in(self) -> bool:
        """Whether it has been wound often enough to be taken for an official flight."""
        return self.uses + 1 >= BROKEN_IN_FROM_USE

    @property
    def state(self) -> str:
        """What rest says of it, in a few words."""
        if self.unsaid is not None:
            return "broke?"
        if self.rested is None:
            return "new"
        if self.rested >= FULL_REST:
            return "rested"
        return "just wound" if self.rested < SHORT_REST else "resting"


def candidates(
    motors: Iterable[Motor], uses: Mapping[str, int], winds: Iterable[Wind], now: datetime
) -> list[Candidate]:
    """Return the motors in the order in which to take them: rested longest first, then new ones, then those of which
    no one said whether they broke.

    motors: those in use. uses: by name in small letters. winds: of these motors, simulated ones left out.
    """
    last: dict[str, tuple[datetime, Wind]] = {}
    for wind in winds:
        if wind.motor is None or wind.simulated:
            continue
        key, started = wind.motor.casefold(), datetime.fromisoformat(wind.started)
        if key not in last or started > last[key][0]:
            last[key] = started, wind
    found = []
    for motor in motors:
        key = motor.name.casefold()
        used = motor.uses_before + uses.get(key, 0)
        rested, unsaid = None, None
        if key in last:
            started, wind = last[key]
            rested = max(now - started, timedelta())
            unsaid = wind.id if wind.outcome == UNSAID else None
        found.append(Candidate(motor, used, usual_share(used + 1), rested, unsaid))
    return sorted(found, key=_rank)


def _rank(one: Candidate) -> tuple[bool, bool, float, str]:
    rested_s = 0.0 if one.rested is None else min(one.rested, FULL_REST).total_seconds()
    return one.unsaid is not None, one.rested is None, -rested_s, one.motor.name.casefold()


def day_of(ranked: Sequence[Candidate], flights: int, officials: int) -> list[tuple[Candidate, bool]]:
    """Return the motors of a day's flights in order, each with whether it is for an official one.

    Test flights come first, on motors that still need breaking in; officials last, on motors that are broken in where
    there are any. No motor flies twice running where there is another, and the one that rested longest goes first.
    Motors of which no one said whether they broke are left out.
    """
    ranked = [one for one in ranked if one.unsaid is None]
    if not ranked:
        return []
    plan: list[tuple[Candidate, bool]] = []
    uses = {one.motor.name: one.uses for one in ranked}
    free_at: dict[str, float] = {
        one.motor.name: -min(one.rested or FULL_REST, FULL_REST) / BETWEEN_FLIGHTS for one in ranked
    }
    by_name = {one.motor.name: one for one in ranked}
    last: str | None = None
    for number in range(flights):
        official = number >= flights - officials

        def rank(name: str, *, official: bool = official, last: str | None = last) -> tuple[bool, bool, float, str]:
            broken_in = uses[name] + 1 >= BROKEN_IN_FROM_USE
            return name == last, broken_in != official, free_at[name], name.casefold()

        last = min(by_name, key=rank)
        used = uses[last]
        plan.append((Candidate(by_name[last].motor, used, usual_share(used + 1), None), official))
        free_at[last], uses[last] = float(number), used + 1
    return plan
