"""How long ago or how long something was, in the unit a person would use."""

from __future__ import annotations

from datetime import timedelta

from winding_coach.base.units import counted


def since(rested: timedelta) -> str:
    """Return how long ago something was, in the unit a person would use."""
    return f"{for_long(rested.total_seconds())} ago"


def for_long(seconds: float) -> str:
    """Return how long something was, in the unit a person would use."""
    minutes = seconds / 60.0
    if minutes < 90:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.0f} h" if minutes < 48 * 60 else counted(round(minutes / 1440), "day")
