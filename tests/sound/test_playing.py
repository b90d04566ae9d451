"""From views to blocks: what stands still is silent; a wind as a WAV file."""

from __future__ import annotations

import wave
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.scenario import SETTINGS
from tests.scenario import wind as simulated
from tests.screen.views import wind
from winding_coach.coach.said import Alarm, Level
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.sound.hearing import UNHEARD_S, Cue, CueSelector
from winding_coach.sound.playing import Playing
from winding_coach.sound.wave_file import BLOCK_S, FILE_RATE_HZ, Rendered, write_wave


class Place:
    def __init__(self, view: CoachView) -> None:
        self.view = view

    def on(self) -> None:
        self.view = replace(self.view, at_s=self.view.at_s + 0.02)


def test_a_view_that_is_renewed_sounds_and_one_that_stands_still_falls_silent() -> None:
    place = Place(wind().view)
    playing = Playing(place, CueSelector(), 48_000)
    for _ in range(100):
        place.on()
        assert np.abs(playing.block(960)).max() > 0
    loud = [bool(np.abs(playing.block(960)).max() > 0) for _ in range(50)]
    assert sum(loud) == pytest.approx(UNHEARD_S / 0.02, abs=1)
    assert not any(loud[30:])
    assert playing.hearing.words == ""
    place.on()
    assert np.abs(playing.block(960)).max() > 0


def test_stale_data_is_silent_from_the_next_block_on_but_for_the_fall() -> None:
    place = Place(wind().view)
    playing = Playing(place, CueSelector(), 48_000)
    for _ in range(10):
        place.on()
        playing.block(960)
    place.view = replace(place.view, stale=True, at_s=place.view.at_s + 0.02)
    falling = playing.block(960)
    assert np.abs(falling[192:]).max() == 0
    assert np.abs(playing.block(960)).max() == 0


def test_data_that_are_lost_under_load_are_a_danger_that_is_heard() -> None:
    view = wind().view
    alarm = Alarm(view.at_s, "meter_silent", Level.DANGER, True, "No data from the meter: stop and check the lead.")
    place = Place(replace(view, stale=True, alarms=(alarm,), link=replace(view.link, state="silent")))
    playing = Playing(place, CueSelector(), 48_000)
    assert np.abs(playing.block(960)).max() > 0
    assert playing.hearing.words == "DANGER"


def views(inputs_until_s: float) -> Iterator[CoachView]:
    coach, shown_s = Coach(SETTINGS), -1.0
    for event in simulated("overwind", 3):
        if event.at_s > inputs_until_s or coach.finished:
            return
        coach.step(event)
        if coach.said or event.at_s - shown_s >= 0.02:
            shown_s = event.at_s
            yield coach.view


def test_a_wind_as_a_file(tmp_path: Path) -> None:
    made = [view for view in views(400.0) if view.at_s > 95.0]
    rendered = Rendered(made, CueSelector())
    path = tmp_path / "wind.wav"
    write_wave(path, rendered)
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, FILE_RATE_HZ)
        sound = np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32767.0
    assert sound.size / FILE_RATE_HZ == pytest.approx(rendered.seconds)
    assert rendered.seconds == pytest.approx(made[-1].at_s - made[0].at_s, abs=2 * BLOCK_S)
    assert rendered.cues[Cue.DANGER] >= 2
    # The danger is heard when the coach says it: one block later at most, and a few milliseconds for the tone to fall.
    danger_s = next(
        alarm.at_s for view in made for alarm in view.alarms if alarm.level is Level.DANGER and alarm.at_s > 95.0
    )
    begins = int((danger_s - made[0].at_s) * FILE_RATE_HZ)
    window = np.abs(sound[begins : begins + int(0.04 * FILE_RATE_HZ)])
    assert np.argmax(window > 0.3) / FILE_RATE_HZ < BLOCK_S + 0.010


def test_nothing_to_hear_is_an_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "none.wav"
    write_wave(path, Rendered([], CueSelector()))
    with wave.open(str(path)) as file:
        assert file.getnframes() == 0
