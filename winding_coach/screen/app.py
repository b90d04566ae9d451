"""The live screen: polls one immutable view, draws it, passes keys on. The loop never waits for it."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import ClassVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.events import Resize

from winding_coach.base.inputs import CHECK_KEYS, CHECKS
from winding_coach.base.units import UnitSystem
from winding_coach.coach.view import CoachView
from winding_coach.screen.after import After, Asked
from winding_coach.screen.chart import Points
from winding_coach.screen.closing import closed_by_signals
from winding_coach.screen.face import Scene, face
from winding_coach.screen.figures import alarm_text, big_word, figures_in, torque_figure, torque_template
from winding_coach.screen.flight_line import FlightLine
from winding_coach.screen.help import Help
from winding_coach.screen.layout import layout_for
from winding_coach.screen.legible import Eyes, hint
from winding_coach.screen.looking import Looked, Sound
from winding_coach.screen.next_wind import NextWind
from winding_coach.screen.remark import Remark
from winding_coach.screen.sheet import CHARACTERS
from winding_coach.screen.sheet_view import SheetView
from winding_coach.screen.side import LookAside
from winding_coach.screen.terminal import Drawing, drawing
from winding_coach.screen.terminal import is_terminal as is_terminal
from winding_coach.screen.themes import PALETTES, styles, theme
from winding_coach.screen.wording import HAND_HELP, HAND_KEY_LINE, HAND_KEYS, KEY_LINE, KEYS, closed_line

COACH_KEYS = (
    Binding("t", "press('tare')", "zero"),
    Binding("n,enter,space", "press('next')", "next"),
    Binding("backspace", "press('back')", "back"),
    Binding("c", "press('count')", "count"),
    Binding("p", "press('peak')", "peak"),
    Binding("s", "press('stop')", "stop"),
    Binding("o", "press('go_on')", "continue"),
    Binding("b", "press('broke')", "it broke"),
    Binding("plus", "press('more_turns_in')", "more turns in"),
    Binding("minus", "press('fewer_turns_in')", "fewer turns in"),
    *(Binding(str(number), f"press('check_{name}')", f"tick {name}") for number, name in enumerate(CHECKS, 1)),
    Binding("y", f"press('{CHECK_KEYS[-1]}')", "tick all"),
)
"""Passed on to the loop."""
LOOK_KEYS = (
    Binding("g", "glance", "glance"),
    Binding("u", "units", "units"),
    Binding("v", "side", "from the side"),
    Binding("l", "theme", "theme"),
    Binding("z", "freeze", "freeze"),
    Binding("a", "characters", "characters"),
    Binding("f", "flight", "flight"),
    Binding("d", "let_down", "let the motor down"),
    Binding("escape", "seen", "close the cautions"),
    Binding("h,question_mark", "help", "help"),
    Binding("q,ctrl+c,ctrl+q", "leave", "quit"),
)
"""The screen's own."""
LOOKS_PER_S = 12
"""How often all is drawn, chart and clock too."""
CHECKS_PER_S = 100
"""How often it is seen whether a figure or a word has changed, which is drawn at once."""
PICTURES_PER_S = 40
"""And no more than this."""
SIGN_OF_LIFE_S = 2.0
"""A running loop renews its view ten times per second and more; one that has not for so long is not live."""


class CoachApp(App[None]):
    """The screen of one wind."""

    TITLE = "Winding coach"
    CSS_PATH = "app.tcss"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [*COACH_KEYS, *LOOK_KEYS]

    def __init__(
        self,
        looked: Looked,
        hand: Callable[[str], None] | None = None,
        *,
        drawn: Drawing | None = None,
        keys: Sequence[tuple[str, str]] = KEYS,
        eyes: Eyes | None = None,
        aside: LookAside | None = None,
        earlier: Callable[[], tuple[Points, ...]] | None = None,
        note: Callable[[], Remark] | None = None,
        ports: Callable[[], str] | None = None,
        sound: Sound | None = None,
        after: After | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """hand: takes the commands of practised hands, None outside practice. keys, eyes: for the help. aside: what
        a simulated bench knows. earlier: winds of the same motor, for the chart. note: a remark while there is no
        alarm, as what a lesson is about. ports: what is seen on them, asked for only while there is no meter.
        sound: what is heard, for who does not hear it. after: what the finished screen offers; takes what was asked."""
        super().__init__()
        self._looked = looked
        self._hand = hand
        self._clock = clock
        if hand is not None:
            keys = HAND_HELP
            for key, (command, _) in HAND_KEYS.items():
                self.bind(key, f"hand('{command}')")
        self._keys = keys
        self._eyes = eyes or Eyes()
        self._aside, self._earlier, self._note, self._ports = aside, earlier, note, ports
        self._sound, self._rung = sound, 0
        self._after = after or After()
        self._said_found = False
        self._looked_s = 0.0
        self._view_told: CoachView | None = None
        self._told_now: tuple[object, ...] = ()
        self._told_last: tuple[object, ...] = ()
        self._glance = self._seen = self._swapped_units = self._side_first = False
        self._frozen: Scene | None = None
        self._newest: tuple[CoachView, float] | None = None
        self._drawn = drawn or Drawing()
        for each in PALETTES:
            self.register_theme(theme(each))
        self._characters = self._drawn.characters
        self._palette, self._styles = self._drawn.palette, styles(self._drawn.palette)
        self.theme = self._palette.name

    def compose(self) -> ComposeResult:
        """One sheet."""
        yield SheetView()

    def on_mount(self) -> None:
        """Start looking, and the loop with it."""
        self._looked.start()
        self.run_worker(self.keep_looking(), name="looking")
        self.look()

    def on_resize(self, _event: Resize) -> None:
        """Draw for the new size."""
        self.look()

    # -- keys

    def action_press(self, name: str) -> None:
        """Pass a key of the coach on; once the wind is closed, `next` goes on to the next wind."""
        if self.over and name == "next":
            self.ask_next()
        else:
            self._looked.press(name)

    def action_hand(self, command: str) -> None:
        """Pass a command of practised hands on."""
        if self._hand is not None:
            self._hand(command)

    def action_glance(self) -> None:
        """Swap the large layout and the full one."""
        self._glance = not self._glance
        self.look()

    def action_side(self) -> None:
        """Where there is no room for both, the picture from the side instead of the chart, or back."""
        self._side_first = not self._side_first
        self.look()

    def action_units(self) -> None:
        """Show figures in the other unit system, or back."""
        self._swapped_units = not self._swapped_units
        self.look()

    def _units(self) -> UnitSystem:
        """The unit system shown: the wind's own, or after `u` the other."""
        own = self._looked.view.units
        return ("inch" if own == "metric" else "metric") if self._swapped_units else own

    def action_theme(self) -> None:
        """The next palette."""
        self._palette = PALETTES[(PALETTES.index(self._palette) + 1) % len(PALETTES)]
        self._styles = styles(self._palette)
        self.theme = self._palette.name
        self.look()

    def action_characters(self) -> None:
        """Draw with the next set of characters."""
        self._characters = CHARACTERS[(CHARACTERS.index(self._characters) + 1) % len(CHARACTERS)]
        self.look()

    def action_freeze(self) -> None:
        """Hold the picture, or let it go on. The loop is not touched."""
        self._frozen = self.scene() if self._frozen is None else None
        self.look()

    def action_seen(self) -> None:
        """Close the cautions."""
        self._seen = True
        self.look()

    def action_help(self) -> None:
        """Show the keys."""
        layout = layout_for(*self.size, torque_template(self._looked.view), glance=self._glance)
        reach = hint(layout, self.size.height, self._eyes)
        self.push_screen(Help(self._keys, reach, ascii_only=self._characters == "ascii"))

    # -- once it is over

    @property
    def over(self) -> bool:
        """Whether the wind is closed, or the motor let down."""
        view = self._looked.view
        return view.summary is not None or (view.letting_down and self._looked.finished)

    def action_flight(self) -> None:
        """Take a line about the flight, once the wind is closed."""
        if self.over:
            self.ask_flight("")

    def ask_flight(self, found: str) -> None:
        """Take a line about the flight, and then go on to the next wind."""
        keep, goes_on = self._after.flight, self._after.upcoming is not None
        if keep is None:
            self.ask_next(found)
            return
        panel = FlightLine(keep, found, goes_on=goes_on, ascii_only=self._characters == "ascii")
        self.push_screen(panel, lambda said: None if said is None else self.ask_next(said))

    def ask_next(self, said: str = "") -> None:
        """Take who and which motor is next."""
        if self._after.upcoming is not None:
            panel = NextWind(self._after.upcoming, said, ascii_only=self._characters == "ascii")
            self.push_screen(panel, self._go_on)

    def action_let_down(self) -> None:
        """Leave this screen for letting the motor down."""
        summary = self._looked.view.summary
        if self._after.lets_down and summary is not None and summary.outcome != "broken":
            self._go_on(Asked("let_down"))

    def _go_on(self, asked: Asked | None) -> None:
        if asked is not None:
            self._after.asked = asked
            self.action_leave()

    def _say_found(self) -> None:
        """When the motor is let down: what was found goes into the flight's line, which opens by itself."""
        if self._after.found is None or self._said_found or not self._looked.finished or len(self.screen_stack) > 1:
            return
        self._said_found = True
        self.ask_flight(self._after.found())

    def action_leave(self) -> None:
        """Close the wind and leave."""
        self._looked.stop()
        self.exit()

    # -- looking

    async def keep_looking(self) -> None:
        """Look for as long as the app runs. A bare task: the library's timers cost ten times as much a look."""
        while True:
            await asyncio.sleep(1 / CHECKS_PER_S)
            self._say_found()
            waited_s = time.monotonic() - self._looked_s
            if waited_s >= 1 / LOOKS_PER_S or (waited_s >= 1 / PICTURES_PER_S and self._told() != self._told_last):
                self.look()

    def _told(self) -> tuple[object, ...]:
        """What must be seen at once when it changes: the digits, what to do, alarms."""
        view = self._looked.view
        if view is not self._view_told:
            self._view_told = view
            self._told_now = (torque_figure(view), big_word(view), alarm_text(view, None))
        return self._told_now

    def look(self) -> None:
        """Draw the present view."""
        self._looked_s, self._told_last = time.monotonic(), self._told()
        if self.size.width == 0 or not self.screen_stack:
            return
        if self._sound is not None and self._sound.rung != self._rung:
            self._rung = self._sound.rung
            self.bell()
        for sheet_view in self.screen_stack[0].query(SheetView):  # None while the app is being put together.
            sheet_view.show(face(self.scene(), *self.size), self._styles)

    def scene(self) -> Scene:
        """What there is to draw now."""
        if self._frozen is not None:
            view = figures_in(self._frozen.view, self._units())
            mode = "FROZEN: z resumes"
            return replace(self._frozen, view=view, mode=mode, glance=self._glance, characters=self._characters)
        looked, remark = self._looked, Remark() if self._note is None else self._note()
        view, trouble = figures_in(self._live(looked.view), self._units()), looked.trouble
        keys = KEY_LINE if self._hand is None else HAND_KEY_LINE
        return Scene(
            view=view,
            points=looked.curve.points(),
            alarms=view.alarm_starts,
            trace_name=looked.trace_name,
            trouble=trouble,
            mode="REPLAY" if looked.replaying else "",
            keys=closed_line(self._after) if self.over else keys,
            glance=self._glance,
            cautions_seen=self._seen,
            others=() if self._earlier is None else self._earlier(),
            note=remark.line,
            notice=remark.notice,
            ended=remark.word,
            side=None if self._aside is None else self._aside(),
            side_first=self._side_first,
            characters=self._characters,
            ports="" if self._ports is None or view.link.state in ("up", "silent") else self._ports(),
            heard="" if self._sound is None else self._sound.mark,
        )

    def _live(self, view: CoachView) -> CoachView:
        """Return the view, marked as stale if the loop gave no sign of life for a while."""
        now_s = self._clock()
        if self._newest is None or self._newest[0] is not view:
            self._newest = (view, now_s)
        if now_s - self._newest[1] > SIGN_OF_LIFE_S and not self._looked.replaying:
            return replace(view, stale=True)
        return view


def run_screen(
    looked: Looked,
    hand: Callable[[str], None] | None = None,
    aside: LookAside | None = None,
    earlier: Callable[[], tuple[Points, ...]] | None = None,
    note: Callable[[], Remark] | None = None,
    ports: Callable[[], str] | None = None,
    eyes: Eyes | None = None,
    sound: Sound | None = None,
    drawn: Drawing | None = None,
    after: After | None = None,
) -> None:
    """Show a wind until the person leaves; the wind is closed and saved then. For the rest see `CoachApp`."""
    app = CoachApp(
        looked,
        hand,
        drawn=drawn or drawing(),
        aside=aside,
        earlier=earlier,
        note=note,
        ports=ports,
        eyes=eyes,
        sound=sound,
        after=after,
    )
    try:
        with closed_by_signals(looked.stop, app.exit):
            app.run()
    finally:
        looked.stop()
