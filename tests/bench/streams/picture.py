"""The reliability picture: stated chance of standing against the share of looks at which the crank stood. SVG."""

from __future__ import annotations

from collections.abc import Sequence

from winding_coach.report.svg import PALE, SECOND, Axes, curve, dot, line, page, words

Point = tuple[float, float, float, float, float]
"""Mean stated chance, share that stood, its 95 % interval, share of all looks."""

NOTE_MM = 176.0
"""No page is narrower than its note."""


def panel(axes: Axes, title: str, points: Sequence[Point], ideal: Sequence[Point]) -> list[str]:
    """Return one panel: dots with intervals, the ideal observer's as a pale line, and the diagonal."""
    parts = axes.frame("stated chance that it stands, %", "stood, %")
    parts.append(words(axes.left + axes.width, axes.top - 3.2, title, 3.6, anchor="end", bold=True))
    parts.append(line(*axes.at(0.0, 0.0), *axes.at(100.0, 100.0), stroke=PALE, dashes="1 1"))
    if ideal:
        parts.append(curve([axes.at(100.0 * p[0], 100.0 * p[1]) for p in ideal], stroke=PALE, width=0.5))
    for mean, share, low, high, weight in points:
        parts.append(line(*axes.at(100.0 * mean, 100.0 * low), *axes.at(100.0 * mean, 100.0 * high), stroke=SECOND))
        radius = 0.6 + 1.6 * weight**0.5
        parts.append(dot(*axes.at(100.0 * mean, 100.0 * share), radius=radius, fill=SECOND))
    return parts


def picture(panels: Sequence[tuple[str, Sequence[Point], Sequence[Point]]], subject: str) -> str:
    """Return the document; each panel has a title, points, and the ideal observer's points (or none)."""
    parts: list[str] = []
    for i, (title, points, ideal) in enumerate(panels):
        axes = Axes(left=16.0 + 68.0 * i, top=16.0, width=50.0, height=50.0, most_x=100.0, most_y=100.0)
        parts += panel(axes, title, points, ideal)
    parts.append(words(4.0, 86.0, subject, 3.0, fill=PALE))
    note = (
        "Dots: the program, larger the more often it says so; bars: 95 % intervals over streams. Pale: ideal observer."
    )
    parts.append(words(4.0, 91.0, note, 3.0, fill=PALE))
    return page(
        max(8.0 + 68.0 * len(panels), NOTE_MM),
        95.0,
        "Stated chance that the crank stands against how often it stood",
        parts,
    )
