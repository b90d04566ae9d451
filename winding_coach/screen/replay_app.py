"""The replay's screen: the live screen over a film, with keys that move the place in it."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

from textual.binding import Binding, BindingType

from winding_coach.base.units import show
from winding_coach.screen.app import LOOK_KEYS, CoachApp
from winding_coach.screen.face import Scene
from winding_coach.screen.legible import Eyes
from winding_coach.screen.looking import Sound
from winding_coach.screen.playback import Playback
from winding_coach.screen.terminal import Drawing, drawing
from winding_coach.screen.wording import PLAY_HELP, PLAY_KEY_LINE, PLAY_KEYS


class ReplayApp(CoachApp, inherit_bindings=False):
    """Looks at a playback."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(key, f"play('{command}')", words) for key, (command, words) in PLAY_KEYS.items()),
        *LOOK_KEYS,
    ]

    def __init__(
        self, playback: Playback, drawn: Drawing | None = None, sound: Sound | None = None, eyes: Eyes | None = None
    ) -> None:
        super().__init__(playback, drawn=drawn, keys=PLAY_HELP, sound=sound, eyes=eyes)
        self._playback = playback

    def action_play(self, command: str) -> None:
        """Move in the film."""
        self._playback.command(command)
        self.look()

    def scene(self) -> Scene:
        """The live scene, with the place in the film and the wind compared with."""
        playback = self._playback
        compared = playback.comparison
        note = ""
        if compared is not None:
            name, torque_Nm = compared
            there = "not there" if torque_Nm is None else show(torque_Nm, "torque", playback.view.units)
            note = f"thin line: {name}, at these turns {there}"
        return replace(
            super().scene(),
            keys=PLAY_KEY_LINE,
            cautions_seen=True,
            alarms=playback.alarms,
            others=tuple(other.points for other in playback.others),
            place=playback.place,
            note=note,
        )


def run_replay(
    playback: Playback, sound: Sound | None = None, eyes: Eyes | None = None, drawn: Drawing | None = None
) -> None:
    """Show a saved wind until the person leaves."""
    ReplayApp(playback, drawn or drawing(), sound, eyes).run()
