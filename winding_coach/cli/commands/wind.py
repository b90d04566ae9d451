"""Coach a live wind from a torque meter.

example:
  winding-coach wind --port sim --loop "30 cm" --mass 1.40g --orings 0.08g --ratio 10 --hooks "22 cm"
  winding-coach wind --motor th-07 --winder ten --model Thistledown --person Wren

A stretched, wound motor can hurt eyes and hands: wear eye protection, keep within the ratings of winder
and hooks, keep bystanders and children out of the motor's line. Local rules and the adult in charge come first.
"""

from __future__ import annotations

import argparse
import contextlib
import copy
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from winding_coach.app.batches import batch_from
from winding_coach.app.beginning import header_for, settings_for, writer_for
from winding_coach.app.calibrations import SIMULATED_NAME, calibration_from, expired
from winding_coach.app.figures import Figures, motor_words, winder_words
from winding_coach.app.habits import habits_of, keep_habits
from winding_coach.app.home import Home
from winding_coach.app.patience import GivenUpError, patiently
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.stand import Stand
from winding_coach.app.typed import number, sim_speed
from winding_coach.app.upcoming import UpcomingWinds
from winding_coach.base.units import show
from winding_coach.cli.args.common import add_common_arguments, home_from, units_from
from winding_coach.cli.args.figures import add_motor_arguments, figures_from, hand_of, take_invented
from winding_coach.cli.args.from_shelf import ResolvedNames, after_the_wind, pick, tell
from winding_coach.cli.args.plain_port import add_crank_argument, add_lines_argument, crank_port_of, port_of
from winding_coach.cli.args.settings import add_steps_arguments, fill_in, steps_from
from winding_coach.cli.commands.coaching import add_coaching_arguments, coach_it, needs_terminal, readings_hz
from winding_coach.cli.commands.flight import keeper
from winding_coach.cli.commands.set_up import ask, wants_set_up
from winding_coach.cli.commands.unwind import let_down_after
from winding_coach.cli.output.headless import BEFORE_YOU_START
from winding_coach.coach.person import UNKNOWN
from winding_coach.live.sources.ports import port_is_there
from winding_coach.meter.calibration import Calibration
from winding_coach.rubber.doubts import doubts_of
from winding_coach.screen.after import After, Asked
from winding_coach.traces.header import MOST_TURNS_IN

if TYPE_CHECKING:
    from winding_coach.base.units import UnitSystem
    from winding_coach.coach.settings import CoachSettings
    from winding_coach.coach.step import Coach

MOTOR_OPTIONS = (
    "loop",
    "mass",
    "orings",
    "strands",
    "use",
    "share",
    "batch",
    "ratio",
    "hooks",
    "hand",
    "launch_torque",
    "room",
    "units",
    "home",
)
"""What the simulated meter's motor takes over from the command."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `wind`."""
    meter = parser.add_argument_group("the meter")
    meter.add_argument("--port", metavar="PORT", help="auto, a device, a URL, or sim (auto)")
    add_lines_argument(meter)
    add_crank_argument(meter)
    meter.add_argument("--calibration", metavar="FILE", help="calibration file of the meter")
    meter.add_argument(
        "--sim-script", default="listens", metavar="STYLE", help="how the simulated hands wind (listens)"
    )
    meter.add_argument(
        "--sim-speed", default="1", metavar="TIMES", help="speed of time at the simulated meter, up to 10 (1)"
    )
    add_motor_arguments(parser)
    parser.add_argument(
        "--turns-in", metavar="N", help="turns that the motor holds already (found from its torque at full stretch)"
    )
    parser.add_argument("--person", metavar="NAME", help="person winding; a nickname is enough")
    parser.add_argument(
        "--set-up", action="store_true", help="ask first for units, winder, hooks, meter, person, steps"
    )
    add_steps_arguments(parser)
    add_coaching_arguments(parser)
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Coach one wind, and those that are asked for in the finished screen."""
    readings_hz(args)
    needs_terminal(args)
    typed = copy.copy(args)
    with contextlib.closing(Stand()) as stand:
        wound = _wind(args, stand)
        after = wound.after
        while (asked := after.asked) is not None:
            if asked.what == "let_down":
                after = let_down_after(args, wound.home, stand, wound.trace, wound.after.upcoming)
            else:
                args = _next(typed, asked)
                wound = _wind(args, stand)
                after = wound.after
    return wound.status


@dataclass(frozen=True, slots=True)
class _Wound:
    """A wind that is over. trace: its file's name. after: what was offered, and asked for."""

    status: int
    home: Home
    trace: str
    after: After


def _next(typed: argparse.Namespace, asked: Asked) -> argparse.Namespace:
    """Return what would have been typed for the next wind; another motor's figures come from the shelf."""
    args = copy.copy(typed)
    args.set_up, args.turns_in, args.use = False, None, None
    if asked.motor is not None:
        args.motor = asked.motor
        for name in ("loop", "mass", "orings", "strands", "batch"):
            setattr(args, name, None)
    if asked.person is not None:
        args.person = asked.person
    return args


def _wind(args: argparse.Namespace, stand: Stand) -> _Wound:
    """Coach one wind at the stand."""
    home = home_from(args)
    if args.set_up and args.headless:
        raise UsageProblem("--set-up asks on a screen: leave --headless away, or type the figures as options.")
    picked = _picked(args, home)
    if not args.headless and (args.set_up or wants_set_up(args, home)) and sys.stdin.isatty() and sys.stdout.isatty():
        home = ask(home)
    fill_in(args, home)
    tell(picked.said)
    args.port = port_of(args.lines, args.port or "auto")
    units = units_from(args, home)
    simulated = args.port == "sim"
    if simulated:
        _check_simulation(args)
        take_invented(args, "invented")
    figures = figures_from(args, units)
    settings = _settings(args, home, figures, units, stand, simulated=simulated)
    # What simulated hands do says nothing of the person.
    learns = not simulated
    settings = replace(settings, habits=habits_of(home.folder, args.person) if learns else UNKNOWN)
    if picked.turns_left is not None:
        settings = replace(settings, turns_expected=picked.turns_left)
    tell([f"{motor_words(figures.motor, units)}; winder {winder_words(figures.winder, units)}."])
    tell(doubts_of(settings.plan, figures.motor, figures.model, units))
    if args.headless:
        tell([BEFORE_YOU_START.format(peak=show(settings.plan.peak_torque_Nm, "torque", units))])
    if simulated:
        tell(["The meter is SIMULATED: no real motor is wound."])
    words, crank_port = (_simulated_words(args), None) if simulated else (None, crank_port_of(args))
    source = stand.source(args.port, words, crank_port, sim_speed(args.sim_speed) if simulated else 1.0)
    writer = None
    try:
        earlier, ports = None, None
        if not args.headless:
            from winding_coach.app.earlier import EarlierWinds
            from winding_coach.app.ports_seen import PortsSeen

            earlier, ports = EarlierWinds(home.traces, figures.motor.name), PortsSeen()
            ports.start()
        more = picked.more | ({} if args.purpose is None else {"purpose": args.purpose})
        from winding_coach.keeping.replaying import HABITS, LAST_TIME

        if settings.habits.winds:
            more = more | {HABITS: settings.habits.as_json()}
        if settings.turns_expected is not None:
            more = more | {LAST_TIME: {"turns_left": settings.turns_expected}}
        writer = writer_for(home, header_for(settings, source.started, stand.port or args.port, args.person, more))
        after = _after(args, home, writer.path.name, units)

        def ended(coach: Coach) -> None:
            stand.keep_zero(coach.view)
            if learns:
                keep_habits(home.folder, args.person, coach.habits)

        status = coach_it(
            args, home, settings, source, writer, earlier=earlier, ports=ports, after=after, ended=ended, live=True
        )
        return _Wound(status, home, writer.path.name, after)
    finally:
        source.close()
        if writer is not None:
            tell(_shelved(args, home, writer.path))


def _picked(args: argparse.Namespace, home: Home) -> ResolvedNames:
    """Fill in what the shelf knows.

    Raises:
        Problem: as `pick`, or its disk does not answer.
    """
    simulated = _is_simulated(args, home)
    try:
        return patiently(lambda: pick(args, home, simulated=simulated, winding=True), lambda words: tell([words]))
    except GivenUpError:
        raise Problem("The shelf's disk does not answer: name another folder with --home to wind without it.") from None


def _shelved(args: argparse.Namespace, home: Home, trace: Path) -> list[str]:
    """Log the wind that was just closed; return what to tell. A disk that does not answer holds up no one for long."""
    try:
        return patiently(lambda: after_the_wind(args, home, trace), lambda words: tell([words]))
    except GivenUpError as given_up:
        return [str(given_up)]


def _settings(
    args: argparse.Namespace, home: Home, figures: Figures, units: UnitSystem, stand: Stand, *, simulated: bool
) -> CoachSettings:
    """Return the coach's settings, with the zero that was set at this stand before."""
    calibration = _calibration(args, home, simulated=simulated)
    old = expired(calibration)
    if old is not None:
        print(f"winding-coach wind: {old}", file=sys.stderr)
    settings = settings_for(figures, calibration, units, batch_from(args.batch, home))
    turns_in = None if args.turns_in is None else number("--turns-in", args.turns_in, 0.0, MOST_TURNS_IN)
    return replace(
        settings,
        steps=steps_from(args, units, settings.plan),
        direction=hand_of(args),
        turns_in=turns_in,
        tare_counts=stand.zero_counts,
    )


def _simulated_words(args: argparse.Namespace) -> list[str]:
    """Return the options of `meter emulate` for this wind."""
    given = [(name, getattr(args, name)) for name in MOTOR_OPTIONS if getattr(args, name) is not None]
    options = [word for name, value in given if value for word in (f"--{name.replace('_', '-')}", value)]
    return [*options, "--script", args.sim_script, "--speed", args.sim_speed]


def _after(args: argparse.Namespace, home: Home, trace: str, units: UnitSystem) -> After:
    """Return what the finished screen offers."""
    simulated = _is_simulated(args, home)
    return After(
        flight=keeper(home, trace, units),
        upcoming=UpcomingWinds(home, units, simulated=simulated, person=args.person),
        lets_down=True,
    )


def _calibration(args: argparse.Namespace, home: Home, *, simulated: bool) -> Calibration:
    """Return the calibration to use.

    Raises:
        Problem: there is none; where the port is not there either, that is said first.
    """
    try:
        return calibration_from(args.calibration, home, simulated=simulated)
    except Problem as problem:
        named = args.port.startswith("/") or args.port.upper().startswith("COM")
        if named and not port_is_there(args.port):
            raise Problem(
                f"There is no port '{args.port}': plug the meter in; 'winding-coach meter list' shows the ports."
                f" {problem}"
            ) from None
        raise


def _check_simulation(args: argparse.Namespace) -> None:
    """Refuse words about the simulated meter that it would not take, before anything is said or begun.

    Raises:
        UsageProblem: one is wrong.
    """
    from winding_coach.live.sources.listening import LISTENS
    from winding_coach.simulator.hands import STYLES

    sim_speed(args.sim_speed)
    styles = (*STYLES, LISTENS)
    if args.sim_script not in styles:
        raise UsageProblem(f"--sim-script: there is no style '{args.sim_script}': choose one of {', '.join(styles)}.")


def _is_simulated(args: argparse.Namespace, home: Home) -> bool:
    """Whether the meter is not there: then a wind is no use of a real motor."""
    return SIMULATED_NAME in (args.calibration, args.port) or (args.port or home.settings.get("port")) == "sim"
