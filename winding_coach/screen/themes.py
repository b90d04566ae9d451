"""Our palettes: colours by job, styles by role. The tests hold each to WCAG 2's contrast by its formula.

A role is what a cell is for (`word`, `wind band`, `danger`); only here does it become a colour.
"""

from __future__ import annotations

from dataclasses import dataclass

from rich.style import Style
from textual.theme import Theme


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours as #rrggbb. Texts on their grounds 4.5:1 or better, marks 3:1: WCAG 2.2, 1.4.3 and 1.4.11."""

    name: str
    dark: bool
    ground: str
    panel: str
    ink: str
    dim: str
    word: str
    figure: str
    goal: str
    good: str
    wind: str
    plan: str
    band: str
    track: str
    other: str
    caution: tuple[str, str]
    warning: tuple[str, str]
    danger: tuple[str, str]
    bad: str


PALETTES = (
    Palette(
        "lamplight",
        dark=True,
        ground="#121212",
        panel="#262626",
        ink="#efe9dc",
        dim="#a9a394",
        word="#f2bd5c",
        figure="#fffaf0",
        goal="#6fd3c7",
        good="#86e08f",
        wind="#ffc46b",
        plan="#7f9dbb",
        band="#303030",
        track="#74808c",
        other="#8d7fa8",
        caution=("#16130a", "#e8d36a"),
        warning=("#1a0f00", "#ff9f3f"),
        danger=("#1a0000", "#ff6a5e"),
        bad="#ff8f80",
    ),
    Palette(
        "tissue",
        dark=False,
        ground="#faf6ec",
        panel="#ece4d3",
        ink="#211d17",
        dim="#5f594e",
        word="#8f3a00",
        figure="#14110c",
        goal="#00594f",
        good="#17602a",
        wind="#a84300",
        plan="#44658a",
        band="#dbe4ea",
        track="#857d6e",
        other="#7a5c9c",
        caution=("#201a00", "#f0d44c"),
        warning=("#201000", "#ffa23f"),
        danger=("#ffffff", "#b81414"),
        bad="#a81010",
    ),
    Palette(
        "contrast",
        dark=True,
        ground="#000000",
        panel="#000000",
        ink="#ffffff",
        dim="#ffffff",
        word="#ffff00",
        figure="#ffffff",
        goal="#00ffff",
        good="#00ff00",
        wind="#ffff00",
        plan="#00ffff",
        band="#000000",
        track="#c0c0c0",
        other="#c0c0c0",
        caution=("#000000", "#ffff00"),
        warning=("#000000", "#ffff00"),
        danger=("#000000", "#ffffff"),
        bad="#ffff00",
    ),
)
"""In the order in which the key goes through them. The last holds 7:1 and only colours that sixteen-colour
terminals have, so it is what those begin with."""

_LINES = ("ink", "dim", "wind", "plan", "goal", "other")
_BOLD = frozenset({"bold", "word", "figure", "wind", "bad", "good", "panel bold", "danger word", "prompt"})

_ALARMS = ("caution", "warning", "danger")


def pairs(palette: Palette) -> dict[str, tuple[str, str]]:
    """Return each role's colour and the ground under it."""
    ground, band = palette.ground, palette.band
    roles = {
        "ink": (palette.ink, ground),
        "bold": (palette.ink, ground),
        "prompt": (palette.ink, ground),
        "dim": (palette.dim, ground),
        "word": (palette.word, ground),
        "figure": (palette.figure, ground),
        "stale": (palette.dim, ground),
        "good": (palette.good, ground),
        "bad": (palette.bad, ground),
        "danger word": (palette.bad, ground),
        "track": (palette.track, ground),
        "panel": (palette.ink, palette.panel),
        "panel bold": (palette.ink, palette.panel),
        "panel dim": (palette.dim, palette.panel),
        "panel bad": (palette.bad, palette.panel),
        "caution": palette.caution,
        "warning": palette.warning,
        "danger": palette.danger,
        "band": (palette.ink, band),
        "band edge": (band, ground),
        "band under": (ground, band),
    }
    for name in _LINES:
        roles[name] = (getattr(palette, name), ground)
        roles[f"{name} band"] = (getattr(palette, name), band)
    return roles


def styles(palette: Palette) -> dict[str, Style]:
    """Return the style of each role."""
    return {
        # Terminals of sixteen colours draw bold black as grey, which no alarm may be.
        role: Style(color=ink, bgcolor=ground, bold=ink != "#000000" and (role in _BOLD or role.startswith(_ALARMS)))
        for role, (ink, ground) in pairs(palette).items()
    }


def theme(palette: Palette) -> Theme:
    """Return the palette as the toolkit's theme, for its own widgets."""
    return Theme(
        name=palette.name,
        dark=palette.dark,
        background=palette.ground,
        surface=palette.panel,
        panel=palette.panel,
        foreground=palette.ink,
        primary=palette.word,
        secondary=palette.goal,
        accent=palette.word,
        warning=palette.bad,
        error=palette.bad,
        success=palette.good,
    )


def relative_luminance(colour: str) -> float:
    """Return the relative luminance (0-1) of #rrggbb, as WCAG 2.2 defines it."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio (1-21) of two colours, as WCAG 2.2 defines it."""
    lighter, darker = sorted((relative_luminance(one), relative_luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)
