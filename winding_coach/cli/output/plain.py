"""What commands print, with every character that could drive a terminal spelled out: names and reasons come from
anywhere. `\\u009b` in place of the character is also what JSON calls it, so a JSON line keeps its meaning."""

from __future__ import annotations

import re
import shutil
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO, cast

_DRIVES = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
"""Control characters but for tab and line end, marks that turn the direction of writing, halves of characters."""


def plain(text: str) -> str:
    """Return text with what drives a terminal spelled out."""
    return _DRIVES.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


_IN_ASCII = str.maketrans(
    {"·": ".", "±": "+-", "…": "...", "–": "-", "—": "-", "×": "x", "²": "2", "³": "3", "≥": ">="}
)


def written_in(text: str, encoding: str | None) -> str:
    """Return text that this encoding can write: signs in their ASCII spelling, other letters as JSON has them."""
    try:
        text.encode(encoding or "utf-8")
        return text
    except (UnicodeError, LookupError):
        pass
    text = text.translate(_IN_ASCII)
    return "".join(c if c.isascii() or _can(c, encoding) else _escaped(c) for c in text)


def _can(character: str, encoding: str | None) -> bool:
    try:
        character.encode(encoding or "ascii")
    except (UnicodeError, LookupError):
        return False
    return True


def _escaped(character: str) -> str:
    units = character.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[at]:02x}{units[at + 1]:02x}" for at in range(0, len(units), 2))


_TO_COPY = re.compile(r"winding-coach (?![a-z -]*: )")
"""A command; a sentence of one begins with its name and a colon."""


def filled(text: str, columns: int) -> str:
    """Return text whose sentences are broken between words; tables, objects and commands to copy stay as they are."""
    return "\n".join(_broken(line, columns) for line in text.split("\n"))


def _broken(line: str, columns: int) -> str:
    words = line.strip()
    if len(line) <= columns or "  " in words or words.startswith(("{", "[")) or _TO_COPY.match(words):
        return line
    lead = line[: len(line) - len(line.lstrip())]
    hang = lead + "  "
    broken = textwrap.wrap(
        words, columns, initial_indent=lead, subsequent_indent=hang, break_long_words=False, break_on_hyphens=False
    )
    return "\n".join(broken)


class PlainStream:
    """A text stream that writes plain text only, on a terminal within its width; all else is the stream's own."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write, and say that all was."""
        shown = plain(text)
        if self._stream.isatty() and "\r" not in text:
            shown = filled(shown, shutil.get_terminal_size().columns)
        self._stream.write(written_in(shown, self._stream.encoding))
        return len(text)

    def writelines(self, lines: list[str]) -> None:
        """Write lines."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextmanager
def plain_output() -> Iterator[None]:
    """Let everything that is printed be plain. The screen draws on the terminal itself, past this."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (cast(TextIO, PlainStream(stream)) for stream in before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before
