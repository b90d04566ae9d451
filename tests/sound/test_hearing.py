"""What is heard with which view: priorities, freshness, and that it is never more than what can be seen."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.screen.views import STATES, final, walk_in, wind
from winding_coach.coach.said import Alarm, Level, Prompt
from winding_coach.coach.view import CoachView, LinkView
from winding_coach.screen.figures import alarm_text, big_word, instruction
from winding_coach.sound.hearing import (
    CRANKING_PROMPTS,
    CUE_S,
    DANGER_INSISTS_S,
    DANGER_REMINDS_S,
    LATE_S,
    SILENCE,
    AudioState,
    Cue,
    CueSelector,
    Side,
)

WIND = wind().view
LOW, HIGH = WIND.targets.rate_low_Nm_per_s or 0.0, WIND.targets.rate_high_Nm_per_s or 0.0


def at(at_s: float, share: float | None = 0.5, view: CoachView = WIND) -> CoachView:
    """The view with its torque rise at a share of the band."""
    rate = None if share is None else LOW + share * (HIGH - LOW)
    return replace(view, at_s=at_s, reading=replace(view.reading, torque_rate_Nm_per_s=rate))


def prompted(at_s: float, code: str, crank_turns: float | None = None) -> CoachView:
    """A view in which a prompt was said this moment."""
    return replace(at(at_s), prompt=Prompt(at_s, code, "Words.", crank_turns=crank_turns))


def alarmed(view: CoachView, since_s: float) -> CoachView:
    return replace(view, alarms=(Alarm(since_s, "overwind", Level.DANGER, True, "Stop cranking."),))


def heard(ear: CueSelector, share: float, from_s: float, for_s: float = 1.0) -> AudioState:
    """What is heard after the rate has been there for a while."""
    hearing = SILENCE
    for number in range(int(50 * for_s) + 1):
        hearing = ear.hear(at(from_s + number / 50, share))
    return hearing


def test_the_pitch_rises_with_the_rate_and_is_held_outside_the_band() -> None:
    pitches = []
    for share in (-9.0, -1.0, 0.0, 0.5, 1.0, 2.0, 9.0):
        tone = CueSelector().hear(at(60.0, share)).tone
        assert tone is not None
        pitches.append(tone.pitch_hz)
    assert pitches == pytest.approx([512.0, 512.0, 800.0, 1000.0, 1250.0, 1953.125, 1953.125])


def test_every_pitch_is_where_hearing_is_keen() -> None:
    # 500 to 3000 Hz: MIL-STD-1472E, auditory signals, seen.
    for share in (-50.0, 0.3, 50.0):
        tone = CueSelector().hear(at(60.0, share)).tone
        assert tone is not None
        assert 500.0 <= tone.pitch_hz <= 3000.0


def test_outside_the_band_the_tone_is_in_pulses_once_that_is_sure() -> None:
    ear = CueSelector()
    assert heard(ear, 0.5, 60.0).words == "tone: good"
    assert heard(ear, 1.3, 61.1, 0.2).words == "tone: good"
    assert heard(ear, 1.3, 61.4).words == "tone: too fast"
    assert heard(ear, 0.97, 62.5).words == "tone: too fast"  # It must come back by more than a hair.
    assert heard(ear, 0.9, 63.6).words == "tone: good"
    low = heard(ear, -0.3, 64.7).tone
    assert low is not None
    assert low.side is Side.BELOW
    assert 0.0 < low.pulses_per_s < 5.0


def test_a_crank_that_stands_is_too_slow_at_once_even_where_the_band_reaches_below_zero() -> None:
    ear = CueSelector()
    heard(ear, 0.5, 60.0)
    stands = at(61.1, 0.45)
    tone = ear.hear(replace(stands, reading=replace(stands.reading, cranking=False))).tone
    assert tone is not None
    assert tone.side is Side.BELOW
    assert tone.pitch_hz == pytest.approx(512.0)


@pytest.mark.parametrize(("code", "side"), [("crank_stalled", Side.BELOW), ("rising_too_fast", Side.ABOVE)])
def test_what_an_alarm_says_of_the_pace_is_what_the_tone_says(code: str, side: Side) -> None:
    view = replace(at(60.0, 0.5), alarms=(Alarm(60.0, code, Level.WARNING, True, "Words."),))
    tone = CueSelector().hear(view).tone
    assert tone is not None
    assert tone.side is side
    assert (tone.pitch_hz > 1000.0) is (side is Side.ABOVE)


def test_silent_in_the_band_if_chosen() -> None:
    ear = CueSelector(silent_in_band=True)
    assert heard(ear, 0.5, 60.0) == SILENCE
    assert heard(ear, 1.3, 61.1).words == "tone: too fast"
    assert heard(ear, 0.5, 62.2) == SILENCE


@pytest.mark.parametrize(
    "view",
    [
        replace(WIND, stale=True),
        at(60.0, None),
        replace(WIND, link=LinkView("silent")),
        replace(WIND, link=LinkView("down")),
        replace(WIND, targets=replace(WIND.targets, rate_high_Nm_per_s=None)),
        replace(WIND, prompt=None),
        replace(WIND, prompt=Prompt(59.0, "stop_at_peak", "Stop cranking.")),
        replace(WIND, prompt=Prompt(12.0, "start_cranking", "Start cranking.")),
    ],
)
def test_what_is_not_known_or_not_asked_for_has_no_tone(view: CoachView) -> None:
    assert CueSelector().hear(view).tone is None


@pytest.mark.parametrize(
    ("code", "crank_turns", "cue"),
    [
        ("walk_in_to", 3.0, Cue.STEP_IN),
        ("stop_at_peak", None, Cue.STOP),
        ("back_off", 0.0, Cue.STOP),
        ("back_off", 2.0, None),
        ("launch_ready", None, Cue.READY),
        ("keep_cranking", None, None),
    ],
)
def test_a_prompt_has_its_cue_once(code: str, crank_turns: float | None, cue: Cue | None) -> None:
    ear = CueSelector()
    ear.hear(at(59.9))
    said = prompted(60.0, code, crank_turns)
    first = ear.hear(said).cue
    assert (None if first is None else first.cue) is cue
    if cue is not None:
        assert ear.hear(replace(said, at_s=60.0 + CUE_S[cue] - 0.05)).cue == first
        for number in range(100):
            assert ear.hear(replace(said, at_s=60.01 + CUE_S[cue] + 0.02 * number)).cue is None


def test_what_was_said_a_while_ago_is_not_sounded() -> None:
    assert CueSelector().hear(replace(prompted(60.0, "stop_at_peak"), at_s=60.1 + LATE_S)).cue is None


def test_a_danger_cuts_in_and_goes_on() -> None:
    ear = CueSelector()
    assert ear.hear(prompted(60.0, "walk_in_to")).words == "step in"
    during = alarmed(prompted(60.0, "walk_in_to"), 60.1)
    starts = {}
    for number in range(1, 100):
        hearing = ear.hear(replace(during, at_s=60.1 + 0.02 * number))
        assert hearing.words == "DANGER"
        assert hearing.cue is not None
        starts[hearing.cue.at_s] = True
    assert len(starts) == 4
    assert ear.hear(replace(prompted(62.2, "walk_in_to"), alarms=during.alarms)).words == "DANGER"


def test_a_danger_that_lasts_reminds_and_does_not_howl() -> None:
    ear, sounding = CueSelector(), 0
    for number in range(1000):
        at_s = 60.0 + 0.02 * number
        sounding += ear.hear(alarmed(at(at_s), 60.0)).cue is not None
    insists, reminds = DANGER_INSISTS_S, (20.0 - DANGER_INSISTS_S) / DANGER_REMINDS_S
    assert sounding / 50 == pytest.approx(insists + reminds * 2 * CUE_S[Cue.DANGER], abs=1.1)


def test_a_cue_waits_for_a_more_urgent_one_and_is_not_lost() -> None:
    ear = CueSelector()
    assert ear.hear(prompted(60.0, "back_off", 0.0)).words == "STOP"
    ready = prompted(60.4, "launch_ready")
    assert ear.hear(ready).words == "STOP"
    assert ear.hear(replace(ready, at_s=60.82)).words == "ready"


def test_a_stop_cuts_a_step_short() -> None:
    ear = CueSelector()
    assert ear.hear(prompted(60.0, "walk_in_to")).words == "step in"
    assert ear.hear(prompted(60.2, "stop_at_peak")).words == "STOP"


def test_a_replay_that_was_wound_back_sounds_again() -> None:
    ear = CueSelector()
    said = prompted(60.0, "stop_at_peak")
    assert ear.hear(said).words == "STOP"
    ear.hear(replace(said, at_s=70.0))
    ear.hear(at(50.0))
    assert ear.hear(said).words == "STOP"


def test_a_closed_wind_is_silent() -> None:
    for name in ("done", "broken"):
        assert CueSelector().hear(STATES[name]().view) == SILENCE


def test_the_walk_in_and_the_final_turns_have_a_tone() -> None:
    for still in (walk_in(), final()):
        assert still.view.prompt is not None
        assert still.view.prompt.code in CRANKING_PROMPTS
        assert CueSelector().hear(still.view).tone is not None


def test_whatever_is_heard_is_also_to_be_seen() -> None:
    # "Always with something to see": MIL-STD-1472E, seen. The large word and the row of alarms are drawn with or
    # without sound; the words of the hearing itself stand in the top bar.
    for code in ("walk_in_to", "stop_at_peak", "launch_ready"):
        view = prompted(60.0, code)
        assert CueSelector().hear(view).words
        assert instruction(view)
        assert big_word(view).text
    view = alarmed(at(60.2), 60.0)
    assert CueSelector().hear(view).words == "DANGER"
    assert "DANGER" in alarm_text(view, None)[0]
