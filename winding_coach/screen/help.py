"""The help: keys, and from how far this window can be read. Any of its keys closes it; the coach goes on behind it."""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.screen import ModalScreen
from textual.widgets import Static

from winding_coach.screen.wording import HAND_KEY_NAMES, HAND_KEYS, KEYS


class Help(ModalScreen[None]):
    """One panel of text over the picture."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,h,question_mark,q,enter,space", "dismiss", "close")]

    def __init__(self, *, practising: bool) -> None:
        super().__init__()
        self._practising = practising

    def compose(self) -> ComposeResult:
        """Keys and what they do."""
        keys = [(key, words) for key, _, words in KEYS]
        if self._practising:
            keys += [(HAND_KEY_NAMES.get(key, key), words) for key, (_, words) in HAND_KEYS.items()]
        rows = "\n".join(f"{key:<17}{words}" for key, words in keys)
        yield Static(Text(f"Keys\n\n{rows}\n\nA foot switch or presenter that types these keys works too.\nh closes"))
