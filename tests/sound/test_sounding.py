"""All that is heard, opened and closed as one: what is wanted, what can be had, and that nothing is left behind."""

from __future__ import annotations

import sys
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from tests.screen.views import wind
from winding_coach.coach.said import Alarm, Level, Prompt
from winding_coach.coach.view import CoachView
from winding_coach.sound.bell import APART_S, Bell
from winding_coach.sound.device import Block, NoSoundError, SoundCard
from winding_coach.sound.sounding import Sounding, SoundWanted


class Place:
    def __init__(self, view: CoachView) -> None:
        self.view = view


def null_card(block: Block) -> SoundCard:
    return SoundCard(block, null=True)


def no_card(block: Block) -> SoundCard:
    raise NoSoundError("No sound card answers.")


def stop_said(at_s: float) -> CoachView:
    return replace(wind().view, at_s=at_s, prompt=Prompt(60.0, "stop_at_peak", "Stop cranking."))


def rung(bell: Bell, view: CoachView, for_s: float) -> int:
    return sum(bell.rings(replace(view, at_s=view.at_s + 0.04 * number)) for number in range(int(for_s / 0.04)))


def test_the_bell_tells_cues_apart_by_how_often_it_rings() -> None:
    assert rung(Bell(), stop_said(60.0), 5.0) == 2
    step = replace(wind().view, at_s=60.0, prompt=Prompt(60.0, "walk_in_to", "Step in."))
    assert rung(Bell(), step, 5.0) == 1
    ready = replace(wind().view, at_s=60.0, prompt=Prompt(60.0, "launch_ready", "Ready."))
    assert rung(Bell(), ready, 5.0) == 3
    alarm = Alarm(60.0, "overwind", Level.DANGER, True, "Stop cranking.")
    assert rung(Bell(), replace(wind().view, at_s=60.0, alarms=(alarm,)), 5.0) == 10
    assert rung(Bell(), wind().view, 5.0) == 0
    assert APART_S >= 0.1


@pytest.mark.parametrize("kind", ["tone", "auto"])
def test_a_tone_where_there_is_a_card(kind: str) -> None:
    pytest.importorskip("miniaudio")
    place = Place(wind().view)
    before = threading.active_count()
    sound = Sounding(SoundWanted(kind), place, card=null_card)
    sound.start()
    playing = sound._playing
    assert playing is not None
    playing.block(10)
    assert sound.mark == "tone: good"
    assert sound.troubles == []
    sound.close()
    assert sound.mark == "sound lost"
    assert threading.active_count() == before


def test_a_tone_that_cannot_be_had_is_one_sentence_and_the_bell_rings_instead() -> None:
    sound = Sounding(SoundWanted("tone"), Place(wind().view), card=no_card)
    assert sound.troubles == ["No sound card answers. The terminal's bell rings instead."]
    assert sound.mark == "bell"
    sound.attend(stop_said(60.0))
    assert sound.mark == "STOP"
    assert sound.rung == 1


def test_auto_takes_the_bell_without_a_word() -> None:
    sound = Sounding(SoundWanted("auto"), Place(wind().view), card=no_card)
    assert sound.troubles == []
    assert sound.mark == "bell"


def test_off_is_off() -> None:
    sound = Sounding(SoundWanted("off"), Place(wind().view), card=no_card)
    sound.start()
    assert (sound.mark, sound.troubles, sound._thread) == ("", [], None)
    sound.close()


def test_the_bell_looks_by_itself_and_ends_with_its_thread() -> None:
    place, rang = Place(stop_said(60.0)), threading.Event()
    before = threading.active_count()
    sound = Sounding(SoundWanted("bell"), place, rang.set, card=no_card)
    sound.start()
    assert rang.wait(20.0)
    sound.close()
    assert threading.active_count() == before


def test_speech_that_cannot_be_had_is_one_sentence() -> None:
    sound = Sounding(SoundWanted("off", speech=True), Place(wind().view), command=lambda: None)
    assert len(sound.troubles) == 1
    assert "espeak-ng" in sound.troubles[0]
    assert sound.mark == ""


def test_speech_speaks_and_its_command_is_gone_when_it_is_closed(tmp_path: Path) -> None:
    began = tmp_path / "began"
    script = f"import time; open({str(began)!r}, 'w').close(); time.sleep(60)"
    command = (sys.executable, "-S", "-c", script)
    sound = Sounding(SoundWanted("off", speech=True), Place(wind().view), command=lambda: command)
    assert sound.mark == "speech"
    sound.attend(stop_said(60.0))
    speaker = sound._speaker
    assert speaker is not None
    running = speaker._speaking
    assert running is not None
    sound.start()
    sound.close()
    assert running.poll() is not None
    speaker.failed = True
    assert sound.mark == "speech failed"


def test_a_terminal_whose_bell_blocks_is_said_within_two_seconds_and_holds_up_nobody() -> None:
    """A terminal that takes nothing: the thread of bell and speech stands, the coach's own does not wait for it."""
    now, rings, goes_on = [0.0], threading.Event(), threading.Event()

    def ring() -> None:
        rings.set()
        goes_on.wait(20.0)

    sound = Sounding(SoundWanted("bell"), Place(stop_said(60.0)), ring, card=no_card, clock=lambda: now[0])
    sound.start()
    try:
        assert rings.wait(20.0)
        troubles = [sound.trouble]
        now[0] = 1.9
        troubles.append(sound.trouble)
        assert troubles[0] is None
        assert "coaching continues" in str(troubles[1])
        assert sound.mark == "sound lost"
    finally:
        goes_on.set()
        sound.close()
