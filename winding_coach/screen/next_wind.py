"""Who winds next, and which motor: typed in the finished screen, chosen by its row, or scanned from the label."""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from winding_coach.screen.after import Asked, Upcoming
from winding_coach.screen.sheet import in_ascii

HINT = "Enter takes row 1. Or type a row's number, or letters of the person and the motor; or scan the motor's label."
NOBODY = "Nothing on the shelf is due; enter winds the same motor again. 'motor add' puts motors on the shelf."


class NextWind(ModalScreen[Asked | None]):
    """A panel with those who are due and one line to type in; its result is the next wind, None when it was closed."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss", "close")]

    def __init__(self, upcoming: Upcoming, said: str = "", *, ascii_only: bool = False) -> None:
        """said: what there is to say of what was before. ascii_only: draw with plain characters."""
        super().__init__(classes="ascii" if ascii_only else None)
        self._upcoming, self._said_before = upcoming, said

    def compose(self) -> ComposeResult:
        """What was before, the rows, the line, and what is said of it."""
        rows = self._upcoming.rows()
        self._said = Static(self._text(HINT if rows else NOBODY))
        listed = [Static(self._text("\n".join(f"{number:>2}  {row}" for number, row in enumerate(rows, 1))))]
        before = [Static(self._text(self._said_before), classes="before")] if self._said_before else []
        panel = VerticalScroll(*before, *(listed if rows else []), Input(), self._said)
        panel.border_title, panel.border_subtitle = "next wind", "enter continues, escape closes"
        yield panel

    def on_mount(self) -> None:
        """The line takes the keys at once."""
        self.query_one(Input).focus()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Go on to the next wind, or say what is missing."""
        answer = self._upcoming.choose(event.value)
        if answer.asked is not None:
            self.dismiss(answer.asked)
            return
        self._said.update(self._text(answer.said))
        event.input.value = ""

    def _text(self, words: str) -> Text:
        return Text(in_ascii(words) if self.has_class("ascii") else words)
