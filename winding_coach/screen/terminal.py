"""What this terminal can draw: the palette to begin with, and whether more than ASCII."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass

from rich.console import Console

from winding_coach.screen.themes import PALETTES, Palette


@dataclass(frozen=True, slots=True)
class Drawing:
    """palette: to begin with. ascii_only: draw with nothing else."""

    palette: Palette = PALETTES[0]
    ascii_only: bool = False


def drawing() -> Drawing:
    """Return how to draw here: few colours get the high-contrast palette, no UTF-8 gets ASCII."""
    console = Console()
    few = console.color_system in (None, "standard", "windows") or "NO_COLOR" in os.environ
    # The system console of Linux has neither braille nor quarter blocks in its font.
    bare = os.environ.get("TERM") == "linux" or "utf" not in console.encoding.lower()
    return Drawing(PALETTES[-1 if few else 0], bare)


def is_terminal() -> bool:
    """Whether there is a terminal to draw on."""
    return sys.stdin.isatty() and sys.stdout.isatty() and os.environ.get("TERM") != "dumb"
