"""The second screen: the live screen, looking only. No key of the coach is passed on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, ClassVar

from textual.binding import Binding, BindingType

from winding_coach.screen.app import LOOK_KEYS, CoachApp
from winding_coach.screen.face import Scene
from winding_coach.screen.legible import Eyes
from winding_coach.screen.looking import Looked
from winding_coach.screen.terminal import Drawing, drawing
from winding_coach.screen.wording import WATCH_HELP, WATCH_LINE

PAGE_S = 6.0
"""So long each part of the queue is shown where not all of it has room."""


class WatchApp(CoachApp, inherit_bindings=False):
    """Looks at a wind that another program coaches."""

    BINDINGS: ClassVar[list[BindingType]] = [*LOOK_KEYS, Binding("w", "queue", "who is next")]

    def __init__(self, looked: Looked, *, queue: Callable[[], tuple[str, ...]] | None = None, **more: Any) -> None:
        """queue: a heading and those who are next, shown when the wind is over or asked for. more: of `CoachApp`."""
        super().__init__(looked, **more)
        self._queue = queue
        self._queue_asked: bool | None = None

    def action_queue(self) -> None:
        """Show who is next instead of the chart, or the chart again."""
        over = self._looked.view.summary is not None
        self._queue_asked = not (over if self._queue_asked is None else self._queue_asked)
        self.look()

    def scene(self) -> Scene:
        """The live scene, marked."""
        scene = super().scene()
        over = scene.view.summary is not None
        shown = self._queue is not None and (over if self._queue_asked is None else self._queue_asked)
        notice = self._queue() if shown and self._queue is not None else ()
        mode, page = f"WATCHING  {scene.mode}".strip(), int(self._clock() / PAGE_S)
        return replace(scene, keys=WATCH_LINE, mode=mode, notice=notice, notice_page=page)


def run_watch(
    looked: Looked,
    eyes: Eyes | None = None,
    drawn: Drawing | None = None,
    queue: Callable[[], tuple[str, ...]] | None = None,
) -> None:
    """Show it until the person leaves."""
    app = WatchApp(looked, queue=queue, drawn=drawn or drawing(), keys=WATCH_HELP, eyes=eyes)
    try:
        app.run()
    finally:
        looked.stop()
