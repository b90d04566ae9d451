"""The one widget of the live screen: takes a sheet, paints the rows that changed."""

from __future__ import annotations

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from winding_coach.screen.sheet import Row, Sheet


class SheetView(Widget):
    """Shows the newest sheet."""

    can_focus = True

    def __init__(self) -> None:
        super().__init__()
        self._rows: list[Row] = []
        self._strips: list[Strip] = []
        self._styles: dict[str, Style] = {}

    def show(self, sheet: Sheet, styles: dict[str, Style]) -> None:
        """Take a sheet; rows that are as before are not painted again."""
        rows = [sheet.row(number) for number in range(sheet.rows)]
        anew = styles is not self._styles or len(rows) != len(self._rows)
        changed = [n for n, row in enumerate(rows) if anew or row != self._rows[n]]
        if not changed:
            return
        strips = [Strip.blank(0)] * len(rows) if anew else self._strips
        for number in changed:
            strips[number] = self._strip(rows[number], styles)
        self._rows, self._strips, self._styles = rows, strips, styles
        if anew:
            self.refresh()
        else:
            self.refresh(*(Region(0, number, self.size.width, 1) for number in changed))

    def _strip(self, row: Row, styles: dict[str, Style]) -> Strip:
        return Strip([Segment(text, styles[role]) for text, role in row])

    def render_line(self, y: int) -> Strip:
        """Return one row."""
        return self._strips[y] if y < len(self._strips) else Strip.blank(self.size.width, self._styles.get("ink"))
