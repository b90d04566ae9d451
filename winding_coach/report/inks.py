"""Roles in, colours out, for light and dark grounds; the tests hold them to WCAG 2's contrast by its formula."""

from __future__ import annotations

LIGHT = {
    "ground": "#ffffff",
    "panel": "#f4f4f1",
    "ink": "#1a1a1a",
    "dim": "#5c5c5c",
    "grid": "#dcdcd6",
    "wind": "#1c4f7c",
    "plan": "#6a6a6a",
    "band": "#e4ecf3",
    "good": "#1b6e3c",
    "caution": "#7a5200",
    "warning": "#9a3d00",
    "danger": "#a61b1b",
    "one": "#1c4f7c",
    "two": "#a8420b",
    "three": "#1b6e3c",
    "four": "#75379a",
    "five": "#6b4e16",
    "six": "#0a6470",
}
DARK = {
    "ground": "#151515",
    "panel": "#202020",
    "ink": "#ececec",
    "dim": "#a9a9a9",
    "grid": "#3a3a3a",
    "wind": "#9cc3e6",
    "plan": "#a3a3a3",
    "band": "#20303e",
    "good": "#86d9a0",
    "caution": "#e6cf62",
    "warning": "#ffa866",
    "danger": "#ff8d84",
    "one": "#9cc3e6",
    "two": "#ffb07a",
    "three": "#86d9a0",
    "four": "#d3a7f2",
    "five": "#dcc078",
    "six": "#78d5e2",
}
"""Colour of each role."""

TEXTS = ("ink", "dim", "wind", "plan", "good", "caution", "warning", "danger")
"""Roles in which words are set."""

SERIES = (
    ("one", ""),
    ("two", "7 3"),
    ("three", "2 2.5"),
    ("four", "9 3 2 3"),
    ("five", "4 2"),
    ("six", "12 3 2 3 2 3"),
)
"""Role and dashes of each of several curves: told apart without colour too."""


def variables(inks: dict[str, str]) -> str:
    """Return the colours as CSS variables."""
    return ";".join(f"--{role}:{colour}" for role, colour in inks.items())


IN_PAGE = {role: f"var(--{role})" for role in LIGHT}
"""Roles as the page's variables, so that a picture follows the page into the dark."""
