"""A wind and its flight in, what the flight used of it out. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from winding_coach.shelf.records import Flight, Wind


@dataclass(frozen=True, slots=True)
class FlightUse:
    """What a flight used. Turns of the motor; shares 0-1, left_share of the turns at launch, energy_share of the
    energy stored then. None where it is not known."""

    turns_used: float | None = None
    turns_per_s: float | None = None
    left_share: float | None = None
    energy_used_J: float | None = None
    energy_share: float | None = None


def use_of(wind: Wind, flight: Flight) -> FlightUse:
    """Return what the flight used of the wind's turns and energy."""
    launched, left = wind.launch_turns, flight.turns_left
    used = None if launched is None or left is None else launched - left
    used_J, stored_J = flight.energy_used_J, wind.energy_stored_J
    return FlightUse(
        turns_used=used,
        turns_per_s=used / flight.duration_s if used is not None and flight.duration_s else None,
        left_share=left / launched if launched and left is not None else None,
        energy_used_J=used_J,
        energy_share=used_J / stored_J if used_J is not None and stored_J else None,
    )
