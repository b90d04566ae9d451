"""The sound card, on the library's card that nobody hears: it asks for blocks, ends at once, and leaves no thread."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from winding_coach.sound import device
from winding_coach.sound.device import BUFFER_MS, DEVICE_RATE_HZ, NoSoundError, SoundCard, open_card

pytest.importorskip("miniaudio")
TASKS = Path("/proc/self/task")


class Blocks:
    """Counts what it is asked for."""

    def __init__(self, wanted: int = 3) -> None:
        self.frames: list[int] = []
        self._wanted = wanted
        self.enough = threading.Event()

    def __call__(self, frames: int) -> NDArray[np.int16]:
        self.frames.append(frames)
        if len(self.frames) >= self._wanted:
            self.enough.set()
        return np.zeros(frames, np.int16)


def tasks() -> set[str]:
    """The threads of this process: the system's, where it names them, so that the library's own is among them."""
    if TASKS.exists():
        return {task.name for task in TASKS.iterdir()}
    return {str(thread.native_id) for thread in threading.enumerate()}


def wait_until(true: Callable[[], bool]) -> bool:
    """The system takes a moment to forget a thread that has ended."""
    deadline = time.monotonic() + 10.0
    while not true() and time.monotonic() < deadline:
        time.sleep(0.001)
    return true()


def plays(card: SoundCard) -> bool:
    return card.playing


def test_it_asks_for_blocks_of_its_buffer_and_leaves_no_thread_behind() -> None:
    SoundCard(Blocks(), null=True).close()  # What the library keeps for itself is there from now on.
    before = tasks()
    blocks = Blocks()
    card = SoundCard(blocks, null=True)
    assert blocks.enough.wait(10.0)
    assert plays(card)
    if TASKS.exists():
        assert tasks() - before
    card.close()
    assert set(blocks.frames) == {DEVICE_RATE_HZ * BUFFER_MS // 1000}
    assert wait_until(lambda: not tasks() - before)
    assert not plays(card)
    asked = len(blocks.frames)
    card.close()
    assert len(blocks.frames) == asked


def test_a_fault_in_making_sound_is_kept_and_silent(capfd: pytest.CaptureFixture[str]) -> None:
    asked = threading.Event()

    def faulty(frames: int) -> NDArray[np.int16]:
        asked.set()
        raise ValueError(frames)

    card = SoundCard(faulty, null=True)
    assert asked.wait(10.0)
    card.close()
    assert isinstance(card.failure, ValueError)
    assert capfd.readouterr() == ("", "")


def test_a_card_that_asks_for_nothing_any_more_has_gone() -> None:
    now = [100.0]
    blocks = Blocks()
    card = SoundCard(blocks, null=True, clock=lambda: now[0])
    assert blocks.enough.wait(10.0)
    card.close()
    card._device = object()  # As if it were open still, and silent.
    now[0] += 0.5
    assert plays(card)
    now[0] += 1.0
    assert not plays(card)


def test_without_the_library_it_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "miniaudio", None)
    with pytest.raises(NoSoundError, match=r"^Sound needs the extra 'sound': pip install .*\.$"):
        open_card(Blocks())


def test_without_a_card_it_is_one_sentence_and_nothing_is_printed(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    # Linux's sound library looks for its cards where these say; there is none, on any machine.
    monkeypatch.setattr("winding_coach.sound.device._real_backends", lambda miniaudio: [miniaudio.Backend.JACK])
    monkeypatch.setenv("JACK_NO_START_SERVER", "1")
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "no such server of a test")
    before = threading.active_count()
    with pytest.raises(NoSoundError, match=r"^No sound card answers\.$"):
        open_card(Blocks())
    assert capfd.readouterr() == ("", "")
    assert threading.active_count() == before


def test_a_card_that_answers_plays(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(device, "_real_backends", lambda miniaudio: [miniaudio.Backend.NULL])
    blocks = Blocks()
    card = open_card(blocks)
    assert blocks.enough.wait(10.0)
    assert plays(card)
    card.close()


def test_a_card_that_does_not_answer_is_none_and_is_closed_when_it_does(monkeypatch: pytest.MonkeyPatch) -> None:
    answers, closed = threading.Event(), threading.Event()

    class Slow:
        def __init__(self, _block: Blocks) -> None:
            answers.wait(10.0)

        def close(self) -> None:
            closed.set()

    monkeypatch.setattr(device, "SoundCard", Slow)
    monkeypatch.setattr(device, "OPEN_S", 0.01)
    with pytest.raises(NoSoundError, match=r"^The sound card does not answer\.$"):
        open_card(Blocks())
    answers.set()
    assert closed.wait(10.0)


def test_real_cards_are_tried_in_the_library_s_order_and_not_the_one_that_nobody_hears() -> None:
    miniaudio = pytest.importorskip("miniaudio")
    tried = device._real_backends(miniaudio)
    assert miniaudio.Backend.NULL not in tried
    assert miniaudio.Backend.CUSTOM not in tried
    assert [backend.value for backend in tried] == sorted(backend.value for backend in tried)
