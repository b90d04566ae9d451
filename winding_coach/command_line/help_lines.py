"""Help as it is laid out: sentences filled to the terminal's width, examples and lists left as they are written."""

from __future__ import annotations

import argparse
import textwrap


class HelpLines(argparse.RawDescriptionHelpFormatter):
    """Fills runs of lines that begin at the margin; a list's line that is too long hangs under its own words."""

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
    """Return a list's line; a command to type stays in one piece, so that it can be copied."""
    words = line.strip()
    if len(line) <= width or words.startswith("winding-coach "):
        return [line]
    explained = words.partition("  ")[2].strip()
    start = len(line) - len(explained or words)
    return _filled(line, width, " " * min(start, width // 2))


def _filled(text: str, width: int, hang: str) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent=hang, break_long_words=False, break_on_hyphens=False)
