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
        self._sheet = Sheet(0, 0)
        self._strips: list[Strip] = []
        self._styles: dict[str, Style] = {}

    def show(self, sheet: Sheet, styles: dict[str, Style]) -> None:
        """Take a sheet; rows that are as before are not painted again."""
        anew = styles is not self._styles or sheet.rows != self._sheet.rows
        changed = [number for number in range(sheet.rows) if anew or not sheet.same_row(self._sheet, number)]
        if not changed:
            return
        strips = [Strip.blank(0)] * sheet.rows if anew else self._strips
        for number in changed:
            strips[number] = self._strip(sheet.row(number), styles)
        self._sheet, self._strips, self._styles = sheet, strips, styles
        if anew:
            self.refresh()
        else:
            self.refresh(*(Region(0, number, self.size.width, 1) for number in changed))

    def _strip(self, row: Row, styles: dict[str, Style]) -> Strip:
        return Strip([Segment(text, styles[role]) for text, role in row])

    def render_line(self, y: int) -> Strip:
        """Return one row."""
        return self._strips[y] if y < len(self._strips) else Strip.blank(self.size.width, self._styles.get("ink"))
