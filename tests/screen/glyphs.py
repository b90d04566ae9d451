"""Which characters of the screen a font has: `python -m tests.screen.glyphs FONT.ttf …` (needs the library fonttools).

Run by hand when a new character comes in; the result is in screen.md. Files that share a folder and a family name
(web fonts cut into parts) are taken together.
"""

from __future__ import annotations

import ast
import importlib
import sys
from pathlib import Path

import winding_coach

PARTS = ("screen", "coach", "base/standing.py", "base/units.py", "sound")
TOOLKIT = "▐▌●╭╮╰╯─│▁▂▃▄▅▆▇█"
"""What the widgets of set-up and help draw themselves: choices, frames, the bar of a scroll."""


def used() -> dict[str, set[str]]:
    """Return every character beyond ASCII that the screen's source can draw, and the modules that do."""
    root = Path(winding_coach.__file__).parent
    files = [file for part in PARTS for file in ([root / part] if part.endswith(".py") else (root / part).glob("*.py"))]
    found: dict[str, set[str]] = {char: {"toolkit"} for char in TOOLKIT}
    for file in files:
        tree = ast.parse(file.read_text(encoding="utf-8"))
        documents = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documents:
                for char in node.value:
                    if not char.isascii():
                        found.setdefault(char, set()).add(file.name)
    return found


def main(fonts: list[str]) -> None:
    """Print, for each font, the characters that it does not have."""
    library = importlib.import_module("fontTools.ttLib")
    has: dict[str, set[int]] = {}
    for name in fonts:
        font = library.TTFont(name, fontNumber=0)
        family = str(font["name"].getDebugName(16) or font["name"].getDebugName(1))
        has.setdefault(family, set()).update(font.getBestCmap())
    chars = used()
    braille = [chr(code) for code in range(0x2800, 0x2900)]
    print(f"{len(chars)} characters beyond ASCII, and 256 of braille")
    for family, codes in has.items():
        missing = [char for char in sorted(chars) if ord(char) not in codes]
        dots = sum(ord(char) not in codes for char in braille)
        named = ", ".join(f"{char} ({', '.join(sorted(chars[char]))})" for char in missing)
        print(f"{family}: {len(missing)} missing{': ' + named if named else ''}; braille missing {dots} of 256")


if __name__ == "__main__":
    main(sys.argv[1:])
