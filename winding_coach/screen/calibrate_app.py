"""The guided calibration: looks at a guide's view, passes keys on. What hangs where is the guide's to say."""

from __future__ import annotations

from typing import ClassVar, Protocol

from rich.text import Text
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widgets import Static

from winding_coach.meter.commissioning.guiding import GuideView
from winding_coach.screen.terminal import Drawing
from winding_coach.screen.themes import PALETTES, theme

LOOK_EVERY_S = 0.1
CAUTION = "Keep clear of the weights' fall, and the cell within its rating."
KEYS = "enter take the reading   b back   q leave"


class Guided(Protocol):
    """What is used of someone who reads the meter."""

    @property
    def view(self) -> GuideView:
        """What to show now."""

    @property
    def lost(self) -> str | None:
        """Why the meter is gone, one sentence; None while it is there."""

    def press(self, name: str) -> None:
        """Pass a key on: take, back."""


def sheet(view: GuideView, lost: str | None, ascii_only: bool = False) -> Text:
    """Return the whole screen as text: what to do, how the reading stands, what was taken."""
    text = Text()
    text.append(f"Calibration   {view.number} of {view.of}\n\n", "bold")
    text.append(f"{view.ask}\n", "bold reverse")
    text.append("\n")
    counts = "no reading" if view.counts is None else f"{view.counts:,} counts"
    if lost is not None:
        state = lost
    elif view.finished:
        state = "Press enter to see the result."
    elif view.waiting_s is not None:
        state = f"Waiting for rest, {view.waiting_s:.1f} s"
    else:
        state = "Press enter when it hangs still."
    text.append(f"{counts:<24}{state}\n")
    text.append(f"{view.trouble or ''}\n", "bold")
    text.append("\n")
    dot = "-" if ascii_only else "·"
    for number, point in enumerate(view.points, 1):
        torque = f"{1e3 * point.torque_Nm:+.3f} mN{dot}m"
        text.append(
            f"{number:>3}  {point.words:<16}{torque:>14}  {point.counts:>14,.1f}  scatter {point.sd_counts:.1f}\n"
        )
    text.append(f"\n{CAUTION}\n{KEYS}", "italic")
    return text


class CalibrateApp(App[bool]):
    """Shows a guide; ends with True once all loads are taken and confirmed, False if it was left."""

    TITLE = "Calibration"
    CSS_PATH = "app.tcss"
    CSS = "#calibration { padding: 1 2; }"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "take", priority=True),
        Binding("b", "step_back", "back"),
        Binding("q,escape,ctrl+c", "leave", "leave", priority=True),
    ]

    def __init__(self, guided: Guided, drawn: Drawing | None = None) -> None:
        super().__init__()
        self._guided = guided
        self._drawn = drawn or Drawing()
        for palette in PALETTES:
            self.register_theme(theme(palette))
        self.theme = self._drawn.palette.name

    def compose(self) -> ComposeResult:
        """One sheet that scrolls when the list grows long."""
        with VerticalScroll(id="calibration"):
            yield Static(id="sheet")

    def on_mount(self) -> None:
        """Look ten times per second."""
        self.look()
        self.set_interval(LOOK_EVERY_S, self.look)

    def look(self) -> None:
        """Draw what there is now."""
        self.query_one("#sheet", Static).update(sheet(self._guided.view, self._guided.lost, self._drawn.ascii_only))

    def action_take(self) -> None:
        """Take the reading; at the end, go on."""
        if self._guided.view.finished:
            self.exit(True)
        else:
            self._guided.press("take")
            self.look()

    def action_step_back(self) -> None:
        """One load back."""
        self._guided.press("back")
        self.look()

    def action_leave(self) -> None:
        """End without a calibration."""
        self.exit(False)
