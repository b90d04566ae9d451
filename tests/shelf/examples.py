"""Records of the invented scenario. All figures are invented."""

from __future__ import annotations

import dataclasses
from datetime import datetime, timedelta, timezone

from winding_coach.shelf.records import Batch, Meter, Model, Motor, Person, Wind, Winder

AMBER = Batch("amber", "2026-01-10", (2.19e-3, 2.2e-3, 2.205e-3), "from the second box")
TH_07 = Motor("th-07", 0.30, 1.40e-3, 0.08e-3, 2, "amber", "2026-02-01")
TEN = Winder("ten", 10.0, 0.05)
THISTLEDOWN = Model("Thistledown", 0.22, 1.2e-3, 3.4e-3, "propeller 40 cm")
WREN = Person("Wren")
METER = Meter("bench-1", "c-1", "2026-02-02T10:00:00+00:00")
ALL = (AMBER, TH_07, TEN, THISTLEDOWN, WREN, METER)


FIRST = datetime(2026, 3, 7, 10, tzinfo=timezone(timedelta(hours=1)))


def a_wind(number: int = 1, motor: str | None = "th-07", **other: object) -> Wind:
    """The number-th wind of a day, gone as planned."""
    wind = Wind(
        id=f"{number:08x}-0000-4000-8000-000000000000",
        started=(FIRST + timedelta(minutes=number)).isoformat(),
        trace=f"2026-03-07-{number:06d}-{motor}.wind.jsonl",
        outcome="done",
        person="Wren",
        motor=motor,
        model="Thistledown",
        target_turns=1300.0,
        peak_turns=1310.0,
        launch_turns=1270.0,
        energy_stored_J=12.0,
        duration_s=130.5,
        trace_bytes=1000,
    )
    return dataclasses.replace(wind, **other)  # type: ignore[arg-type]
