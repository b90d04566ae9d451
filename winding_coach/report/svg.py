"""Small pieces of SVG: text, lines, and a chart's frame with round marks. Millimetres throughout."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

INK, PALE, SECOND = "#111111", "#767676", "#1c4f7c"
"""On white: contrast 19, 4.5 and 8; never told apart by colour alone."""


def page(width_mm: float, height_mm: float, title: str, parts: Sequence[str]) -> str:
    """Return a whole SVG document, white, with a title for screen readers."""
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm:g}mm" height="{height_mm:g}mm"'
            f' viewBox="0 0 {width_mm:g} {height_mm:g}" role="img" font-family="Helvetica, Arial, sans-serif">',
            f"<title>{clean(title)}</title>",
            f'<rect width="{width_mm:g}" height="{height_mm:g}" fill="#ffffff"/>',
            *parts,
            "</svg>\n",
        ]
    )


def clean(text: str) -> str:
    """Return text that is safe inside SVG and HTML: escaped, without control characters."""
    return escape("".join(c if c.isprintable() else "?" for c in text))


def words(
    x: float, y: float, text: str, size: float = 4.0, *, anchor: str = "start", bold: bool = False, fill: str = INK
) -> str:
    """Return a line of text with its baseline at y."""
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:g}" text-anchor="{anchor}" fill="{fill}"{weight}>'
        f"{clean(text)}</text>"
    )


def line(x1: float, y1: float, x2: float, y2: float, *, width: float = 0.3, stroke: str = INK, dashes: str = "") -> str:
    """Return a straight line."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" stroke="{stroke}"'
        f' stroke-width="{width:g}"{dashed}/>'
    )


def curve(points: Sequence[tuple[float, float]], *, width: float = 0.6, stroke: str = INK, dashes: str = "") -> str:
    """Return a line through points."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    path = " ".join(f"{x:.2f},{y:.2f}" for x, y in points)
    return f'<polyline points="{path}" fill="none" stroke="{stroke}" stroke-width="{width:g}"{dashed}/>'


def dot(x: float, y: float, radius: float = 1.0, fill: str = INK) -> str:
    """Return a filled circle."""
    return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:g}" fill="{fill}"/>'


@dataclass(frozen=True, slots=True)
class Axes:
    """A chart's box on the page and the figures it spans; y from 0."""

    left: float
    top: float
    width: float
    height: float
    most_x: float
    most_y: float
    least_x: float = 0.0

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return the place on the page of a pair of figures."""
        share = (x - self.least_x) / (self.most_x - self.least_x)
        return self.left + self.width * share, self.top + self.height * (1.0 - y / self.most_y)

    def frame(self, x_label: str, y_label: str, size: float = 3.2) -> list[str]:
        """Return axes with round marks and labels."""
        bottom = self.top + self.height
        parts = [
            line(self.left, bottom, self.left + self.width, bottom),
            line(self.left, self.top, self.left, bottom),
            words(self.left + self.width / 2, bottom + 3.4 * size, x_label, size, anchor="middle"),
            words(self.left - 2.0 * size, self.top - size, y_label, size),
        ]
        for mark in round_marks(self.most_x, self.least_x):
            x, _ = self.at(mark, 0.0)
            parts += [
                line(x, bottom, x, bottom + 1.0),
                words(x, bottom + 1.6 * size, f"{mark:g}", size, anchor="middle"),
            ]
        for mark in round_marks(self.most_y):
            _, y = self.at(0.0, mark)
            parts += [
                line(self.left - 1.0, y, self.left, y),
                words(self.left - 1.6, y + 0.35 * size, f"{mark:g}", size, anchor="end"),
            ]
        return parts


def round_marks(most: float, least: float = 0.0) -> list[float]:
    """Return four to ten round figures from `least` up to `most`, which is above it."""
    power = 10.0 ** math.floor(math.log10(most - least))
    step = next(s * power for s in (0.1, 0.2, 0.5, 1.0, 2.0) if (most - least) / (s * power) <= 8.0)
    first = math.ceil(least / step * (1 - 1e-9))
    return [round(i * step, 12) for i in range(first, int(most / step * (1 + 1e-9)) + 1)]
