"""The files that hold the winds: written as the wind goes, read back whole. Nothing written is lost to a kill.

Each row goes to the system at once (a killed program loses nothing) and to the disk once a second and at
every key and alarm (an unplugged computer loses at most the last second).
"""

from __future__ import annotations

import errno
import os
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from winding_coach.base.inputs import Input
from winding_coach.base.private import private_folder
from winding_coach.base.system import BINARY
from winding_coach.traces.disk import Disk
from winding_coach.traces.header import Header, header_from
from winding_coach.traces.pen import Pen
from winding_coach.traces.rows import TraceError, dump, input_from, input_row, is_input, load

SUFFIX = ".wind.jsonl"
SYNC_EVERY_S = 1.0
CLOSES_WITHIN_S = 10.0
LONGEST_LINE = 2**20
CHUNK = 2**18
GZIP_FRAMED = 31
LARGEST_TRACE = 2**29
MOST_ROWS = 3_000_000
"""A wind of an hour at 320 lines per second is 1.2 million rows and 80 MB; several times that is no wind."""


WRITTEN_BYTES, WRITTEN_ROWS = LARGEST_TRACE // 2, MOST_ROWS - 100_000
"""No trace is written longer: it could not be read back."""
FULL = "The trace has reached the greatest length there is: coaching continues; the rest of this wind is not kept."


def file_name(header: Header) -> str:
    """Return the name that a trace with this header is given: DATE-TIME-MOTOR, letters that every system takes."""
    motor = "" if header.motor is None or header.motor.name is None else header.motor.name
    motor = re.sub(r"[^A-Za-z0-9._]+", "-", motor).strip("-.")[:40] or "motor"
    return f"{header.started:%Y-%m-%d-%H%M%S}-{motor}{SUFFIX}"


class TraceWriter:
    """One trace being written. A disk that refuses does not stop the wind: see `trouble`."""

    def __init__(self, folder: Path, header: Header) -> None:
        """Make the file in `folder` (which is made too), private to the user, and write its first line.

        Raises:
            TraceError: it cannot be made.
        """
        name = file_name(header)
        try:
            private_folder(folder)
            for number in range(1, 1000):
                self.path = folder / (name if number == 1 else name.replace(SUFFIX, f"-{number}{SUFFIX}"))
                try:
                    self._file = os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | BINARY, 0o600)
                    break
                except FileExistsError:
                    continue
            else:
                raise TraceError(f"The folder '{folder}' holds a thousand traces named {name}: move some away.")
        except OSError as error:
            raise TraceError(
                f"No trace can be written in '{folder}' ({error.strerror}): name another folder with --home, or make"
                " room there."
            ) from None
        self._disk, self._pen = Disk(self._file), Pen(self._file)
        self._bytes = self._rows = 0
        self._full = False
        self._synced_at_s = 0.0
        self._write(dump(header.as_json()))
        self._sync()

    @property
    def trouble(self) -> str | None:
        """One sentence on what is wrong with keeping the wind, None when all is well; readable from any thread."""
        return self._pen.trouble or (FULL if self._full else None) or self._disk.trouble

    def input(self, event: Input) -> None:
        """Write an input as its row."""
        row = input_row(event)
        if row is None:
            return
        self._write(row)
        if event.at_s - self._synced_at_s >= SYNC_EVERY_S:
            self._synced_at_s = event.at_s
            self._sync()

    def said(self, said: dict[str, Any]) -> None:
        """Write what the coach said, and put all so far on the disk."""
        self._write(dump(said))

    def sync(self) -> None:
        """Put all so far on the disk, as after a key or an alarm."""
        self._sync()

    def close(self) -> None:
        """Put all on the disk and close the file."""
        if self._pen.close(CLOSES_WITHIN_S) or not self._pen.blocked:
            self._disk.close(CLOSES_WITHIN_S)

    def _write(self, row: str) -> None:
        data = row.encode("utf-8", "surrogatepass") + b"\n"
        self._bytes, self._rows = self._bytes + len(data), self._rows + 1
        self._full = self._full or self._bytes > WRITTEN_BYTES or self._rows > WRITTEN_ROWS
        if not self._full:
            self._pen.put(data)

    def _sync(self) -> None:
        self._pen.again()
        if self._pen.trouble is None:
            self._disk.sync()

    def settle(self, within_s: float = CLOSES_WITHIN_S) -> None:
        """Wait until all that was to be put on the disk is there."""
        self._disk.settle(within_s)


@dataclass(frozen=True, slots=True)
class Trace:
    """A trace read back. `said`: what the coach said, in order, with the number of inputs before each.

    `cut`: the last line was cut off and has been left out. `summary`: None when the wind was not closed.
    """

    path: Path
    header: Header
    inputs: tuple[Input, ...] = ()
    said: tuple[tuple[int, dict[str, Any]], ...] = ()
    summary: dict[str, Any] | None = None
    cut: bool = field(default=False)


def _chunks(opened: BinaryIO) -> Iterator[bytes]:
    """Yield the bytes of a plain or packed file; a packed one that was cut gives all that can be unpacked."""
    packed = opened.read(2) == b"\x1f\x8b"
    opened.seek(0)
    unpack = zlib.decompressobj(GZIP_FRAMED)
    while data := opened.read(CHUNK):
        if not packed:
            yield data
            continue
        while data:
            yield unpack.decompress(data, CHUNK)
            data = unpack.unconsumed_tail
            if unpack.eof:
                data, unpack = unpack.unused_data, zlib.decompressobj(GZIP_FRAMED)


def trace_lines(path: Path) -> Iterator[bytes]:
    """Yield the lines with their ends, the last perhaps without; one past all measure is a TraceError."""
    rest = b""
    total = 0
    if path.exists() and not (path.is_file() or path.is_dir()):
        raise OSError(errno.EINVAL, "it is no file")  # A pipe or a device would be waited for without an end.
    with path.open("rb") as opened:
        try:
            for chunk in _chunks(opened):
                total += len(chunk)
                *lines, rest = (rest + chunk).split(b"\n")
                for line in lines:
                    if len(line) > LONGEST_LINE:
                        raise TraceError("is longer than any trace")
                    yield line + b"\n"
                if len(rest) > LONGEST_LINE or total > LARGEST_TRACE:
                    raise TraceError("is longer than any trace")
        except zlib.error:
            # Spoilt from here on, as a disk or a cut leaves it: what came before counts.
            rest += b"?"
    if rest:
        yield rest


def read_trace(path: Path) -> Trace:
    """Return the trace in a file, plain or packed with gzip.

    Raises:
        TraceError: the file cannot be read or is no trace; the sentence names the line.
    """
    header: Header | None = None
    inputs: list[Input] = []
    said: list[tuple[int, dict[str, Any]]] = []
    summary: dict[str, Any] | None = None
    cut = False
    try:
        for line in trace_lines(path):
            if not line.endswith(b"\n"):
                cut = True
                break
            found = load(line.decode("utf-8", "strict"))
            if len(inputs) + len(said) >= MOST_ROWS:
                raise TraceError("is one row more than any trace has")
            if header is None:
                header = header_from(found)
            elif is_input(found):
                event = input_from(found)
                if inputs and event.at_s < inputs[-1].at_s:
                    raise TraceError("goes back in time")
                inputs.append(event)
            elif isinstance(found, dict) and isinstance(found.get("event"), str):
                if found["event"] == "summary":
                    summary = found
                said.append((len(inputs), found))
            else:
                raise TraceError("is neither an input nor something said")
    except (TraceError, UnicodeDecodeError) as error:
        number = (header is not None) + len(inputs) + len(said) + 1
        why = "is not text" if isinstance(error, UnicodeDecodeError) else str(error)
        raise TraceError(f"'{path}' is not a trace that can be read: line {number} {why}.") from None
    except FileNotFoundError:
        raise TraceError(f"There is no trace '{path}': check the name.") from None
    except OSError as error:
        raise TraceError(
            f"The trace '{path}' cannot be read ({error.strerror}): check its name and permissions."
        ) from None
    if header is None:
        raise TraceError(f"'{path}' is not a trace: it has no complete first line.")
    return Trace(path, header, tuple(inputs), tuple(said), summary, cut)
