"""Durations as people type them: 6:52, 6 min 52, 6m52s, 412, 412 s; where minutes or seconds may be meant, it asks."""

from __future__ import annotations

import re

from winding_coach.app.problem import UsageProblem
from winding_coach.base.units import QuantityError, parse_number

LONGEST_S = 3 * 3600.0
DOUBTED_BELOW_S = 60.0
"""A number with decimals and no unit below this may be minutes and seconds as well."""
_SECONDS = r"\d{1,2}(?:[.,]\d{1,3})?"
_CLOCK = re.compile(rf"(?:(\d{{1,2}}):)?(\d{{1,3}}):({_SECONDS})", re.ASCII)
_WORDS = re.compile(
    rf"(?:(\d{{1,2}})\s*h(?:ours?)?\s*)?(\d{{1,3}})\s*(?:minutes?|mins?|m|['′])"
    rf"(?:\s*({_SECONDS})\s*(?:seconds?|secs?|s|\"|''|″)?)?",
    re.ASCII | re.IGNORECASE,
)
_MINUTES = re.compile(r"(\d{1,3}[.,]\d{1,3})\s*(?:minutes?|mins?|m)", re.ASCII | re.IGNORECASE)
_NUMBER = re.compile(r"(\d{1,5}(?:[.,]\d{1,3})?)\s*(seconds?|secs?|s)?", re.ASCII | re.IGNORECASE)
_ANY = "|".join(form.pattern for form in (_CLOCK, _WORDS, _MINUTES, _NUMBER))
_BEGINS = re.compile(rf"(?:{_ANY})(?=\s|$)", re.ASCII | re.IGNORECASE)


def duration_s(typed: str) -> float:
    """Return a typed duration in seconds.

    Raises:
        UsageProblem: it is none, or may be minutes as well as seconds.
    """
    plain = typed.strip()
    found = _CLOCK.fullmatch(plain) or _WORDS.fullmatch(plain)
    minutes, number = _MINUTES.fullmatch(plain), _NUMBER.fullmatch(plain)
    value = -1.0
    try:
        if found is not None:
            seconds = parse_number(found[3] or "0")
            value = int(found[1] or 0) * 3600 + int(found[2]) * 60 + seconds if seconds < 60 else -1.0
        elif minutes is not None:
            value = 60.0 * parse_number(minutes[1])
        elif number is not None:
            value = parse_number(number[1])
            if number[2] is None and not number[1].isdigit() and value < DOUBTED_BELOW_S:
                raise UsageProblem(_doubt(number[1]))
    except QuantityError as error:
        raise UsageProblem(f"DURATION: {error}") from None
    if not 0 < value <= LONGEST_S:
        raise UsageProblem(f"DURATION: '{plain[:40]}' is no duration: type it as 6:52, 6 min 52 or 412.")
    return value


def _doubt(typed: str) -> str:
    whole, decimals = re.split(r"[.,]", typed)
    clock = f"{whole}:{decimals.ljust(2, '0')[:2]}" if decimals.ljust(2, "0")[:2] < "60" else f"{typed} min"
    return f"DURATION: '{typed}' may be {clock} or {typed} seconds: type {clock}, or {typed} s."


def split_duration(line: str) -> tuple[str, str]:
    """Return the duration that a line begins with, and the rest of the line."""
    plain = line.strip()
    found = _BEGINS.match(plain)
    if found is None:
        first, _, rest = plain.partition(" ")
        return first, rest.strip()
    return found.group(0).strip(), plain[found.end() :].strip()


def clock(seconds: float) -> str:
    """Return a duration as people of the field say it: minutes and seconds."""
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d}"
