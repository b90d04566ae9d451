"""A chart in, strokes and words with their places on the page out: one layout for SVG, HTML and PNG alike.

Labels look for a place where they cover neither each other nor a curve. Units are those of the picture's own width.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from winding_coach.report.chart import Chart, Curve, Mark, Point, ranges_of
from winding_coach.report.svg import round_marks

WIDTH = 420.0
SIZE, SMALL = 13.0, 12.0
LEFT, BOTTOM, RIGHT = 52.0, 44.0, 14.0
TOP, SPANS_TOP = 46.0, 60.0
"""Above the box: title and label of y; names of spans in two rows as well."""
LETTER = 0.56
"""Mean width of a letter over its size, in common sans-serif faces; from memory, a little on the wide side."""
LEADER_ROOM = 18.0


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points; filled: a field instead."""

    points: tuple[Point, ...]
    role: str
    width: float = 1.0
    dashes: str = ""
    filled: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text with its baseline at y. halo: kept clear of what lies under it."""

    x: float
    y: float
    text: str
    role: str = "ink"
    size: float = SIZE
    anchor: str = "start"
    bold: bool = False
    halo: bool = False
    upright: bool = False


@dataclass(frozen=True, slots=True)
class Box:
    """A place on the page."""

    left: float
    top: float
    right: float
    bottom: float

    def touches(self, other: Box) -> bool:
        """Whether they share any ground."""
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )


def box_of(words: Words) -> Box:
    """Return the ground that a level line of text takes."""
    wide = LETTER * words.size * len(words.text) * (1.06 if words.bold else 1.0)
    left = words.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[words.anchor] * wide
    return Box(left, words.y - 0.80 * words.size, left + wide, words.y + 0.25 * words.size)


@dataclass(slots=True)
class _Page:
    """The box of the chart, what is drawn, and the ground that is taken."""

    box: Box
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    strokes: list[Stroke] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)
    taken: list[Box] = field(default_factory=list)
    inked: list[Point] = field(default_factory=list)

    def at(self, x: float, y: float) -> Point:
        across = (x - self.x_range[0]) / (self.x_range[1] - self.x_range[0])
        up = (y - self.y_range[0]) / (self.y_range[1] - self.y_range[0])
        box = self.box
        return box.left + across * (box.right - box.left), box.bottom - up * (box.bottom - box.top)

    def inside(self, x: float, y: float) -> Point:
        """The place, kept within the chart's box."""
        at_x, at_y = self.at(x, y)
        box = self.box
        return min(max(at_x, box.left), box.right), min(max(at_y, box.top), box.bottom)

    def say(self, words: Words) -> None:
        self.words.append(words)
        self.taken.append(box_of(words))

    def free(self, words: Words, bounds: Box) -> float:
        """How bad a place is: infinite off the page, else what it covers."""
        box = box_of(words)
        if box.left < bounds.left or box.right > bounds.right or box.top < bounds.top or box.bottom > bounds.bottom:
            return math.inf
        covered = 40.0 * sum(box.touches(other) for other in self.taken)
        return covered + sum(box.left < x < box.right and box.top < y < box.bottom for x, y in self.inked)


def laid_out(chart: Chart) -> tuple[list[Stroke], list[Words]]:
    """Return the strokes and words of a chart on a field `WIDTH` wide and as high as the chart says."""
    width, height = WIDTH, chart.height
    x_range, y_range = ranges_of(chart)
    named = [curve for curve in chart.curves if curve.label and curve.label_at is not None]
    right = RIGHT + (LEADER_ROOM + max(_wide(curve.label) for curve in named) if named else 0.0)
    left = LEFT
    if chart.y_names:
        left = 14.0 + max(_wide(name) for name in chart.y_names)
    top = SPANS_TOP if chart.spans else TOP
    page = _Page(Box(left, top, width - right, height - BOTTOM), x_range, y_range)
    for band in chart.bands:
        upper = [page.inside(x, high) for x, _, high in band.edges]
        lower = [page.inside(x, low) for x, low, _ in reversed(band.edges)]
        page.strokes.append(Stroke((*upper, *lower), band.role, filled=True))
    _frame(page, chart, width, height)
    _spans(page, chart)
    for curve in chart.curves:
        _curve(page, curve)
    for level in chart.levels:
        y = page.at(x_range[0], level.y)[1]
        page.strokes.append(Stroke(((page.box.left, y), (page.box.right, y)), level.role, 1.0, "2 4"))
    _signs(page, chart.top_signs)
    for mark in chart.marks:
        _mark(page, mark)
    for level in chart.levels:
        _level_label(page, level.y, level.label, level.role)
    for mark in chart.marks:
        if mark.label:
            _mark_label(page, mark)
    _end_labels(page, named, width)
    return page.strokes, page.words


def _signs(page: _Page, signs: Sequence[tuple[float, str, str]]) -> None:
    """Signs along the upper edge; of those that would run into each other only the first is drawn."""
    for x, sign, role in signs:
        at = Words(page.inside(x, 0.0)[0], page.box.top + 13.0, sign, role, SIZE, "middle", bold=True, halo=True)
        if not any(box_of(at).touches(other) for other in page.taken):
            page.say(at)


def _wide(text: str, size: float = SMALL) -> float:
    return LETTER * size * len(text)


def _frame(page: _Page, chart: Chart, width: float, height: float) -> None:
    box = page.box
    size = min(15.0, (width - 16.0) / (LETTER * 1.06 * max(len(chart.title), 1)))
    page.say(Words(8.0, 18.0, chart.title, "ink", round(size, 1), bold=True))
    page.say(Words(8.0, 36.0, chart.y_label, "dim", SMALL))
    page.say(Words(0.5 * (box.left + box.right), height - 8.0, chart.x_label, "dim", SMALL, "middle"))
    for mark in round_marks(page.x_range[1], page.x_range[0]):
        x, _ = page.at(mark, page.y_range[0])
        page.strokes.append(Stroke(((x, box.bottom), (x, box.bottom + 4.0)), "dim"))
        page.say(Words(x, box.bottom + 17.0, f"{mark:g}", "dim", SMALL, "middle"))
    if chart.y_names:
        for number, name in enumerate(chart.y_names):
            _, y = page.at(page.x_range[0], float(number))
            page.say(Words(box.left - 8.0, y + 4.0, name, "ink", SMALL, "end"))
    else:
        for mark in round_marks(page.y_range[1], page.y_range[0]):
            _, y = page.at(page.x_range[0], mark)
            page.strokes.append(Stroke(((box.left, y), (box.right, y)), "grid", 0.7))
            page.say(Words(box.left - 6.0, y + 4.0, f"{mark:g}", "dim", SMALL, "end"))
    page.strokes.append(Stroke(((box.left, box.bottom), (box.right, box.bottom)), "dim"))


def _spans(page: _Page, chart: Chart) -> None:
    """Names of the spans in two rows over the chart; one that finds no place is left out (the text tells it)."""
    rows = (page.box.top - 6.0, page.box.top - 8.0 - SMALL)
    for number, span in enumerate(chart.spans):
        from_x = page.inside(span.from_x, page.y_range[0])[0]
        to_x = page.inside(span.to_x, page.y_range[0])[0]
        if number:
            page.strokes.append(Stroke(((from_x, page.box.top), (from_x, page.box.bottom)), "dim", 0.7, "1 3"))
        middle = 0.5 * (from_x + to_x)
        half = 0.5 * _wide(span.label, SMALL)
        middle = min(max(middle, page.box.left + half - 30.0), page.box.right + RIGHT - half)
        for row in rows:
            label = Words(middle, row, span.label, "dim", SMALL, "middle")
            if not any(box_of(label).touches(other) for other in page.taken):
                page.say(label)
                break


def _curve(page: _Page, curve: Curve) -> None:
    for part in curve.parts:
        points = [page.inside(x, y) for x, y in part]
        if len(points) > 1:
            page.strokes.append(Stroke(tuple(points), curve.role, curve.width, curve.dashes))
        page.inked += _along(points)


def _along(points: Sequence[Point]) -> Iterable[Point]:
    """Points along a line, a few units apart, that a label should not cover."""
    for (x1, y1), (x2, y2) in pairwise(points):
        steps = max(1, min(200, int(math.hypot(x2 - x1, y2 - y1) / 4.0)))
        for i in range(steps):
            yield x1 + (x2 - x1) * i / steps, y1 + (y2 - y1) * i / steps


def _mark(page: _Page, mark: Mark) -> None:
    x, y = page.inside(mark.x, mark.y)
    if mark.shape == "small":
        page.strokes.append(Stroke(_circle(x, y, 2.0), mark.role, 1.0, filled=True))
        return
    page.taken.append(Box(x - 5.0, y - 5.0, x + 5.0, y + 5.0))
    if mark.low is not None and mark.high is not None:
        ends = (page.inside(mark.low, mark.y), page.inside(mark.high, mark.y))
        page.strokes.append(Stroke(ends, mark.role, 1.4))
        for end_x, end_y in ends:
            page.strokes.append(Stroke(((end_x, end_y - 4.0), (end_x, end_y + 4.0)), mark.role, 1.4))
    r = 4.0
    shapes: dict[str, tuple[tuple[Point, ...], bool]] = {
        "dot": (_circle(x, y, r), True),
        "ring": (_circle(x, y, r), False),
        "square": (((x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r), (x - r, y - r)), False),
        "triangle": (((x, y - r), (x + r, y + r), (x - r, y + r), (x, y - r)), True),
        "bar": (((x, y - 1.6 * r), (x, y + 1.6 * r)), False),
    }
    if mark.shape == "none":
        page.taken.pop()
        return
    points, filled = shapes[mark.shape]
    page.strokes.append(Stroke(points, mark.role, 1.4, filled=filled))


def _circle(x: float, y: float, r: float) -> tuple[Point, ...]:
    turns = [2.0 * math.pi * i / 16 for i in range(17)]
    return tuple((x + r * math.cos(turn), y + r * math.sin(turn)) for turn in turns)


def _mark_label(page: _Page, mark: Mark) -> None:
    """Put a mark's label where it covers least, near it."""
    x, y = page.inside(mark.x, mark.y)
    places = [
        (x + dx * reach, y + dy * reach + 4.0, anchor)
        for reach in (1.0, 1.8, 2.8)
        for dx, dy, anchor in (
            (-9.0, -6.0, "end"),
            (9.0, -6.0, "start"),
            (9.0, 0.0, "start"),
            (-9.0, 0.0, "end"),
            (-9.0, 12.0, "end"),
            (9.0, 12.0, "start"),
            (0.0, -12.0, "middle"),
            (0.0, 18.0, "middle"),
        )
    ]
    bounds = Box(page.box.left - LEFT + 4.0, page.box.top, page.box.right + RIGHT, page.box.bottom)
    tries = [Words(px, py, mark.label, mark.role, SMALL, anchor, bold=True, halo=True) for px, py, anchor in places]
    best = min(tries, key=lambda words: page.free(words, bounds))
    if page.free(best, bounds) < math.inf:
        page.say(best)


def _level_label(page: _Page, y: float, label: str, role: str) -> None:
    at_y = page.at(page.x_range[0], y)[1]
    box = page.box
    bounds = Box(box.left, box.top, box.right + RIGHT, box.bottom)
    tries = [
        Words(x, at_y + dy, label, role, SMALL, anchor, halo=True)
        for dy in (-4.0, 14.0)
        for x, anchor in ((box.left + 6.0, "start"), (box.right - 4.0, "end"), (0.5 * (box.left + box.right), "middle"))
    ]
    best = min(tries, key=lambda words: page.free(words, bounds))
    if page.free(best, bounds) < math.inf:
        page.say(best)


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return places near the wanted ones, in their order, `gap` apart and within the ends where they can be."""
    order = sorted(range(len(wanted)), key=lambda number: wanted[number])
    gap = min(gap, (high - low) / max(len(wanted) - 1, 1))
    places = [0.0] * len(wanted)
    floor = low
    for rank, number in enumerate(order):
        ceiling = high - gap * (len(order) - 1 - rank)
        places[number] = min(max(wanted[number], floor), ceiling)
        floor = places[number] + gap
    return places


def _end_labels(page: _Page, named: Sequence[Curve], width: float) -> None:
    """Labels of curves in the right margin, each joined to its curve by a fine line."""
    starts = [page.inside(*curve.label_at) for curve in named if curve.label_at is not None]
    places = spread([y for _, y in starts], SMALL + 3.0, page.box.top + 6.0, page.box.bottom - 4.0)
    for curve, (x, y), place in zip(named, starts, places, strict=True):
        end = page.box.right + LEADER_ROOM - 6.0
        page.strokes.append(Stroke(((x, y), (end, place)), curve.role, 0.7))
        page.say(Words(end + 4.0, place + 4.0, curve.label, curve.role, SMALL, bold=True))
