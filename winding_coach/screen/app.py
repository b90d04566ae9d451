"""The live screen: polls one immutable view, redraws what changed, passes keys on. The loop never waits for it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import ClassVar

from rich.text import Text
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.events import Resize
from textual.screen import ModalScreen
from textual.widgets import Static

from winding_coach.coach.view import CoachView
from winding_coach.screen import panels
from winding_coach.screen.chart import Chart, ChartData
from winding_coach.screen.digits import block_rows
from winding_coach.screen.layout import layout_for
from winding_coach.screen.looking import Looked
from winding_coach.screen.themes import THEMES
from winding_coach.screen.wording import CLOSED_LINE, HAND_KEY_LINE, HAND_KEY_NAMES, HAND_KEYS, KEY_LINE, KEYS

LOOKS_PER_S = 12


class Help(ModalScreen[None]):
    """The keys; any key closes it, and the coach goes on behind it."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,h,question_mark,q,enter,space", "dismiss", "close")]

    def __init__(self, *, practising: bool) -> None:
        super().__init__()
        self._practising = practising

    def compose(self) -> ComposeResult:
        """One panel of text."""
        keys = [(key, words) for key, _, words in KEYS]
        if self._practising:
            keys += [(HAND_KEY_NAMES.get(key, key), words) for key, (_, words) in HAND_KEYS.items()]
        rows = "\n".join(f"{key:<17}{words}" for key, words in keys)
        yield Static(Text(f"Keys\n\n{rows}\n\nA foot switch or presenter that types these keys works too.\nh closes"))


class CoachApp(App[None]):
    """The screen of one wind."""

    TITLE = "Winding coach"
    CSS_PATH = "app.tcss"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("t", "press('tare')", "zero"),
        Binding("n,enter,space", "press('next')", "next", priority=True),
        Binding("c", "press('count')", "count"),
        Binding("p", "press('peak')", "peak"),
        Binding("s", "press('stop')", "stop"),
        Binding("g", "glance", "large"),
        Binding("l", "theme", "theme"),
        Binding("z", "freeze", "freeze"),
        Binding("h,question_mark", "help", "help"),
        Binding("q,ctrl+c", "leave", "quit"),
    ]

    def __init__(self, looked: Looked, hand: Callable[[str], None] | None = None) -> None:
        """hand: takes the commands of practised hands, None outside practice."""
        super().__init__()
        self._looked = looked
        self._hand = hand
        if hand is not None:
            for keys, (command, _) in HAND_KEYS.items():
                self.bind(keys, f"hand('{command}')")
        self._glance = False
        self._frozen: CoachView | None = None
        self._said: dict[str, str] = {}
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = THEMES[0].name

    def compose(self) -> ComposeResult:
        """Every part of every layout; `_lay_out` shows those that fit."""
        yield Static(id="header")
        with Horizontal(id="top"):
            yield Static(id="phase")
            yield Static(id="step")
        yield Static(id="prompt")
        yield Static(id="alarm")
        with Horizontal(id="middle"):
            yield Static(id="torque")
            yield Static(id="facts")
        yield Static(id="cautions")
        yield Chart(id="chart")
        yield Static(id="plain")
        yield Static(KEY_LINE, id="keys")

    def on_mount(self) -> None:
        """Start looking, and the loop with it."""
        self._looked.start()
        self.set_interval(1 / LOOKS_PER_S, self.look)
        self.look()

    def on_resize(self, _event: Resize) -> None:
        """Everything is drawn anew."""
        self._said.clear()
        self.look()

    # -- keys

    def action_press(self, name: str) -> None:
        """Pass a key of the coach on."""
        self._looked.press(name)

    def action_hand(self, command: str) -> None:
        """Pass a command of practised hands on."""
        if self._hand is not None:
            self._hand(command)

    def action_glance(self) -> None:
        """Swap the large layout and the full one."""
        self._glance = not self._glance
        self._said.clear()
        self.look()

    def action_theme(self) -> None:
        """The next theme."""
        names = [theme.name for theme in THEMES]
        self.theme = names[(names.index(self.theme) + 1) % len(names)]

    def action_freeze(self) -> None:
        """Hold the picture, or let it go on. The loop is not touched."""
        self._frozen = self._looked.view if self._frozen is None else None
        self.look()

    def action_help(self) -> None:
        """Show the keys."""
        self.push_screen(Help(practising=self._hand is not None))

    def action_leave(self) -> None:
        """Close the wind and leave."""
        self._looked.stop()
        self.exit()

    # -- looking

    def look(self) -> None:
        """Draw the present view, as far as it changed."""
        if self.size.width == 0 or not self.screen_stack:
            return
        view = self._frozen or self._looked.view
        trouble = self._looked.trouble
        layout = layout_for(self.size.width, self.size.height, panels.torque_template(view), glance=self._glance)
        cautions = panels.wants_cautions(view) and not layout.plain and not layout.glance
        shown = {
            "plain": layout.plain,
            **dict.fromkeys(("header", "top", "prompt", "alarm", "middle", "keys"), not layout.plain),
            "facts": not layout.plain and not layout.glance,
            "step": not layout.plain and not layout.glance,
            "cautions": cautions,
            "chart": layout.chart and not cautions,
        }
        base = self.screen_stack[0]
        for name, on in shown.items():
            base.query_one(f"#{name}").display = on
        if layout.plain:
            self._say("plain", panels.plain_lines(view, trouble))
            return
        frozen, replaying = self._frozen is not None, self._looked.replaying
        self._say("header", panels.header(view, self._looked.trace_name, replaying=replaying, frozen=frozen))
        self._say("phase", Text("\n".join(block_rows(panels.phase_word(view), *layout.phase)), no_wrap=True))
        self._say("step", panels.step_words(view))
        self._say("prompt", panels.prompt_words_of(view))
        self._say("alarm", panels.alarm_line(view, trouble))
        digits = Text("\n".join(block_rows(panels.torque_figure(view), *layout.torque)) + "\n", no_wrap=True)
        self._say("torque", digits.append_text(panels.under_torque(view)))
        self._say("facts", panels.facts_text(view))
        self._say("cautions", panels.cautions_text())
        keys = KEY_LINE if self._hand is None else HAND_KEY_LINE
        self._say("keys", Text(keys if view.summary is None else CLOSED_LINE, no_wrap=True))
        base.query_one("#top").styles.height = max(layout.phase_rows, 2)
        base.query_one("#middle").styles.height = layout.torque_rows
        base.query_one("#torque").styles.width = layout.torque_columns
        if shown["chart"]:
            base.query_one("#chart", Chart).show_data(ChartData(view, self._looked.curve.points()))

    def _say(self, name: str, text: Text) -> None:
        key = text.markup
        if self._said.get(name) != key:
            self._said[name] = key
            self.screen_stack[0].query_one(f"#{name}", Static).update(text)


def run_screen(looked: Looked, hand: Callable[[str], None] | None = None) -> None:
    """Show a wind until the person leaves; the wind is closed and saved then. `hand`: see `CoachApp`."""
    app = CoachApp(looked, hand)
    try:
        app.run()
    finally:
        looked.stop()


def is_terminal() -> bool:
    """Whether there is a terminal to draw on."""
    return sys.stdin.isatty() and sys.stdout.isatty()
