"""What `wind`, `practice` and `replay` share: settings of the coach, the trace's header, screen or no screen."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.base.units import UnitSystem, parse_number
from winding_coach.cli.args.settings import drawn_from, eyes_from
from winding_coach.cli.args.sound import add_sound_arguments, sound_from, sounding
from winding_coach.cli.output.headless import KeysFromStdin, close_on_signals, output, sentence, teller
from winding_coach.cli.output.lines_out import LinesOut
from winding_coach.cli.output.troubles import Troubles
from winding_coach.coach.settings import CoachSettings
from winding_coach.traces.files import TraceWriter

if TYPE_CHECKING:
    from winding_coach.app.earlier import EarlierWinds
    from winding_coach.coach.said import Said
    from winding_coach.coach.step import Coach
    from winding_coach.coach.view import CoachView
    from winding_coach.live.session import Session, Source
    from winding_coach.screen.after import After
    from winding_coach.screen.remark import Remark
    from winding_coach.simulator.bench import Truth
    from winding_coach.sound.sounding import SoundWanted


def add_coaching_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of every command that runs the coach."""
    shown = parser.add_argument_group("what is shown")
    shown.add_argument("--headless", action="store_true", help="no screen: plain sentences, one a line")
    shown.add_argument("--json", action="store_true", help="with --headless: one JSON object a line")
    shown.add_argument("--readings", metavar="HZ", help="with --headless: readings too, N per second")
    add_sound_arguments(parser)


def readings_hz(args: argparse.Namespace) -> float:
    """Return the rate of readings asked for, 0 for none.

    Raises:
        UsageProblem: it is none.
    """
    if args.json and not args.headless:
        raise UsageProblem("--json goes with --headless.")
    if args.readings is None:
        return 0.0
    try:
        hz = parse_number(args.readings)
    except ValueError:
        hz = -1.0
    if not 0 < hz <= 1000:
        raise UsageProblem(f"--readings: '{args.readings}' is not a number of readings per second (up to 1000).")
    if not args.headless:
        raise UsageProblem("--readings goes with --headless.")
    return hz


def needs_terminal(args: argparse.Namespace) -> None:
    """Refuse a screen where there is none to draw on, before anything is begun for it.

    Raises:
        UsageProblem: there is no terminal.
    """
    if args.headless:
        return
    from winding_coach.screen.terminal import is_terminal

    if not is_terminal():
        raise UsageProblem("The screen needs a terminal: add --headless to do without one.")


def coach_it(
    args: argparse.Namespace,
    home: Home,
    settings: CoachSettings,
    source: Source,
    writer: TraceWriter | None,
    *,
    replaying: bool = False,
    hand: Callable[[str], None] | None = None,
    seen: Callable[[CoachView], None] | None = None,
    aside: Callable[[], Truth] | None = None,
    earlier: EarlierWinds | None = None,
    note: Callable[[], Remark] | None = None,
    ports: Callable[[], str] | None = None,
    after: After | None = None,
    ended: Callable[[Coach], None] | None = None,
    live: bool = False,
) -> int:
    """Run a wind to its end on the screen or without one; return the exit status.

    hand: takes the commands of practised hands (`simulator.hands.COMMANDS`), None outside practice. seen: shown the
    view after every input, in the loop's thread. aside: what is so on a simulated bench. earlier: winds for the chart.
    note: a remark for the screen while there is no alarm. ports: what is seen on them, for a screen without a meter.
    after: what the finished screen offers; takes what was asked for there. ended: given the coach of the wind that is
    over. live: the coach waits for no output.
    """
    # Not above: the help needs no estimator, which takes a tenth of a second to load.
    from winding_coach.coach.step import Coach
    from winding_coach.live.session import Session

    hz = readings_hz(args)
    wanted = sound_from(args, home, "off" if args.headless else "auto")
    coach = Coach(settings)
    if args.headless:

        def made(heard: Callable[[Said], None]) -> Session:
            return Session(
                source,
                coach,
                writer,
                heard=heard,
                seen=seen,
                readings_hz=hz,
                replaying=replaying,
                looked_at=wanted.kind != "off" or wanted.speech,
            )

        try:
            return without_screen(args, source, made, wanted, settings.units, hand=hand, live=live)
        finally:
            if ended is not None:
                ended(coach)
    needs_terminal(args)
    from winding_coach.screen.app import run_screen

    session = Session(source, coach, writer, seen=seen, replaying=replaying)
    if earlier is not None:
        earlier.start()
    with sounding(wanted, session, screen=True) as sound:
        run_screen(session, hand, aside, earlier, note, ports, eyes_from(home), sound, drawn_from(home), after)
    if ended is not None:
        ended(coach)
    if session.failure is not None:
        raise session.failure
    if session.summary is not None:
        print(sentence(replace(session.summary, trace=session.trace_name), settings.units))
    return 0


def without_screen(
    args: argparse.Namespace,
    source: Source,
    made: Callable[[Callable[[Said], None]], Session],
    wanted: SoundWanted,
    units: UnitSystem,
    *,
    hand: Callable[[str], None] | None = None,
    live: bool = False,
) -> int:
    """Run a session to its end, with keys on standard input and sentences on standard output; return the exit status.

    made: makes the session, for what hears what is said. live: it waits for no output.
    """
    close_on_signals(source.press)
    KeysFromStdin(source.press, hand)
    out = output(source.press, as_json=args.json, live=live)
    session = made(teller(args.json, units, out))
    with sounding(wanted, session, screen=False) as sound:
        looked_at = {
            "trace": lambda: session.fault,
            "output": lambda: out.trouble if live else None,
            "sound": lambda: None if sound is None else sound.trouble,
        }
        with Troubles(looked_at, LinesOut(sys.stderr), out if args.json else None, lambda: session.at_s):
            session.run()
    return _ended(session, out, live=live)


def _ended(session: Session, out: LinesOut, *, live: bool) -> int:
    """Return the exit status of a wind without a screen.

    Raises:
        Problem: it was not kept, or not all that was said could be read.
    """
    read = out.close()
    if session.fault is not None:
        raise Problem(session.fault)
    kept = "" if session.trace_name is None else f" The wind is saved as {session.trace_name}."
    if out.closed:
        if live:
            raise Problem(f"The output was closed, so the wind was closed too.{kept}")
        return 1
    if not read:
        raise Problem(f"The output was not read to its end.{kept}")
    return 0
