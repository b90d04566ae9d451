"""Draws the pictures of docs/guides/screen.md from the screen's own cells: `python docs/made_by/screen.py`.

Blocks become rectangles and braille dots circles, so that no font has to have them; the views are the tests' own.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.screen.views import Still, curve_to, done, final, state, walk_in
from winding_coach.screen.after import After
from winding_coach.screen.digits import QUARTERS
from winding_coach.screen.face import Scene, face
from winding_coach.screen.themes import PALETTES, Palette, pairs
from winding_coach.screen.wording import KEY_LINE, closed_line
from winding_coach.simulator.bench import Truth

WIDE, HIGH = 8, 16
EIGHTHS = " ▁▂▃▄▅▆▇█"
DOTS = ((0x01, 0, 0), (0x02, 0, 1), (0x04, 0, 2), (0x40, 0, 3), (0x08, 1, 0), (0x10, 1, 1), (0x20, 1, 2), (0x80, 1, 3))


def svg(scene: Scene, columns: int, rows: int, palette: Palette) -> str:
    """Return one picture of the screen."""
    sheet = face(scene, columns, rows)
    colours = pairs(palette)
    wide, high = columns * WIDE, rows * HIGH
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" width="{wide}" height="{high}"'
        f' font-family="DejaVu Sans Mono, Menlo, Consolas, monospace" font-size="13">',
        f'<rect width="{wide}" height="{high}" fill="{palette.ground}"/>',
    ]
    for row in range(rows):
        column = 0
        for text, role in sheet.row(row):
            ink, ground = colours[role]
            if ground != palette.ground:
                parts.append(_rect(column * WIDE, row * HIGH, len(text) * WIDE, HIGH, ground))
            parts += _cells(text, column * WIDE, row * HIGH, ink)
            column += len(text)
    return "\n".join([*parts, "</svg>\n"])


def _rect(x: float, y: float, wide: float, high: float, colour: str) -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" fill="{colour}"/>'


def _cells(text: str, x: int, y: int, ink: str) -> list[str]:
    parts: list[str] = []
    words = list(text)
    for half in (0, 1):  # Quarters of one height in a row are one rectangle.
        begin = None
        for at in range(2 * len(text) + 1):
            char = text[at // 2] if at < 2 * len(text) else " "
            code = QUARTERS.find(char)
            inked = code > 0 and char not in "▄" + EIGHTHS[1:8] and bool(code >> (2 * half + at % 2) & 1)
            inked = inked or (char == "▄" and half == 1)
            if inked and begin is None:
                begin = at
            elif not inked and begin is not None:
                wide = (at - begin) * WIDE / 2
                parts.append(_rect(x + begin * WIDE / 2, y + half * HIGH / 2, wide, HIGH / 2, ink))
                begin = None
    for at, char in enumerate(text):
        if char in QUARTERS[1:]:
            words[at] = " "
        elif char in EIGHTHS[1:8]:
            tall = EIGHTHS.index(char) * HIGH / 8
            parts.append(_rect(x + at * WIDE, y + HIGH - tall, WIDE, tall, ink))
            words[at] = " "
        elif 0x2800 <= ord(char) <= 0x28FF:
            for bit, across, down in DOTS:
                if ord(char) - 0x2800 & bit:
                    parts.append(
                        f'<circle cx="{x + at * WIDE + 2 + 4 * across}" cy="{y + 2 + 4 * down}" r="1.6" fill="{ink}"/>'
                    )
            words[at] = " "
    line = "".join(words)
    if line.strip():
        lead = len(line) - len(line.lstrip())
        said = line.strip()
        parts.append(
            f'<text x="{x + lead * WIDE}" y="{y + 12}" fill="{ink}" textLength="{len(said) * WIDE}"'
            f' xml:space="preserve">{escape(said)}</text>'
        )
    return parts


def pictures() -> dict[str, str]:
    """Return the pictures by file name."""
    dark, light, contrast = PALETTES

    def scene(still: Still, **more: Any) -> Scene:
        return replace(Scene(still.view, still.curve.points(), still.trace_name, keys=KEY_LINE), **more)

    earlier = (curve_to(1310.0, 30.0).points(),)
    return {
        "screen-walk-in.svg": svg(scene(walk_in(), others=earlier), 120, 40, dark),
        "screen-final-glance.svg": svg(scene(final(), glance=True), 80, 24, dark),
        "screen-before-the-first-turn.svg": svg(scene(state("stretch-out")), 80, 24, light),
        "screen-tape.svg": svg(
            scene(state("tape"), side=Truth(88.0, 980.0, 1.2, 1.31, 4.36e-3, 12.0, 0.3, 0.0, False, True, "cranking")),
            120,
            40,
            light,
        ),
        "screen-done.svg": svg(scene(done(), keys=closed_line(After())), 80, 24, contrast),
    }


if __name__ == "__main__":
    for name, picture in pictures().items():
        (Path(__file__).parents[1] / "pictures" / name).write_text(picture, encoding="utf-8")
