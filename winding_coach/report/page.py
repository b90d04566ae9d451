"""What a report holds, as values: sections of paragraphs, tables and charts. Text, page and picture are made of it."""

from __future__ import annotations

from dataclasses import dataclass

from winding_coach.report.chart import Chart


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of text; the first cell of each names it. figures: the others are set to the right."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    figures: bool = True


@dataclass(frozen=True, slots=True)
class Section:
    """One heading and what stands under it, in this order. legend: what the charts' signs mean.

    in_terminal: whether the first chart is drawn small there."""

    heading: str
    paragraphs: tuple[str, ...] = ()
    charts: tuple[Chart, ...] = ()
    legend: str = ""
    table: Table | None = None
    items: tuple[str, ...] = ()
    remark: str = ""
    in_terminal: bool = True


@dataclass(frozen=True, slots=True)
class Report:
    """A whole report. warning: what to mind first, "" for nothing."""

    title: str
    lead: str
    sections: tuple[Section, ...]
    foot: tuple[str, ...] = ()
    warning: str = ""

    @property
    def charts(self) -> tuple[Chart, ...]:
        """All charts that show something, in order."""
        return tuple(chart for section in self.sections for chart in section.charts if not chart.empty)

    @property
    def notes(self) -> tuple[str, ...]:
        """What a picture of the charts says below them."""
        legends = (section.legend for section in self.sections if any(not chart.empty for chart in section.charts))
        return tuple(text for text in (self.warning, *legends) if text)
