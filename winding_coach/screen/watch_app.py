"""The second screen: the live screen, looking only. No key of the coach is passed on."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

from textual.binding import BindingType

from winding_coach.screen.app import LOOK_KEYS, CoachApp
from winding_coach.screen.face import Scene
from winding_coach.screen.legible import Eyes
from winding_coach.screen.looking import Looked
from winding_coach.screen.terminal import Drawing, drawing
from winding_coach.screen.wording import WATCH_HELP, WATCH_LINE


class WatchApp(CoachApp, inherit_bindings=False):
    """Looks at a wind that another program coaches."""

    BINDINGS: ClassVar[list[BindingType]] = [*LOOK_KEYS]

    def scene(self) -> Scene:
        """The live scene, marked."""
        scene = super().scene()
        return replace(scene, keys=WATCH_LINE, mode=f"WATCHING  {scene.mode}".strip())


def run_watch(looked: Looked, eyes: Eyes | None = None, drawn: Drawing | None = None) -> None:
    """Show it until the person leaves."""
    app = WatchApp(looked, drawn=drawn or drawing(), keys=WATCH_HELP, eyes=eyes)
    try:
        app.run()
    finally:
        looked.stop()
