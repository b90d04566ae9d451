"""A plan as the JSON object of `plan --json` and of a trace's first line, and back. Keys carry their units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any

from winding_coach.rubber.figures import FiguresError, Plan, WalkInRow

BEYOND = 1e300
"""No figure is so large; whole numbers of any length are compared with it, but could not be made floats."""
_ROWS = tuple(field.name for field in fields(WalkInRow))
_WORDS = ("rests_on", "limits", "walk_in")
_NUMBERS = tuple(field.name for field in fields(Plan) if field.name not in _WORDS)


def plan_to_json_dict(plan: Plan) -> dict[str, Any]:
    """Return the plan as an object ready for `json.dumps`; every figure in SI."""
    return {**asdict(plan), "walk_in": [asdict(row) for row in plan.walk_in], "limits": list(plan.limits)}


def plan_from_json_dict(said: object) -> Plan:
    """Return the plan that such an object holds; unknown keys are ignored, floats come back bit for bit.

    Raises:
        FiguresError: it is no such object, or a figure is missing or no number.
    """
    if not isinstance(said, Mapping):
        raise FiguresError("The plan is not a JSON object: make it again from the motor's measurements.")
    rows = said.get("walk_in")
    limits = said.get("limits", [])
    if not isinstance(rows, list) or not rows or not isinstance(limits, list):
        raise FiguresError("The plan has no walk-in: make it again from the motor's measurements.")
    return Plan(
        **{name: _number(said, name) for name in _NUMBERS},
        walk_in=tuple(WalkInRow(**{name: _number(row, name) for name in _ROWS}) for row in rows),
        rests_on=str(said.get("rests_on", "not known")),
        limits=tuple(str(limit) for limit in limits),
    )


def _number(said: object, name: str) -> float:
    value = said.get(name) if isinstance(said, Mapping) else None
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < BEYOND:
        raise FiguresError(
            f"The plan's {name} is missing or no number: make the plan again from the motor's measurements."
        )
    return value
