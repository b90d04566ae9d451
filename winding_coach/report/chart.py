"""What a chart shows, as values: curves, bands, spans, levels and marks in data units. `layout` draws it.

A role is what a thing is for (`wind`, `plan`, `danger`); `inks` makes it a colour. Nothing is told by colour alone:
curves differ in dashes too and carry their label, marks differ in shape.
"""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Curve:
    """A line. parts: pieces that are not joined. dashes: its pattern, "" for a whole line. label: at its end."""

    parts: tuple[tuple[Point, ...], ...]
    role: str = "wind"
    label: str = ""
    dashes: str = ""
    width: float = 1.6
    label_at: Point | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """A tinted field between two lines, (x, low, high) in order of x."""

    edges: tuple[tuple[float, float, float], ...]
    role: str = "band"


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of x with a name at the top; a fine upright line where it begins."""

    from_x: float
    to_x: float
    label: str


@dataclass(frozen=True, slots=True)
class Level:
    """A level line across with its label at the right."""

    y: float
    label: str
    role: str = "plan"


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark at a point. shape: dot, ring, square, triangle, bar, small (one of many) or none.

    low, high: an interval in x.
    """

    x: float
    y: float
    label: str = ""
    shape: str = "dot"
    role: str = "ink"
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart. about: what it shows, for who cannot see it. y_names: names at y = 0, 1, 2… in place of figures.

    height: of its picture, 420 wide. top_signs: (x, sign, role) along the upper edge, for alarms.
    """

    title: str
    about: str
    x_label: str
    y_label: str
    curves: tuple[Curve, ...] = ()
    bands: tuple[Band, ...] = ()
    spans: tuple[Span, ...] = ()
    levels: tuple[Level, ...] = ()
    marks: tuple[Mark, ...] = ()
    top_signs: tuple[tuple[float, str, str], ...] = ()
    x_range: tuple[float, float] | None = None
    y_range: tuple[float, float] | None = None
    y_names: tuple[str, ...] = ()
    height: float = 330.0

    @property
    def empty(self) -> bool:
        """Whether there is nothing to draw."""
        return not any(part for curve in self.curves for part in curve.parts) and not self.marks


def ranges_of(chart: Chart) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return what x and y span: as the chart wants, else from its data with a little room."""
    points = [point for curve in chart.curves for part in curve.parts for point in part]
    points += [(x, mark.y) for mark in chart.marks for x in (mark.x, mark.low, mark.high) if x is not None]
    points += [(x, y) for band in chart.bands for x, low, high in band.edges for y in (low, high)]
    xs, ys = [x for x, _ in points] or [0.0, 1.0], [y for _, y in points] or [0.0, 1.0]
    ys += [level.y for level in chart.levels]
    x_range = chart.x_range or _roomy(min(xs), max(xs))
    y_range = chart.y_range or _roomy(min(ys), max(ys))
    return _wide(*x_range), _wide(*y_range)


def _wide(low: float, high: float) -> tuple[float, float]:
    """Return a range that has some width, also where all lies at one place."""
    return (low, high) if high - low > 1e-9 * max(abs(low), abs(high), 1e-9) else _roomy(low, low)


def _roomy(low: float, high: float) -> tuple[float, float]:
    room = 0.05 * (high - low) or abs(high) * 0.1 or 1.0
    return low - room, high + room
