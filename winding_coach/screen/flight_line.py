"""One line for the flight, typed in the finished screen: it goes to who keeps it, who answers in a sentence.

The coach has ended by then, so nothing waits for this.
"""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from winding_coach.screen.after import Keep
from winding_coach.screen.sheet import in_ascii

HINT = "duration, turns left, height, ceiling, remarks: 6:52 180 7.5m ceiling a beam; 18c: crank turns; or broke"


class FlightLine(ModalScreen[str | None]):
    """A panel with one line to type in, over the picture; its result is what was said of what was kept, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss", "close")]

    def __init__(self, keep: Keep, found: str = "", *, goes_on: bool = False, ascii_only: bool = False) -> None:
        """keep: takes the line. found: what letting the motor down has found. goes_on: another panel follows, which
        says what was kept. ascii_only: draw with plain characters."""
        super().__init__(classes="ascii" if ascii_only else None)
        self._keep, self._found, self._goes_on = keep, found, goes_on
        self._kept: str | None = None

    def compose(self) -> ComposeResult:
        """The hint, the line, and what is said of it."""
        self._said = Static(HINT)
        found = [Static(Text(self._found))] if self._found else []
        panel = VerticalScroll(*found, Static(Text("How was the flight?")), Input(), self._said)
        panel.border_title, panel.border_subtitle = "flight", "enter keeps, escape closes"
        yield panel

    def on_mount(self) -> None:
        """The line takes the keys at once."""
        self.query_one(Input).focus()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Keep the line; once it is kept, enter closes."""
        if self._kept is not None:
            self.dismiss(self._kept)
            return
        kept, said = self._keep(event.value)
        self._kept = said if kept else None
        if kept and self._goes_on:
            self.dismiss(said)
            return
        shown = f"{said} Enter closes." if kept else said
        self._said.update(Text(in_ascii(shown) if self.has_class("ascii") else shown))
