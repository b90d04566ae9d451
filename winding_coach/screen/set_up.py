"""Set-up in the screen, before the first wind: a few questions in, the answers as typed out. Nothing is stored here."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widgets import Button, Input, RadioButton, RadioSet, Static

from winding_coach.screen.terminal import Drawing
from winding_coach.screen.themes import PALETTES, theme


@dataclass(frozen=True, slots=True)
class Question:
    """One thing to be answered. choices: (value, words) to choose from, none: to be typed. value: the answer so far."""

    name: str
    label: str
    hint: str = ""
    value: str = ""
    choices: tuple[tuple[str, str], ...] = ()


Check = Callable[[Mapping[str, str]], Mapping[str, str]]
"""Answers in, a sentence for each that cannot be used out."""


class Choice(RadioButton):
    """One of several, marked by a sign and not by colour alone."""

    BUTTON_LEFT, BUTTON_RIGHT = "(", ")"

    @property
    def _button(self) -> Content:
        """`(x)` or `( )`, in any font."""
        return Content(f"({'x' if self.value else ' '})")


class SetUpApp(App[dict[str, str]]):
    """Asks; ends with the answers, or with None if it was skipped."""

    TITLE = "Winding coach"
    CSS_PATH = "app.tcss"
    ENABLE_COMMAND_PALETTE = False
    AUTO_FOCUS = "RadioSet, Input"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+s", "save", "save", priority=True),
        Binding("escape,ctrl+c,ctrl+q", "skip", "skip", priority=True),
    ]

    def __init__(self, questions: Sequence[Question], check: Check, drawn: Drawing | None = None) -> None:
        super().__init__()
        self._questions = questions
        self._check = check
        for palette in PALETTES:
            self.register_theme(theme(palette))
        self.theme = (drawn or Drawing()).palette.name

    def compose(self) -> ComposeResult:
        """A row for each question, and what to do with the answers."""
        with VerticalScroll(id="questions"):
            yield Static("Before the first wind", classes="title")
            yield Static(
                "Tab moves on, arrows and space choose. `wind --set-up` asks again.",
                classes="hint",
            )
            for question in self._questions:
                with Horizontal(classes="question"):
                    yield Static(question.label, classes="label")
                    if question.choices:
                        with RadioSet(id=question.name, compact=True):
                            for value, words in question.choices:
                                yield Choice(words, value=value == question.value, compact=True)
                    else:
                        yield Input(question.value, placeholder=question.hint, id=question.name, compact=True)
                yield Static("", id=f"{question.name}-wrong", classes="wrong")
        with Horizontal(id="buttons"):
            yield Button("Save and continue  (ctrl+s)", id="save", compact=True)
            yield Button("Skip for now  (escape)", id="skip", compact=True)

    def answers(self) -> dict[str, str]:
        """Return the answers as they stand."""
        found = {}
        for question in self._questions:
            if question.choices:
                pressed = self.query_one(f"#{question.name}", RadioSet).pressed_index
                found[question.name] = question.choices[max(pressed, 0)][0]
            else:
                found[question.name] = self.query_one(f"#{question.name}", Input).value.strip()
        return found

    def on_button_pressed(self, event: Button.Pressed) -> None:
        """Save or skip."""
        if event.button.id == "save":
            self.action_save()
        else:
            self.action_skip()

    def on_input_submitted(self, _event: Input.Submitted) -> None:
        """Enter goes to the next question."""
        self.action_focus_next()

    def action_save(self) -> None:
        """End with the answers, if all can be used; else say which cannot, and go to the first of them."""
        answers = self.answers()
        wrong = self._check(answers)
        for question in self._questions:
            said = self.query_one(f"#{question.name}-wrong", Static)
            said.update(wrong.get(question.name, ""))
            said.display = question.name in wrong
        for question in self._questions:
            if question.name in wrong:
                self.query_one(f"#{question.name}").focus()
                return
        self.exit(answers)

    def action_focus_next(self) -> None:
        """Go to the next question."""
        self.screen.focus_next()

    def action_skip(self) -> None:
        """End without answers."""
        self.exit(None)
