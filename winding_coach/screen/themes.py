"""Our own themes: dark, light, high contrast. Every text colour keeps WCAG 2's 4.5:1 on its ground."""

from __future__ import annotations

from textual.theme import Theme


def _theme(name: str, *, dark: bool, ground: str, panel: str, text: str, phase: str, torque: str, prompt: str) -> Theme:
    return Theme(
        name=name,
        dark=dark,
        background=ground,
        surface=ground,
        panel=panel,
        foreground=text,
        primary=phase,
        secondary=torque,
        accent=prompt,
        warning=prompt,
        error=phase,
        success=torque,
    )


THEMES = (
    _theme(
        "hall-dark",
        dark=True,
        ground="#10141a",
        panel="#1f2731",
        text="#e8e6e0",
        phase="#8fc7ff",
        torque="#ffffff",
        prompt="#ffd27a",
    ),
    _theme(
        "hall-light",
        dark=False,
        ground="#fbf9f4",
        panel="#e4e0d6",
        text="#1c1f24",
        phase="#0b4a86",
        torque="#000000",
        prompt="#7a3d00",
    ),
    _theme(
        "hall-contrast",
        dark=True,
        ground="#000000",
        panel="#000000",
        text="#ffffff",
        phase="#ffffff",
        torque="#ffffff",
        prompt="#ffff00",
    ),
)
"""In the order in which the key goes through them."""
