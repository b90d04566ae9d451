"""Inputs to the rows of a trace and back: one JSON line each, and the sentence for each line that is none. Pure.

Since version 3 a row is an object with `at_s` and `in`: `bytes` with `data` (each byte one character U+0000-U+00FF),
`time`, `key` with `name`, `link` with `state` up and `port` or state down and `reason`, `left_out` with `bytes` and
`reason`. Versions 1 and 2 had arrays without names, which are still read. What the coach said has `event` in place of
`in`.
"""

from __future__ import annotations

import json
from typing import Any, NoReturn

from winding_coach.base.errors import WrongFile
from winding_coach.base.inputs import (
    KEYS,
    BytesArrived,
    Ended,
    Input,
    KeyPressed,
    LinkDown,
    LinkUp,
    Skipped,
    TimePassed,
)

MOST_SKIPPED = 2**53
"""Bytes: more than any link brings, and still the same whole number in every JSON reader."""
NO_INPUT = "is no input of a trace"
LATEST_S = 1e9
"""No wind lasts thirty years; this also refuses infinities and NaN."""


class TraceError(WrongFile, ValueError):
    """A trace that cannot be read or written; the message is one sentence that says what and where."""


_WRITER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def dump(value: Any) -> str:
    """Return `value` as one compact line of JSON, without the line end.

    Raises:
        ValueError: a number in it is not finite.
    """
    return _WRITER.encode(value)


def input_row(event: Input) -> str | None:
    """Return the row of an input; None for `Ended`, which a trace does not hold."""
    match event:
        case BytesArrived(at_s, data):
            return dump({"at_s": at_s, "in": "bytes", "data": data.decode("latin-1")})
        case TimePassed(at_s):
            return dump({"at_s": at_s, "in": "time"})
        case KeyPressed(at_s, name):
            return dump({"at_s": at_s, "in": "key", "name": name})
        case LinkUp(at_s, port):
            return dump({"at_s": at_s, "in": "link", "state": "up", "port": port})
        case LinkDown(at_s, reason):
            return dump({"at_s": at_s, "in": "link", "state": "down", "reason": reason})
        case Skipped(at_s, count, reason):
            return dump({"at_s": at_s, "in": "left_out", "bytes": count, "reason": reason})
        case Ended():
            return None


def _refuse(constant: str) -> NoReturn:
    raise ValueError(f"{constant} is no number of a trace")


_READER = json.JSONDecoder(parse_constant=_refuse)
"""Made once: `json.loads` would make one for each of ten thousand rows."""


def load(line: str) -> Any:
    """Return the JSON value of one line.

    Raises:
        TraceError: not JSON, too deep, or a number that is not finite.
    """
    try:
        return _READER.decode(line)
    except (ValueError, RecursionError):
        raise TraceError("is not JSON") from None


def is_input(found: Any) -> bool:
    """Whether a row's value is meant as an input; `input_from` says whether it is one."""
    return isinstance(found, list) or (isinstance(found, dict) and "in" in found)


def _bytes(at_s: float, text: str) -> Input:
    try:
        return BytesArrived(at_s, text.encode("latin-1"))
    except UnicodeEncodeError:
        raise TraceError("holds received bytes that are not bytes") from None


def _key(at_s: float, name: str) -> Input:
    if name not in KEYS:
        raise TraceError("names a key that there is not")
    return KeyPressed(at_s, name)


def _skipped(at_s: float, count: Any, reason: str) -> Input:
    if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= MOST_SKIPPED:
        raise TraceError(NO_INPUT)
    return Skipped(at_s, count, reason)


def _keyed(row: list[Any]) -> dict[str, Any]:
    """Return an array of versions 1 and 2 as the object of version 3."""
    match row:
        case [at_s, "rx", data]:
            return {"at_s": at_s, "in": "bytes", "data": data}
        case [at_s, "time"]:
            return {"at_s": at_s, "in": "time"}
        case [at_s, "key", name]:
            return {"at_s": at_s, "in": "key", "name": name}
        case [at_s, "link", "up", port]:
            return {"at_s": at_s, "in": "link", "state": "up", "port": port}
        case [at_s, "link", "down", reason]:
            return {"at_s": at_s, "in": "link", "state": "down", "reason": reason}
        case [at_s, "skip", count, reason]:
            return {"at_s": at_s, "in": "left_out", "bytes": count, "reason": reason}
        case [at_s, _, *_]:
            return {"at_s": at_s}
    return {}


def input_from(row: list[Any] | dict[str, Any]) -> Input:
    """Return the input of a row, of any version. Keys that this version does not know are passed over.

    Raises:
        TraceError: the row is none.
    """
    if isinstance(row, list):
        row = _keyed(row)
    at_s = row.get("at_s")
    if isinstance(at_s, bool) or not isinstance(at_s, (int, float)) or not 0 <= at_s <= LATEST_S:
        raise TraceError("has no time")
    at_s = float(at_s)
    data = row.get("data")
    # Nearly all rows are bytes: they need no patterns.
    if row.get("in") == "bytes" and isinstance(data, str):
        return _bytes(at_s, data)
    match row:
        case {"in": "time"}:
            return TimePassed(at_s)
        case {"in": "key", "name": str(name)}:
            return _key(at_s, name)
        case {"in": "link", "state": "up", "port": str(port)}:
            return LinkUp(at_s, port)
        case {"in": "link", "state": "down", "reason": str(reason)}:
            return LinkDown(at_s, reason)
        case {"in": "left_out", "bytes": count, "reason": str(reason)}:
            return _skipped(at_s, count, reason)
    raise TraceError(NO_INPUT)
