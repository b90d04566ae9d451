"""Which sentences are spoken, how they are read, and that the command gets them where nothing can go wrong."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.screen.views import wind
from winding_coach.coach.said import Alarm, Level, Prompt
from winding_coach.coach.view import CoachView
from winding_coach.sound.speaker import COMMANDS, LONGEST_S, QUEUED_S, Speaker, speech_command
from winding_coach.sound.speech import AGAIN_S, LONGEST, PAUSE_S, Talk, Utterance, spoken

PATIENCE_S = 20.0


def said(at_s: float, text: str, since_s: float | None = None) -> CoachView:
    return replace(wind().view, at_s=at_s, prompt=Prompt(at_s if since_s is None else since_s, "walk_in_to", text))


def danger(view: CoachView, since_s: float) -> CoachView:
    return replace(view, alarms=(Alarm(since_s, "overwind", Level.DANGER, True, "Stop cranking."),))


@pytest.mark.parametrize(
    ("text", "aloud"),
    [
        (
            "Step in to 1.22 m over 3 crank turns; keep cranking.",
            "Step in to 1.22 metres over 3 crank turns; keep cranking.",
        ),
        ("Stop cranking: 6.78 mN·m.", "Stop cranking: 6.78 millinewton metres."),
        ("Step in to 48 in; keep cranking.", "Step in to 48 inches; keep cranking."),
        ("Keep cranking to 0.96 ozf·in.", "Keep cranking to 0.96 ounce inches."),
        ("Limit in 3 seconds.", "Limit in 3 seconds."),
        ("Back off about 2½ turns of the crank", "Back off about 2 and a half turns of the crank"),
        ("[[volm 1]] <speak>\x1b[2J\n`rm`", "volm 1 speak 2J rm"),
    ],
)
def test_a_sentence_is_read_with_its_units_in_words(text: str, aloud: str) -> None:
    assert spoken(text) == aloud


@given(st.text(max_size=400))
def test_nothing_but_plain_text_is_ever_spoken(text: str) -> None:
    aloud = spoken(text)
    assert len(aloud) <= LONGEST
    assert all(char.isprintable() for char in aloud)
    assert not set(aloud) & set("[]<>{}|\\`$\n")


def test_a_prompt_is_spoken_once_and_not_again_for_a_while() -> None:
    talk = Talk()
    assert talk.tell(said(60.0, "Step in.")) == Utterance("Step in.")
    assert talk.tell(said(60.1, "Step in.", 60.0)) is None
    assert talk.tell(said(60.0 + PAUSE_S + 0.1, "Step in.")) is None
    assert talk.tell(said(60.1 + AGAIN_S, "Step in.")) == Utterance("Step in.")


def test_what_comes_too_soon_after_another_is_spoken_while_it_is_fresh_or_not_at_all() -> None:
    talk = Talk()
    talk.tell(said(60.0, "Step in."))
    assert talk.tell(said(61.5, "Stay there.")) is None
    assert talk.tell(said(63.1, "Stay there.", 61.5)) == Utterance("Stay there.")
    assert talk.tell(said(63.5, "Keep cranking.")) is None
    assert talk.tell(said(66.2, "Keep cranking.", 63.5)) is None


def test_a_danger_is_spoken_at_once_and_once() -> None:
    talk = Talk()
    talk.tell(said(60.0, "Step in."))
    assert talk.tell(danger(said(60.2, "Step in.", 60.0), 60.2)) == Utterance("Stop cranking.", urgent=True)
    assert talk.tell(danger(said(60.4, "Step in.", 60.0), 60.2)) is None
    assert talk.tell(danger(said(64.4, "Back off."), 60.2)) is None  # While it lasts nothing else is said.
    assert talk.tell(said(64.5, "Back off.")) == Utterance("Back off.")


def test_a_warning_is_spoken_before_a_prompt_and_old_words_never() -> None:
    talk = Talk()
    warning = Alarm(60.0, "crank_stalled", Level.WARNING, True, "Keep cranking.")
    assert talk.tell(replace(said(60.0, "Step in."), alarms=(warning,))) == Utterance("Keep cranking.")
    assert Talk().tell(said(70.0, "Step in.", 60.0)) is None


def test_a_replay_that_was_wound_back_is_spoken_again() -> None:
    talk = Talk()
    assert talk.tell(said(60.0, "Step in.")) is not None
    assert talk.tell(said(50.0, "Step in.")) is not None


class Spoken:
    """A speech command that writes what it was given to a file, and takes as long as it is told to.

    held: until `let_go`, however busy the computer is.
    """

    def __init__(self, folder: Path, lasts_s: float = 0.0, status: int = 0, held: bool = False) -> None:
        self.file = folder / "spoken.txt"
        self._free = folder / "free"
        if not held:
            self.let_go()
        script = folder / "speak.py"
        script.write_text(
            "import os, sys, time\n"
            "words = sys.stdin.buffer.read()\n"
            f"open({str(self.file)!r}, 'ab').write(repr(sys.argv[1:]).encode() + words)\n"
            f"time.sleep({lasts_s})\n"
            f"while not os.path.exists({str(self._free)!r}): time.sleep(0.01)\n"
            f"sys.exit({status})\n",
            encoding="utf-8",
        )
        self.command = (sys.executable, "-S", str(script))
        self.now_s = 0.0

    def let_go(self) -> None:
        self._free.touch()

    def speaker(self) -> Speaker:
        return Speaker(self.command, lambda: self.now_s)

    def text(self) -> str:
        return self.file.read_text(encoding="utf-8") if self.file.exists() else ""


def ended(speaker: Speaker) -> None:
    """Wait for the command that is running."""
    running = speaker._speaking
    if running is not None:
        running.wait(PATIENCE_S)
    speaker.tick()


def test_the_words_reach_the_command_on_its_standard_input(tmp_path: Path) -> None:
    spoken_to = Spoken(tmp_path)
    speaker = spoken_to.speaker()
    speaker.offer(Utterance("--version; $(touch x) Step in to 1½."))
    ended(speaker)
    assert spoken_to.text() == "[]--version; $(touch x) Step in to 1½.\n"
    assert not speaker.failed


def test_one_at_a_time_and_the_newest_wins(tmp_path: Path) -> None:
    spoken_to = Spoken(tmp_path, held=True)
    speaker = spoken_to.speaker()
    for words in ("one", "two", "three"):
        speaker.offer(Utterance(words))
    spoken_to.let_go()
    ended(speaker)
    ended(speaker)
    assert spoken_to.text() == "[]one\n[]three\n"


def test_words_that_waited_too_long_are_dropped(tmp_path: Path) -> None:
    spoken_to = Spoken(tmp_path, held=True)
    speaker = spoken_to.speaker()
    speaker.offer(Utterance("one"))
    speaker.offer(Utterance("two"))
    spoken_to.now_s += QUEUED_S + 0.1
    spoken_to.let_go()
    ended(speaker)
    ended(speaker)
    assert spoken_to.text() == "[]one\n"


def test_a_danger_ends_what_is_being_spoken(tmp_path: Path) -> None:
    slow = Spoken(tmp_path, lasts_s=60.0)
    speaker = slow.speaker()
    speaker.offer(Utterance("a long story"))
    first = speaker._speaking
    speaker.offer(Utterance("Stop.", urgent=True))
    assert first is not None
    assert first.poll() is not None
    assert speaker._speaking is not None
    assert speaker._speaking is not first
    speaker.close()


def test_a_command_that_hangs_is_ended(tmp_path: Path) -> None:
    slow = Spoken(tmp_path, lasts_s=60.0)
    speaker = slow.speaker()
    speaker.offer(Utterance("a long story"))
    first = speaker._speaking
    slow.now_s += LONGEST_S + 0.1
    speaker.tick()
    assert first is not None
    assert first.poll() is not None
    assert speaker._speaking is None


def test_closing_leaves_no_process(tmp_path: Path) -> None:
    slow = Spoken(tmp_path, lasts_s=60.0)
    speaker = slow.speaker()
    speaker.offer(Utterance("a long story"))
    speaker.offer(Utterance("and more"))
    running = speaker._speaking
    speaker.close()
    assert running is not None
    assert running.poll() is not None


def test_a_command_that_fails_or_is_not_there_is_noticed(tmp_path: Path) -> None:
    speaker = Spoken(tmp_path, status=3).speaker()
    speaker.offer(Utterance("one"))
    ended(speaker)
    assert speaker.failed
    missing = Speaker((str(tmp_path / "none"),))
    missing.offer(Utterance("one"))
    assert missing.failed


def test_each_system_has_its_command_and_none_takes_words_as_an_option(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.which", lambda name: f"/bin/{name}")
    found = {platform: speech_command(platform) for platform in (*COMMANDS, "freebsd14")}
    assert [None if command is None else command[0] for command in found.values()] == [
        "/bin/say",
        "/bin/powershell",
        "/bin/espeak-ng",
        "/bin/espeak-ng",
    ]
    monkeypatch.setattr("shutil.which", lambda _name: None)
    assert speech_command("linux") is None
