"""The help: keys, and from how far this window can be read. Any of its keys closes it; the coach goes on behind it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from winding_coach.screen.sheet import in_ascii


class Help(ModalScreen[None]):
    """One panel of text over the picture."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,h,question_mark,q,enter,space", "dismiss", "close")]

    def __init__(self, keys: Sequence[tuple[str, str]], reach: Sequence[str] = (), *, ascii_only: bool = False) -> None:
        """keys: each with what it does. reach: from how far this window can be read."""
        super().__init__(classes="ascii" if ascii_only else None)
        self._keys = keys
        self._reach = reach

    def compose(self) -> ComposeResult:
        """Keys and what they do."""
        rows = "\n".join(f"{key:<17}{words}" for key, words in self._keys)
        reach = "\n".join(self._reach)
        text = f"{rows}\n\nA foot switch or presenter that types these keys works too.\n\n{reach}"
        panel = VerticalScroll(Static(Text(in_ascii(text) if self.has_class("ascii") else text)))
        panel.border_title, panel.border_subtitle = "keys", "h closes"
        yield panel
