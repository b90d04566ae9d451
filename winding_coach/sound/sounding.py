"""All that can be heard of one wind, opened and closed as one thing. The coach's loop knows nothing of it.

The card has a thread of its own; bell and speech share another, which looks at the newest view 25 times per second.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from winding_coach.coach.view import CoachView
from winding_coach.sound.bell import Bell
from winding_coach.sound.device import DEVICE_RATE_HZ, Block, NoSoundError, SoundCard, open_card
from winding_coach.sound.hearing import CueSelector
from winding_coach.sound.playing import HasView, Playing
from winding_coach.sound.speaker import Speaker, speech_command
from winding_coach.sound.speech import Talk

LOOKS_PER_S = 25
JOIN_S = 0.9
SILENT_S = 1.0
KINDS = ("off", "bell", "tone", "auto")


@dataclass(frozen=True, slots=True)
class SoundWanted:
    """What a person wants to hear. kind: one of KINDS; auto is the tone where there is a card, else the bell."""

    kind: str = "off"
    speech: bool = False
    silent_in_band: bool = False


class Sounding:
    """Opens what is wanted; `troubles` says in a sentence each what could not be had."""

    def __init__(
        self,
        wanted: SoundWanted,
        looked: HasView,
        ring: Callable[[], None] | None = None,
        *,
        card: Callable[[Block], SoundCard] = open_card,
        command: Callable[[], tuple[str, ...] | None] = speech_command,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """ring: rings the terminal's bell; without it rings are counted in `rung`, for a screen that rings by itself.
        card, command: how a sound card and the speech command are found."""
        self.troubles: list[str] = []
        self.rung = 0
        self._looked = looked
        self._ring = ring or self._count
        self._card: SoundCard | None = None
        self._playing: Playing | None = None
        self._bell: Bell | None = None
        self._speaker: Speaker | None = None
        self._talk = Talk()
        self._ending = threading.Event()
        self._clock = clock
        self._looked_s: float | None = None
        self._thread: threading.Thread | None = None
        if wanted.kind in ("tone", "auto"):
            playing = Playing(looked, CueSelector(silent_in_band=wanted.silent_in_band), DEVICE_RATE_HZ)
            try:
                self._card, self._playing = card(playing.block), playing
            except NoSoundError as error:
                if wanted.kind == "tone":
                    self.troubles.append(f"{error} The terminal's bell rings instead.")
        if wanted.kind != "off" and self._card is None:
            self._bell = Bell()
        if wanted.speech:
            words = command()
            if words is None:
                self.troubles.append("No speech command is found (say, espeak-ng or Windows speech): none is spoken.")
            else:
                self._speaker = Speaker(words)

    @property
    def trouble(self) -> str | None:
        """One sentence once what was to be heard is not, else None; may be read from any thread."""
        if self._card is not None and (not self._card.playing or self._card.failure is not None):
            return "The sound card has gone: mind the screen or the sentences; coaching continues."
        if self._looked_s is not None and self._clock() - self._looked_s > SILENT_S:
            return "Bell and speech do not answer: mind the screen or the sentences; coaching continues."
        if self._speaker is not None and self._speaker.failed:
            return "The speech command fails: mind the screen or the sentences; coaching continues."
        return None

    @property
    def mark(self) -> str:
        """What is heard now, in a word or two; empty without sound."""
        if self._card is not None and self._playing is not None:
            if not self._card.playing or self._card.failure is not None:
                return "sound lost"
            return self._playing.hearing.words or "quiet"
        if self._bell is not None:
            return "sound lost" if self.trouble is not None else self._bell.words or "bell"
        if self._speaker is not None:
            return "speech failed" if self._speaker.failed else "speech"
        return ""

    def start(self) -> None:
        """Begin to look, where the card does not do that by itself."""
        if self._bell is not None or self._speaker is not None:
            self._thread = threading.Thread(target=self._attend, name="bell and speech", daemon=True)
            self._thread.start()

    def close(self) -> None:
        """Fall silent; returns within a second or so, with nothing left behind."""
        self._ending.set()
        if self._card is not None:
            self._card.close()
        if self._thread is not None:
            self._thread.join(JOIN_S)

    def _attend(self) -> None:
        try:
            while not self._ending.wait(1.0 / LOOKS_PER_S):
                self._looked_s = self._clock()
                self.attend(self._looked.view)
        finally:
            if self._speaker is not None:
                self._speaker.close()

    def attend(self, view: CoachView) -> None:
        """Look once, for bell and speech."""
        if self._bell is not None and self._bell.rings(view):
            self._ring()
        if self._speaker is not None:
            utterance = self._talk.tell(view)
            if utterance is None:
                self._speaker.tick()
            else:
                self._speaker.offer(utterance)

    def _count(self) -> None:
        self.rung += 1
