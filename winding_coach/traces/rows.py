"""Inputs to the rows of a trace and back: one JSON line each, and the sentence for each line that is none. Pure.

`[at_s,"rx","…"]` bytes (each one character U+0000-U+00FF), `[at_s,"time"]`, `[at_s,"key",name]`,
`[at_s,"link","up",port]`, `[at_s,"link","down",reason]`, `[at_s,"skip",bytes,reason]`. What the coach said stands
between them as objects.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any, NoReturn

from winding_coach.inputs import KEYS, BytesArrived, Ended, Input, KeyPressed, LinkDown, LinkUp, Skipped, TimePassed

MOST_SKIPPED = 2**53
"""Bytes: more than any link brings, and still the same whole number in every JSON reader."""
LATEST_S = 1e9
"""No wind lasts thirty years; this also refuses infinities and NaN."""


class TraceError(ValueError):
    """A trace that cannot be read or written; the message is one sentence that says what and where."""


def dump(value: Any) -> str:
    """Return `value` as one compact line of JSON, without the line end.

    Raises:
        ValueError: a number in it is not finite.
    """
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def input_row(event: Input) -> str | None:
    """Return the row of an input; None for `Ended`, which a trace does not hold."""
    match event:
        case BytesArrived(at_s, data):
            return dump([at_s, "rx", data.decode("latin-1")])
        case TimePassed(at_s):
            return dump([at_s, "time"])
        case KeyPressed(at_s, name):
            return dump([at_s, "key", name])
        case LinkUp(at_s, port):
            return dump([at_s, "link", "up", port])
        case LinkDown(at_s, reason):
            return dump([at_s, "link", "down", reason])
        case Skipped(at_s, count, reason):
            return dump([at_s, "skip", count, reason])
        case Ended():
            return None


def _refuse(constant: str) -> NoReturn:
    raise ValueError(f"{constant} is no number of a trace")


def load(line: str) -> Any:
    """Return the JSON value of one line.

    Raises:
        TraceError: not JSON, too deep, or a number that is not finite.
    """
    try:
        return json.loads(line, parse_constant=_refuse)
    except (ValueError, RecursionError):
        raise TraceError("is not JSON") from None


def _rx(at_s: float, text: str) -> Input:
    try:
        return BytesArrived(at_s, text.encode("latin-1"))
    except UnicodeEncodeError:
        raise TraceError("holds received bytes that are none") from None


def _key(at_s: float, name: str) -> Input:
    if name not in KEYS:
        raise TraceError("names a key that there is not")
    return KeyPressed(at_s, name)


def _skip(at_s: float, rest: list[Any]) -> Input:
    match rest:
        case [int(count), str(reason)] if not isinstance(count, bool) and 0 <= count <= MOST_SKIPPED:
            return Skipped(at_s, count, reason)
    raise TraceError("is no input of a trace")


_SHAPES: dict[tuple[str, int], Callable[[float, list[str]], Input]] = {
    ("rx", 1): lambda at_s, rest: _rx(at_s, rest[0]),
    ("time", 0): lambda at_s, rest: TimePassed(at_s),
    ("key", 1): lambda at_s, rest: _key(at_s, rest[0]),
}
_LINKS: dict[str, Callable[[float, str], Input]] = {"up": LinkUp, "down": LinkDown}


def input_from(row: list[Any]) -> Input:
    """Return the input of a row.

    Raises:
        TraceError: the row is none.
    """
    at_s, kind, *rest = row if len(row) >= 2 else (None, None)
    if isinstance(at_s, bool) or not isinstance(at_s, (int, float)) or not 0 <= at_s <= LATEST_S:
        raise TraceError("has no time")
    if isinstance(kind, str) and all(isinstance(word, str) for word in rest):
        shape = _SHAPES.get((kind, len(rest)))
        if shape is not None:
            return shape(float(at_s), rest)
        if kind == "link" and len(rest) == 2 and rest[0] in _LINKS:
            return _LINKS[rest[0]](float(at_s), rest[1])
    if kind == "skip":
        return _skip(float(at_s), rest)
    raise TraceError("is no input of a trace")
