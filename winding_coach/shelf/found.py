"""What a wind found: how long its motor had rested and how old its rubber was, from the other records. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from winding_coach.shelf.records import Batch, Motor, Wind
from winding_coach.shelf.store import Shelf


@dataclass(frozen=True, slots=True)
class Found:
    """rest_s: from the end of its motor's last wind to its beginning, None for a first wind. rubber_age_days: since
    its batch was received, else since its motor was made; None where neither date is known."""

    rest_s: float | None = None
    rubber_age_days: int | None = None


NOTHING = Found()


def found_by(winds: Iterable[Wind], motors: Iterable[Motor], batches: Iterable[Batch]) -> dict[str, Found]:
    """Return what each wind found, by its id.

    winds: all of the shelf. Those on a simulated meter are no winds of a real motor, so each kind rests by itself.
    """
    made = {one.name.casefold(): one for one in motors}
    received = {one.name.casefold(): one.received for one in batches}
    over: dict[tuple[str, bool], datetime] = {}
    found: dict[str, Found] = {}
    for started, wind in sorted(((datetime.fromisoformat(one.started), one) for one in winds), key=lambda one: one[0]):
        rest_s, motor = None, None
        if wind.motor is not None:
            key = wind.motor.casefold(), wind.simulated
            if key in over:
                rest_s = max((started - over[key]).total_seconds(), 0.0)
            over[key] = started + timedelta(seconds=wind.duration_s or 0.0)
            motor = made.get(key[0])
        batch = wind.batch or (None if motor is None else motor.batch)
        since = None if batch is None else received.get(batch.casefold())
        if since is None and motor is not None:
            since = motor.made
        found[wind.id] = Found(rest_s, None if since is None else _days(since, started))
    return found


def found_on(shelf: Shelf) -> dict[str, Found]:
    """Return what each wind of a shelf found, by its id; voided winds are left out.

    Raises:
        ShelfError: the shelf cannot be read.
    """
    return found_by(shelf.winds(), shelf.all(Motor), shelf.all(Batch))


def _days(since: str, started: datetime) -> int | None:
    """Return whole days from a date on, None where that is later."""
    days = (started.date() - date.fromisoformat(since[:10])).days
    return days if days >= 0 else None
