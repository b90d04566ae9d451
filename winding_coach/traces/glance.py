"""A trace's file in, its first line, its summary and its fingerprint out, without making the inputs: for the index."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from winding_coach.traces.files import CHUNK, trace_lines
from winding_coach.traces.header import Header, header_from
from winding_coach.traces.rows import TraceError, load


@dataclass(frozen=True, slots=True)
class Glance:
    """What can be seen without reading the inputs. summary: None when the wind was not closed. size: in bytes."""

    path: Path
    header: Header
    summary: dict[str, Any] | None
    size: int
    sha256: str


def glance(path: Path) -> Glance:
    """Return what a trace's first and last lines say.

    Raises:
        TraceError: the file cannot be read, or its first line is no trace's.
    """
    header: Header | None = None
    last = b""
    try:
        for line in trace_lines(path):
            if header is None:
                header = header_from(load(line.decode("utf-8", "strict")))
            elif line.endswith(b"\n"):
                last = line
        size, sha256 = fingerprint(path)
    except (TraceError, UnicodeDecodeError) as error:
        why = "is not text" if isinstance(error, UnicodeDecodeError) else str(error)
        raise TraceError(f"'{path}' is not a trace that can be read: line 1 {why}.") from None
    except OSError as error:
        raise TraceError(
            f"The trace '{path}' cannot be read ({error.strerror}): check its name and permissions."
        ) from None
    if header is None:
        raise TraceError(f"'{path}' is not a trace: it has no complete first line.")
    return Glance(path, header, _summary(last), size, sha256)


def fingerprint(path: Path) -> tuple[int, str]:
    """Return a file's size and its SHA-256 in hex.

    Raises:
        OSError: it cannot be read.
    """
    made = hashlib.sha256()
    size = 0
    with path.open("rb") as opened:
        while data := opened.read(CHUNK):
            made.update(data)
            size += len(data)
    return size, made.hexdigest()


def _summary(line: bytes) -> dict[str, Any] | None:
    """Return the summary if the last whole line is one."""
    if not line.startswith(b"{"):
        return None
    try:
        found = load(line.decode("utf-8", "strict"))
    except (TraceError, UnicodeDecodeError):
        return None
    return found if isinstance(found, dict) and found.get("event") == "summary" else None
