"""Charts in, one picture out: as SVG text, for a page or a file of its own, or as a PNG of that SVG."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from winding_coach.base.errors import CoachError
from winding_coach.report.chart import Chart
from winding_coach.report.inks import IN_PAGE, LIGHT
from winding_coach.report.layout import LETTER, SMALL, WIDTH, Stroke, Words, laid_out
from winding_coach.report.svg import clean

FACE = "Helvetica, Arial, sans-serif"
COLUMNS = 2
HEAD = 34.0
PNG_PER_UNIT = 2.0
"""Points of the PNG for one unit of the layout."""
FACES = ("Helvetica", "Arial", "Liberation Sans", "DejaVu Sans", "Noto Sans", "Segoe UI", "FreeSans")
INSTALL = "PNG needs an extra: install it with 'pip install \"winding-coach[plots]\"', or name a .svg or .html file."
NO_FACE = (
    f"PNG needs a font, and this computer has none of {', '.join(FACES)}: install one, or name a .svg or .html file."
)


class NoPlots(CoachError):
    """The extra for PNG is not installed; the message says what to install."""


def _stroke(stroke: Stroke, inks: dict[str, str]) -> str:
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in stroke.points)
    if stroke.filled:
        return f'<polygon points="{points}" fill="{inks[stroke.role]}"/>'
    dashed = f' stroke-dasharray="{stroke.dashes}"' if stroke.dashes else ""
    return (
        f'<polyline points="{points}" fill="none" stroke="{inks[stroke.role]}" stroke-width="{stroke.width:g}"'
        f' stroke-linejoin="round"{dashed}/>'
    )


def _words(words: Words, inks: dict[str, str]) -> str:
    weight = ' font-weight="bold"' if words.bold else ""
    halo = f' stroke="{inks["ground"]}" stroke-width="3" paint-order="stroke"' if words.halo else ""
    return (
        f'<text x="{words.x:.1f}" y="{words.y:.1f}" font-size="{words.size:g}" text-anchor="{words.anchor}"'
        f' fill="{inks[words.role]}"{weight}{halo}>{clean(words.text)}</text>'
    )


def _inner(strokes: Sequence[Stroke], words: Sequence[Words], inks: dict[str, str]) -> list[str]:
    return [*(_stroke(one, inks) for one in strokes), *(_words(one, inks) for one in words)]


def inline_svg(chart: Chart, number: int) -> str:
    """Return a chart as SVG inside a page, in the page's own colours, with a text in its place for who cannot see it.

    number: makes its ids its own within the page.
    """
    return "\n".join(
        [
            f'<svg viewBox="0 0 {WIDTH:g} {chart.height:g}" role="img" aria-labelledby="t{number} d{number}"'
            f' font-family="{FACE}">',
            f'<title id="t{number}">{clean(chart.title)}</title>',
            f'<desc id="d{number}">{clean(chart.about)}</desc>',
            *_inner(*laid_out(chart), IN_PAGE),
            "</svg>",
        ]
    )


@dataclass(frozen=True, slots=True)
class _Field:
    """One chart, or the title and notes, and where it begins on the picture."""

    x: float
    y: float
    strokes: Sequence[Stroke]
    words: Sequence[Words]


def _fields(title: str, charts: Sequence[Chart], notes: Sequence[str]) -> tuple[list[_Field], float, float]:
    """Return the fields of a picture and its width and height: title, charts two side by side, notes."""
    fields, y = [], HEAD
    wide = min(COLUMNS, len(charts)) * WIDTH
    for start in range(0, len(charts), COLUMNS):
        row = charts[start : start + COLUMNS]
        fields += [_Field(number * WIDTH, y, *laid_out(chart)) for number, chart in enumerate(row)]
        y += max(chart.height for chart in row)
    size = min(17.0, (wide - 20.0) / (0.62 * max(len(title), 1)))
    words = [Words(8.0, 24.0, title, "ink", round(size, 1), bold=True)]
    for note in notes:
        for line in textwrap.wrap(note, int((wide - 16.0) / (LETTER * SMALL))):
            y += 16.0
            words.append(Words(8.0, y - 6.0, line, "dim", SMALL))
    return [_Field(0.0, 0.0, (), words), *fields], wide, y + 6.0


def picture_svg(title: str, charts: Sequence[Chart], notes: Sequence[str] = ()) -> str:
    """Return charts as one SVG document on white, notes below them."""
    fields, wide, high = _fields(title, charts, notes)
    about = " ".join(chart.about for chart in charts)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}" height="{high:g}" viewBox="0 0 {wide:g} {high:g}"'
        f' role="img" aria-labelledby="title about" font-family="{FACE}">',
        f'<title id="title">{clean(title)}</title>',
        f'<desc id="about">{clean(about)}</desc>',
        f'<rect width="{wide:g}" height="{high:g}" fill="{LIGHT["ground"]}"/>',
    ]
    for one in fields:
        parts += [f'<g transform="translate({one.x:g} {one.y:g})">', *_inner(one.strokes, one.words, LIGHT), "</g>"]
    return "\n".join([*parts, "</svg>\n"])


def picture_png(title: str, charts: Sequence[Chart], notes: Sequence[str] = ()) -> bytes:
    """Return the same picture as PNG, two points for a unit, in the first of `FACES` that this computer has.

    Raises:
        NoPlots: the extra is not installed, or the computer has none of the faces.
    """
    try:
        import resvg_py
    except ImportError:
        raise NoPlots(INSTALL) from None

    def png(svg: str, face: str) -> bytes:
        return bytes(resvg_py.svg_to_bytes(svg_string=svg, zoom=PNG_PER_UNIT, sans_serif_family=face))

    for face in FACES:
        # What has no face is left out without a word: a letter must make a difference.
        if png(_letter("x", face), face) != png(_letter("", face), face):
            svg = picture_svg(title, charts, notes)
            return png(svg.replace(f'font-family="{FACE}"', f'font-family="{face}"'), face)
    raise NoPlots(NO_FACE)


def _letter(text: str, face: str) -> str:
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="16" height="16">'
        f'<text x="2" y="12" font-size="12" font-family="{face}">{text}</text></svg>'
    )
