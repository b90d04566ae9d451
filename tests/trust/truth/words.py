"""What the coach's words ask for, read from the contract's codes and the sentence itself."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from typing import Any

from winding_coach.coach.said import Level, Prompt
from winding_coach.coach.view import CoachView

MORE = frozenset({"start_cranking", "walk_in_to", "hold_distance", "crank_slower", "crank_faster", "keep_cranking"})
KNOWN = MORE | {"tare", "stretch_to", "stop_at_peak", "back_off", "launch_ready", "note_down"}
ASKS = re.compile(
    r"crank on|keep cranking|keep the crank turning|start cranking|crank (slower|faster)|wind on", re.IGNORECASE
)
STOPS = re.compile(r"^(stop|do not|don.t|no )|stop cranking", re.IGNORECASE)
NO_NUMBER = re.compile(r"(?<![a-z])(nan|inf|infinity)(?![a-z])", re.IGNORECASE)


def asks_for_turns(prompt: Prompt) -> bool:
    """Whether a prompt asks for more turns of the crank. A code that is not known is judged by its sentence."""
    if STOPS.search(prompt.text):
        return False
    return prompt.code in MORE if prompt.code in KNOWN else ASKS.search(prompt.text) is not None


def stops(prompt: Prompt | None) -> bool:
    """Whether a prompt asks to stop, or to take turns off."""
    if prompt is None:
        return False
    return prompt.code in ("stop_at_peak", "back_off", "launch_ready") or STOPS.search(prompt.text) is not None


def in_danger(view: CoachView) -> bool:
    """Whether a danger stands."""
    return any(alarm.level is Level.DANGER for alarm in view.alarms)


def no_numbers(value: Any, at: str = "") -> Iterator[str]:
    """Give the places in a value where a number is no number, or a sentence prints one."""
    if isinstance(value, float):
        if not math.isfinite(value):
            yield at
    elif isinstance(value, str):
        if NO_NUMBER.search(value):
            yield f"{at}: {value!r}"
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from no_numbers(one, f"{at}.{key}")
    elif isinstance(value, (tuple, list)):
        for one in value:
            yield from no_numbers(one, at)
    elif is_dataclass(value) and not isinstance(value, type):
        for one in fields(value):
            yield from no_numbers(getattr(value, one.name), f"{at}.{one.name}")
