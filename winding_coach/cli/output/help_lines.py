"""Help as it is laid out: sentences filled to the terminal's width, lists hung under their words, commands to copy."""

from __future__ import annotations

import argparse
import re
import shutil
import textwrap

WIDEST = 100
"""A longer line is hard to read, however wide the terminal is."""
UNDER = " " * 6


class HelpLines(argparse.RawDescriptionHelpFormatter):
    """Fills runs of lines that begin at the margin; a list's line that is too long hangs under its own words."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, width=min(shutil.get_terminal_size().columns, WIDEST) - 2)

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        lines: list[str] = []
        sentence: list[str] = []
        for line in [*text.splitlines(), ""]:
            if line and not line.startswith(" "):
                sentence.append(line)
                continue
            lines += _filled(" ".join(sentence), width, "")
            sentence = []
            lines += _hanging(line, width)
        return "\n".join(f"{indent}{line}" for line in lines[:-1])


def _hanging(line: str, width: int) -> list[str]:
    """Return a list's line, the rest of it under its words."""
    words = line.strip()
    if len(line) <= width:
        return [line]
    if words.startswith("winding-coach "):
        return command_lines(line, width)
    explained = words.partition("  ")[2].strip()
    start = len(line) - len(explained or words)
    return _filled(line, width, " " * min(start, width // 2))


def command_lines(line: str, width: int) -> list[str]:
    """Return a command to copy: broken before options only, as a shell takes it; what explains it stands below."""
    command, *explained = re.split(r"\s{3,}", line.strip())
    lines, begun = [], line[: len(line) - len(line.lstrip())]
    for part in re.split(r" (?=--|>)", command):
        if begun.strip() and len(begun) + len(part) + 3 > width:
            lines.append(f"{begun} \\")
            begun = UNDER + part
        else:
            begun += f" {part}" if begun.strip() else part
    return [*lines, begun, *(UNDER + words for words in explained)]


def _filled(text: str, width: int, hang: str) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent=hang, break_long_words=False, break_on_hyphens=False)
