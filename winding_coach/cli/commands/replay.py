"""Run a saved wind through the same coach.

Sentences are made again in your units (--units, else the settings, else the trace's own) and steps (--steps, else the
trace's own); --check keeps to the trace's.

example:
  winding-coach replay recordings/good-wind.wind.jsonl.gz --headless --speed max
  winding-coach replay last --speed 4
  other-program | winding-coach replay - --headless --json --acknowledge
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from winding_coach.app.calibrations import calibration_from
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.shelving import trace_named
from winding_coach.cli.args.common import add_common_arguments, home_from, units_asked_for
from winding_coach.cli.args.settings import add_steps_arguments, drawn_from, eyes_from, steps_from
from winding_coach.cli.args.sound import sound_from, sounding
from winding_coach.cli.args.speed import speed_from
from winding_coach.cli.commands.coaching import add_coaching_arguments, coach_it, readings_hz
from winding_coach.coach.settings import CoachSettings
from winding_coach.keeping.replaying import difference, settings_of
from winding_coach.live.sources.replay import ReplaySource
from winding_coach.traces.files import Trace, read_trace
from winding_coach.traces.rows import TraceError

if TYPE_CHECKING:
    from winding_coach.screen.legible import Eyes
    from winding_coach.screen.terminal import Drawing
    from winding_coach.sound.sounding import SoundWanted

PIPE = "-"
"""In place of a trace: rows are read from standard input as they come."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `replay`."""
    parser.add_argument(
        "trace",
        metavar="TRACE",
        help="a .wind.jsonl file, one packed as .gz, a wind of the shelf by its id, last, or -: rows on standard input",
    )
    parser.add_argument("--speed", default="1", metavar="N", help="how fast: a number, or max (1)")
    parser.add_argument("--check", action="store_true", help="compare what the coach says now with what it said then")
    parser.add_argument("--against", metavar="TRACE", help="another wind, shown as a thin line in the chart")
    parser.add_argument("--calibration", metavar="FILE", help="calibration to use instead of the trace's own")
    parser.add_argument("--acknowledge", action="store_true", help="with -: one line more when a row has been answered")
    add_steps_arguments(parser)
    parser.add_argument("--sound-file", metavar="WAV", help="write what would be heard to a file, and show nothing")
    add_coaching_arguments(parser)
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Replay one trace."""
    readings_hz(args)
    speed = speed_from(args.speed)
    home = home_from(args)
    if args.trace == PIPE:
        return _answer(args, home)
    if args.acknowledge:
        raise UsageProblem("--acknowledge goes with rows on standard input: name - as the trace.")
    if args.check and (args.units or args.steps):
        raise UsageProblem("--check holds against the words as they were said: leave --units and --steps away.")
    units = None if args.check else units_asked_for(args, home)
    try:
        trace = read_trace(trace_named(args.trace, home))
        calibration = None if args.calibration is None else calibration_from(args.calibration, home, simulated=False)
        settings = settings_of(trace, calibration=calibration, units=units)
    except TraceError as error:
        raise Problem(str(error)) from None
    settings = _in_steps(settings, args)
    if args.check:
        return _check(trace, settings)
    wanted = sound_from(args, home, "off")
    if args.sound_file is not None:
        return _sing(trace, settings, args)
    if not args.headless:
        against = None if args.against is None else trace_named(args.against, home)
        return _show(trace, settings, against, speed, wanted, (eyes_from(home), drawn_from(home)))
    return coach_it(args, home, settings, ReplaySource(trace.inputs, speed), None, replaying=True)


def _in_steps(settings: CoachSettings, args: argparse.Namespace) -> CoachSettings:
    if args.steps is None:
        return settings
    return replace(settings, steps=steps_from(args, settings.units, settings.plan))


def _answer(args: argparse.Namespace, home: Home) -> int:
    """Coach another program's wind as its rows come."""
    if not args.headless or args.check or args.sound_file is not None or args.against is not None:
        raise UsageProblem(
            "Rows on standard input go with --headless, and without --check, --against and --sound-file."
        )
    if args.acknowledge and not args.json:
        raise UsageProblem("--acknowledge goes with --json.")
    from winding_coach.cli.commands.lockstep import Answers, Rows, answer_rows
    from winding_coach.coach.step import Coach

    units = units_asked_for(args, home)
    calibration = None if args.calibration is None else calibration_from(args.calibration, home, simulated=False)
    rows = Rows(sys.stdin.buffer)
    try:
        settings = settings_of(rows.header(), calibration=calibration, units=units)
    except TraceError as error:
        raise Problem(str(error)) from None
    settings = _in_steps(settings, args)
    how = Answers(args.json, settings.units, readings_hz(args), args.acknowledge)
    return answer_rows(rows, Coach(settings), how)


def _show(
    trace: Trace,
    settings: CoachSettings,
    against: Path | None,
    speed: float | None,
    wanted: SoundWanted,
    seen: tuple[Eyes, Drawing],
) -> int:
    from winding_coach.screen.playback import Playback, film_of
    from winding_coach.screen.replay_app import run_replay
    from winding_coach.screen.terminal import is_terminal

    if not is_terminal():
        raise UsageProblem("The screen needs a terminal: add --headless to do without one.")
    others = []
    if against is not None:
        try:
            other = read_trace(against)
            others.append(film_of(other.path.name, other.inputs, settings_of(other, units=settings.units)))
        except TraceError as error:
            raise Problem(str(error)) from None
    film = film_of(trace.path.name, trace.inputs, settings, closed=trace.summary is not None)
    playback = Playback(film, tuple(others), speed=1.0 if speed is None else speed)
    if speed is None:
        playback.command("finish")
    with sounding(wanted, playback, screen=True) as sound:
        run_replay(playback, sound, *seen)
    return 0


def _sing(trace: Trace, settings: CoachSettings, args: argparse.Namespace) -> int:
    from winding_coach.sound.hearing import CUE_WORDS, CueSelector
    from winding_coach.sound.wave_file import Rendered, views_of, write_wave

    sung = Rendered(views_of(trace.inputs, settings), CueSelector(silent_in_band=args.silent_in_band))
    try:
        write_wave(Path(args.sound_file), sung)
    except OSError as error:
        raise Problem(f"'{args.sound_file}' cannot be written ({error.strerror}): name another file.") from None
    cues = ", ".join(f"{words} {sung.cues[cue]}" for cue, words in CUE_WORDS.items())
    print(f"{args.sound_file}: {sung.seconds:.0f} seconds as they would be heard live; cues: {cues}.")
    return 0


def _check(trace: Trace, settings: CoachSettings) -> int:
    found = difference(trace, settings)
    if found is not None:
        raise Problem(f"The replay of '{trace.path}' differs: {found}")
    closed = "" if trace.summary is not None else "; the wind was not closed"
    print(f"{trace.path}: the same, {len(trace.inputs)} inputs, {len(trace.said)} things said{closed}.")
    return 0
