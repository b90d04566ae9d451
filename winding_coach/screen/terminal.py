"""What this terminal can draw: the palette to begin with, and whether more than ASCII."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass

from rich.console import Console

from winding_coach.screen.sheet import Characters
from winding_coach.screen.themes import PALETTES, Palette


@dataclass(frozen=True, slots=True)
class Drawing:
    """Palette and characters to begin with."""

    palette: Palette = PALETTES[0]
    characters: Characters = "all"

    @property
    def ascii_only(self) -> bool:
        """Whether nothing but ASCII is drawn."""
        return self.characters == "ascii"


def drawing(characters: Characters | None = None) -> Drawing:
    """Return how to draw here: few colours get the high-contrast palette, no UTF-8 gets ASCII unless one is named."""
    console = Console()
    few = console.color_system in (None, "standard", "windows") or "NO_COLOR" in os.environ
    # The system console of Linux has neither braille nor quarter blocks in its font.
    bare = os.environ.get("TERM") == "linux" or "utf" not in console.encoding.lower()
    return Drawing(PALETTES[-1 if few else 0], characters or ("ascii" if bare else "all"))


def is_terminal() -> bool:
    """Whether there is a terminal to draw on."""
    return sys.stdin.isatty() and sys.stdout.isatty() and os.environ.get("TERM") != "dumb"
