"""Sound of a wind on the command line: its options, their settings, and joining it to what is listened to."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem

if TYPE_CHECKING:
    from winding_coach.sound.playing import HasView
    from winding_coach.sound.sounding import Sounding, SoundWanted

KINDS = ("off", "bell", "tone", "auto")


def add_sound_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of every command that can be heard."""
    heard = parser.add_argument_group("what is heard (see docs/guides/sound.md)")
    heard.add_argument(
        "--sound",
        metavar="KIND",
        help="off, bell (the terminal's), tone (needs the extra 'sound'), or auto: the tone if it can be had, else the"
        " bell (auto with a screen, off without one and in a replay)",
    )
    heard.add_argument("--silent-in-band", action="store_true", help="the tone is heard only outside the rate band")
    heard.add_argument("--speech", action="store_true", help="prompts are spoken too, by the system's speech command")


def sound_from(args: argparse.Namespace, home: Home, usual: str) -> SoundWanted:
    """Return what is to be heard: by the options, else by the settings `sound` and `speech`, else the usual.

    Raises:
        UsageProblem: an option is none of the kinds.
        Problem: a setting is not.
    """
    kind, kept = args.sound, home.settings.get("sound")
    if kind is not None and kind not in KINDS:
        raise UsageProblem(f"--sound: there is no '{kind[:20]}': choose one of {', '.join(KINDS)}.")
    if kept is not None and kept not in KINDS:
        raise Problem(
            f"The settings in '{home.folder}' name sound {kept!r}: write one of {', '.join(KINDS)}, in quotes."
        )
    speech = home.settings.get("speech", "off")
    if speech not in ("on", "off"):
        raise Problem(f'The settings in \'{home.folder}\' name speech {speech!r}: write "on" or "off".')
    from winding_coach.sound.sounding import SoundWanted

    # Settings say how a screen sounds; what runs without one is silent unless it is asked.
    by_settings = usual if usual == "off" else kept or usual
    return SoundWanted(
        kind or by_settings,
        speech=args.speech or (speech == "on" and usual != "off"),
        silent_in_band=args.silent_in_band,
    )


@contextmanager
def sounding(wanted: SoundWanted, looked: HasView, *, screen: bool) -> Iterator[Sounding | None]:
    """Let a wind be heard while this lasts; what cannot be had is said on stderr, and the coaching goes on."""
    from winding_coach.sound.sounding import Sounding

    if wanted.kind == "off" and not wanted.speech:
        yield None
        return
    sound = Sounding(wanted, looked, None if screen else _ring)
    for trouble in sound.troubles:
        print(f"winding-coach: {trouble}", file=sys.stderr, flush=True)
    sound.start()
    try:
        yield sound
    finally:
        sound.close()


def _ring() -> None:
    """Ring the bell of the terminal that stderr goes to, if it is one: stdout may be read by a program."""
    if sys.stderr.isatty():
        sys.stderr.write("\a")
        sys.stderr.flush()
