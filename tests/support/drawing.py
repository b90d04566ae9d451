"""Pieces of a drawing to scale: parts in section, notes with a thin line, dimensions. Millimetres throughout."""

from __future__ import annotations

from winding_coach.report.svg import INK, PALE, SECOND, line, words


def box(x: float, y: float, width: float, height: float, fill: str = "#e8e8e8") -> str:
    """Return a part in section."""
    place = f'x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}"'
    return f'<rect {place} fill="{fill}" stroke="{INK}" stroke-width="0.35"/>'


def ring(x: float, y: float, radius: float, fill: str = "#ffffff") -> str:
    """Return a circle: a ball, a bore, a shaft seen from its end."""
    return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:g}" fill="{fill}" stroke="{INK}" stroke-width="0.35"/>'


def note(x: float, y: float, text: str, to_x: float, to_y: float, *, anchor: str = "start") -> list[str]:
    """Words with a thin line from their side to what they name."""
    lift = -3.4 if to_y < y - 3 else 1.0
    return [line(x, y + lift, to_x, to_y, width=0.2, stroke=PALE), words(x, y, text, 3.1, anchor=anchor)]


def across(x1: float, x2: float, y: float, text: str, *, from_y: float) -> list[str]:
    """A dimension from x1 to x2 at a height, with thin lines up to what it measures."""
    ends = [line(x, from_y, x, y + 1.2, width=0.15, stroke=SECOND) for x in (x1, x2)]
    ticks = [line(x - 0.8, y + 0.8, x + 0.8, y - 0.8, width=0.35, stroke=SECOND) for x in (x1, x2)]
    bar = line(x1, y, x2, y, width=0.25, stroke=SECOND)
    return [*ends, *ticks, bar, words((x1 + x2) / 2, y - 0.9, text, 2.9, anchor="middle", fill=SECOND)]


def upright(y1: float, y2: float, x: float, text: str, *, from_x: float) -> list[str]:
    """Return a dimension from y1 to y2 at x, with thin lines from what it measures."""
    ends = [line(from_x, y, x + 1.2, y, width=0.15, stroke=SECOND) for y in (y1, y2)]
    ticks = [line(x - 0.8, y + 0.8, x + 0.8, y - 0.8, width=0.35, stroke=SECOND) for y in (y1, y2)]
    return [
        *ends,
        *ticks,
        line(x, y1, x, y2, width=0.25, stroke=SECOND),
        words(x + 1.4, (y1 + y2) / 2 + 1, text, 2.9, fill=SECOND),
    ]
