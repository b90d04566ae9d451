"""The sound card: a stream that asks for a block every 20 ms, in a thread of the audio library's own.

Nothing else waits for it. A card that is missing, or goes away, is a sentence and silence, never an exception.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from winding_coach.base.errors import CoachError

DEVICE_RATE_HZ = 48_000
BUFFER_MS = 20
"""The library's usual 200 ms would be heard as late; 20 ms were heard 24 ms late (33 at most) when this was chosen."""
GONE_S = 1.0
"""A card that has asked for nothing for so long has gone."""
OPEN_S = 2.0
CLOSE_S = 1.0

Block = Callable[[int], NDArray[np.int16]]


class NoSoundError(CoachError):
    """There is no sound card, or no library for one. The text says so in a sentence."""


class SoundCard:
    """Plays the blocks that it asks `block` for, from its opening until `close`."""

    def __init__(self, block: Block, *, null: bool = False, clock: Callable[[], float] = time.monotonic) -> None:
        """null: the library's own card that is heard by no one, for tests and measuring.

        Raises:
            NoSoundError: there is nothing to play on.
        """
        try:
            miniaudio: Any = import_module("miniaudio")
        except ImportError:
            raise NoSoundError("Sound needs the extra 'sound': pip install 'winding-coach[sound]'.") from None
        self._block = block
        self._clock = clock
        self._asked_s = clock()
        self.failure: Exception | None = None
        self._device: Any = None
        try:
            self._device = miniaudio.PlaybackDevice(
                output_format=miniaudio.SampleFormat.SIGNED16,
                nchannels=1,
                sample_rate=DEVICE_RATE_HZ,
                buffersize_msec=BUFFER_MS,
                callback_periods=2,
                backends=[miniaudio.Backend.NULL] if null else _real_backends(miniaudio),
                app_name="winding-coach",
            )
            blocks = self._blocks()
            next(blocks)
            self._device.start(blocks)
        except (miniaudio.MiniaudioError, OSError):
            self.close()
            raise NoSoundError("No sound card answers.") from None

    @property
    def playing(self) -> bool:
        """Whether the card still asks for blocks."""
        return self._device is not None and self._clock() - self._asked_s < GONE_S

    def _blocks(self) -> Generator[bytes, int, None]:
        frames = yield b""
        while True:
            self._asked_s = self._clock()
            frames = yield self._made(frames)

    def _made(self, frames: int) -> bytes:
        if self.failure is None:
            try:
                return self._block(frames).tobytes()
            except Exception as error:
                # Raised here it would be printed across the screen by the library, block after block.
                self.failure = error
        return bytes(2 * frames)

    def close(self) -> None:
        """Fall silent and let go of the card; a driver that does not answer is left behind after a second."""
        device, self._device = self._device, None
        if device is not None:
            closing = threading.Thread(target=_close, args=(device,), name="closing the sound card", daemon=True)
            closing.start()
            closing.join(CLOSE_S)


def open_card(block: Block) -> SoundCard:
    """Return a sound card that plays; one that does not answer within two seconds is none.

    Raises:
        NoSoundError: there is nothing to play on.
    """
    found: list[SoundCard | NoSoundError] = []
    given_up, deciding = threading.Event(), threading.Lock()

    def look() -> None:
        try:
            card = SoundCard(block)
        except NoSoundError as error:
            found.append(error)
            return
        with deciding:
            found.append(card)
        if given_up.is_set():
            card.close()

    opening = threading.Thread(target=look, name="opening the sound card", daemon=True)
    # Not in that thread: a card that hangs would keep stderr, and the screen is drawn there.
    with _quiet_stderr():
        opening.start()
        opening.join(OPEN_S)
    with deciding:
        if not found:
            given_up.set()
            raise NoSoundError("The sound card does not answer.")
    if isinstance(found[0], NoSoundError):
        raise found[0]
    return found[0]


def _close(device: Any) -> None:
    with suppress(Exception):
        device.close()


def _real_backends(miniaudio: Any) -> list[Any]:
    """All but the one that plays to no one and the one that needs code of ours, in the library's own order."""
    others = miniaudio.get_enabled_backends() - {miniaudio.Backend.NULL, miniaudio.Backend.CUSTOM}
    return sorted(others, key=lambda backend: int(backend.value))


@contextmanager
def _quiet_stderr() -> Iterator[None]:
    """Linux's sound library prints a page to the terminal for every card that it does not find: not here."""
    sys.stderr.flush()
    try:
        kept = os.dup(2)
    except OSError:
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
