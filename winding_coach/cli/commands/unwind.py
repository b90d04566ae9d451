"""Let a wound motor down on the meter: after a flight, after a wind that went wrong, or to see what is still in it.

examples:
  winding-coach unwind                        (after a flight with the motor of the last wind)
  winding-coach unwind --wind 3a81f40f --headless
  winding-coach unwind --motor th-07          (turns in it not known)
  winding-coach unwind --port sim --left 25

Set zero with nothing on the hook, hook the motor up with the crank held, step out to where it says and wait; then let
the crank back slowly, holding on to it, until the motor is empty. With a crank sensor the turns are counted; by torque
alone they are known to about 3 % of the turns at launch (simulated motors). The flight of the wind is completed, and
what came from the meter is kept in the data folder's 'unwindings'.

Care: a wound motor drives the crank: never let go of it. Eye protection on; keep bystanders and children out of the
motor's line. Local rules and the adult in charge come first.
"""

from __future__ import annotations

import argparse
import contextlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from winding_coach.app.batches import batch_from
from winding_coach.app.beginning import header_for, settings_for
from winding_coach.app.calibrations import SIMULATED_NAME, calibration_from
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.shelving import SHORT_ID, looked, shelf_at, shelf_file
from winding_coach.app.typed import number, sim_speed
from winding_coach.cli.args.common import add_common_arguments, home_from, units_from
from winding_coach.cli.args.duration import clock
from winding_coach.cli.args.figures import add_motor_arguments, figures_from, take_invented
from winding_coach.cli.args.from_shelf import pick, tell
from winding_coach.cli.args.plain_port import add_crank_argument, crank_port_of
from winding_coach.cli.args.settings import drawn_from, eyes_from, fill_in
from winding_coach.cli.args.sound import sound_from, sounding
from winding_coach.cli.commands.coaching import add_coaching_arguments, needs_terminal, readings_hz, without_screen
from winding_coach.cli.commands.flight import energy_used_J, keeper
from winding_coach.cli.output.headless import unwound_words

if TYPE_CHECKING:
    from collections.abc import Callable

    from winding_coach.app.stand import Stand
    from winding_coach.base.units import UnitSystem
    from winding_coach.coach.said import Said, Unwound
    from winding_coach.coach.settings import CoachSettings
    from winding_coach.coach.unwinding import UnwindCoach
    from winding_coach.live.session import Session
    from winding_coach.live.sources.simulated import SimulatedMeter
    from winding_coach.rubber.turns_left import StretchedMotor
    from winding_coach.screen.after import After, Upcoming
    from winding_coach.shelf.records import Wind
    from winding_coach.traces.files import TraceWriter
    from winding_coach.traces.header import Header

FOLDER = "unwindings"
SIMULATED_LEFT = (12.0, 35.0)
"""Per cent of the turns at launch that a simulated flight leaves; invented."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `unwind`."""
    of = parser.add_argument_group("which motor")
    of.add_argument("--wind", metavar="WIND", help="the wind it was wound in: its id or trace (the last wind)")
    of.add_argument("--not-flown", action="store_true", help="it was not flown since: no flight is completed")
    of.add_argument("--again", metavar="FILE", help="what a saved unwinding shows, once more")
    meter = parser.add_argument_group("the meter")
    meter.add_argument("--port", metavar="PORT", help="auto, a device, a URL, or sim (auto)")
    add_crank_argument(meter)
    meter.add_argument("--calibration", metavar="FILE", help="calibration file of the meter")
    meter.add_argument("--left", default="20", metavar="PERCENT", help="with --port sim: of the launch turns (20)")
    meter.add_argument(
        "--sim-speed", default="1", metavar="TIMES", help="speed of time at the simulated meter, up to 10 (1)"
    )
    add_motor_arguments(parser)
    parser.add_argument("--person", metavar="NAME", help="who lets it down")
    add_coaching_arguments(parser)
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Let a motor down."""
    from winding_coach.coach.unwinding import UnwindCoach
    from winding_coach.live.sources.serial_port import SerialSource

    home = home_from(args)
    units = units_from(args, home)
    if args.again is not None:
        return _again(Path(args.again), units)
    readings_hz(args)
    needs_terminal(args)
    simulated = (args.port or home.settings.get("port")) == "sim"
    wind = None if simulated else _wind(args, home)
    settings = _settings(args, home, units, wind, simulated=simulated)
    scale = _scale(settings, wind)
    coach = UnwindCoach(settings, _motor(settings, scale))
    meter = _simulated(args) if simulated else None
    found: Unwound | None = None
    try:
        crank_port = None if simulated else crank_port_of(args)
        source = SerialSource(
            args.port or "auto" if meter is None else meter.device,
            crank_port=crank_port,
            speed=1.0 if meter is None else sim_speed(args.sim_speed),
        )
        header = header_for(settings, source.started, args.port or "auto", args.person, _more(wind, scale))
        writer = _writer(home, header)
        found = _let_down(args, home, units, coach, source, writer)
    finally:
        if meter is not None:
            meter.close()
    if found is not None and wind is not None and not args.not_flown:
        completed = _complete(home, wind, found)
        tell(completed.said)
    return 0


def let_down_after(args: argparse.Namespace, home: Home, stand: Stand, trace: str, upcoming: Upcoming | None) -> After:
    """Let the motor of a wind down at the stand, on the screen; return what was offered, and asked for.

    args: of `wind`. trace: the wind's. upcoming: the next winds.

    Raises:
        Problem: the wind's trace cannot be read, or nothing can be kept.
    """
    from winding_coach.coach.unwinding import UnwindCoach
    from winding_coach.live.session import Session
    from winding_coach.screen.after import After
    from winding_coach.shelf.schema import ShelfError

    units = units_from(args, home)
    wind = None
    with contextlib.suppress(Problem, ShelfError), shelf_at(home) as shelf:
        wind = shelf.find_wind(trace)  # One in which nothing was wound is not there.
    settings = replace(_settings_of(args, home, units, trace), tare_counts=stand.zero_counts)
    scale = _scale(settings, wind)
    coach = UnwindCoach(settings, _motor(settings, scale))
    simulated = _left_words(args, trace) if args.port == "sim" else None
    source = stand.source(args.port, simulated)
    writer = _writer(home, header_for(settings, source.started, stand.port or "", args.person, _more(wind, scale)))
    session = Session(source, coach, writer)
    said: list[str] = []

    def found() -> str:
        """What was found, as a sentence; the first time, it goes into the flight's entry."""
        if not said and coach.unwound is not None:
            completed = _Completed() if wind is None else _complete(home, wind, coach.unwound)
            said.append(" ".join([unwound_words(coach.unwound, units), *completed.kept_before]))
        return said[0] if said else ""

    flight = keeper(home, trace, units) if wind is not None and wind.outcome == "done" else None
    after = After(flight=flight, upcoming=upcoming, found=found)
    _on_screen(args, home, session, after)
    if found():
        print(found())
    stand.keep_zero(session.view)
    if session.fault is not None:
        raise Problem(session.fault)
    return after


def _left_words(args: argparse.Namespace, trace: str) -> list[str]:
    """Return the options of `meter emulate` for a motor that has flown; how many turns are left, the trace decides."""
    import random

    given = ("loop", "mass", "orings", "strands", "use", "ratio", "hooks")
    words = [word for name in given if getattr(args, name) for word in (f"--{name}", getattr(args, name))]
    left = random.Random(trace).uniform(*SIMULATED_LEFT)
    return [*words, "--left", f"{left:.1f}", "--speed", args.sim_speed]


def _on_screen(args: argparse.Namespace, home: Home, session: Session, after: After | None) -> None:
    from winding_coach.screen.app import run_screen

    with sounding(sound_from(args, home, "auto"), session, screen=True) as sound:
        run_screen(session, None, None, None, None, None, eyes_from(home), sound, drawn_from(home), after)


def _writer(home: Home, header: Header) -> TraceWriter:
    from winding_coach.traces.files import TraceWriter
    from winding_coach.traces.rows import TraceError

    try:
        return TraceWriter(home.folder / FOLDER, header)
    except TraceError as error:
        raise Problem(str(error)) from None


def _more(wind: Wind | None, scale: float | None) -> dict[str, Any]:
    from winding_coach.keeping.replaying import UNWINDING

    return {UNWINDING: {"wind": None if wind is None else wind.id, "torque_scale": scale}}


def _wind(args: argparse.Namespace, home: Home) -> Wind | None:
    """Return the wind that the motor comes from; None where a motor is named instead, or there is none."""
    named = args.motor is not None or args.loop is not None
    if args.wind is None and (named or not shelf_file(home).exists()):
        return None
    with shelf_at(home) as shelf:
        looked(home, shelf)
        wind = shelf.find_wind(args.wind or "last")
    if wind.outcome == "broken":
        raise UsageProblem(f"The motor of wind {wind.id[:SHORT_ID]} broke: name another wind with --wind.")
    return wind


def _settings(
    args: argparse.Namespace, home: Home, units: UnitSystem, wind: Wind | None, *, simulated: bool
) -> CoachSettings:
    if wind is not None:
        return _settings_of(args, home, units, wind.trace)
    fill_in(args, home)
    if simulated:
        take_invented(args, "invented")
    else:
        tell(pick(args, home).doubts)
    figures = figures_from(args, units)
    calibration = calibration_from(args.calibration, home, simulated=simulated or args.calibration == SIMULATED_NAME)
    return settings_for(figures, calibration, units, batch_from(args.batch, home))


def _settings_of(args: argparse.Namespace, home: Home, units: UnitSystem, trace: str) -> CoachSettings:
    """Return the settings of a wind, without its zero; the calibration is today's, where there is one."""
    from winding_coach.keeping.replaying import settings_of
    from winding_coach.traces.files import Trace
    from winding_coach.traces.glance import glance
    from winding_coach.traces.rows import TraceError

    try:
        seen = glance(home.traces / trace)
        settings = replace(settings_of(Trace(seen.path, seen.header), units=units), tare_counts=None)
    except TraceError as error:
        raise Problem(str(error)) from None
    if seen.header.meter == SIMULATED_NAME or (args.calibration is None and not home.calibration.exists()):
        return settings
    return replace(settings, calibration=calibration_from(args.calibration, home, simulated=False))


def _scale(settings: CoachSettings, wind: Wind | None) -> float | None:
    """Return this motor's torque over its plan's, by the peak of its wind; None where that was not counted."""
    from winding_coach.rubber.path import PlanPath

    if wind is None or not wind.peak_torque_Nm or not wind.peak_turns:
        return None
    return wind.peak_torque_Nm / PlanPath(settings.plan, settings.motor).torque_at(wind.peak_turns)


def _motor(settings: CoachSettings, scale: float | None) -> StretchedMotor:
    """Return the motor as it will show its turns when it is stretched out."""
    from winding_coach.rubber.turns_left import StretchedMotor

    return StretchedMotor(settings.motor, settings.plan.walk_in[-1].distance_m, scale)


def _simulated(args: argparse.Namespace) -> SimulatedMeter:
    from winding_coach.live.sources.simulated import SimulatedMeter, SimulatedMeterError

    number("--left", args.left.strip().rstrip("% "), 1, 100)
    sim_speed(args.sim_speed)
    given = ("loop", "mass", "orings", "strands", "use", "ratio", "hooks")
    words = [w for name in given if getattr(args, name) for w in (f"--{name}", getattr(args, name))]
    try:
        return SimulatedMeter([*words, "--left", args.left, "--speed", args.sim_speed])
    except SimulatedMeterError as error:
        raise Problem(str(error)) from None


def _let_down(
    args: argparse.Namespace, home: Home, units: UnitSystem, coach: UnwindCoach, source: Any, writer: TraceWriter
) -> Unwound | None:
    from winding_coach.live.session import Session

    if args.headless:
        wanted = sound_from(args, home, "off")

        def made(heard: Callable[[Said], None]) -> Session:
            return Session(source, coach, writer, heard=heard, readings_hz=readings_hz(args))

        without_screen(args, source, made, wanted, units, live=True)
        return coach.unwound
    session = Session(source, coach, writer)
    _on_screen(args, home, session, None)
    if coach.unwound is not None:
        print(unwound_words(replace(coach.unwound, trace=session.trace_name), units))
    if session.fault is not None:
        raise Problem(session.fault)
    return coach.unwound


@dataclass(frozen=True, slots=True)
class _Completed:
    """What became of a flight's entry. said: on what to type next. kept_before: where it has turns left already."""

    said: tuple[str, ...] = ()
    kept_before: tuple[str, ...] = ()


def _complete(home: Home, wind: Wind, found: Unwound) -> _Completed:
    """Put the turns left into the flight of the wind, unless it has some."""
    import uuid
    from datetime import datetime

    from winding_coach.shelf.records import Flight

    if found.turns_left is None or wind.outcome != "done":
        return _Completed()
    left = round(found.turns_left, 1)
    if wind.launch_turns is not None:
        left = min(left, wind.launch_turns)
    short = wind.id[:SHORT_ID]
    with shelf_at(home) as shelf:
        flown = shelf.flights([wind.id])
        if flown and flown[0].turns_left is not None:
            before = (
                f"Its flight has {flown[0].turns_left:.0f} turns left already; to take these:"
                f" winding-coach flight --wind {short} --left {left:.0f} --correct",
            )
            return _Completed(before, before)
        flown_at = datetime.now().astimezone().isoformat(timespec="seconds")
        flight = flown[0] if flown else Flight(str(uuid.uuid4()), wind.id, flown_at)
        flight = replace(flight, turns_left=left, energy_used_J=energy_used_J(home, wind, left))
        shelf.fly(flight)
    if flight.duration_s is None:
        return _Completed((f"Kept with wind {short}. How long it flew: winding-coach flight 6:52 --wind {short}",))
    return _Completed((f"The flight of wind {short}, {clock(flight.duration_s)}, has its turns left now.",))


def _again(path: Path, units: UnitSystem) -> int:
    """Run the present count over a kept unwinding."""
    from winding_coach.coach.loop import taken
    from winding_coach.coach.unwinding import UnwindCoach
    from winding_coach.keeping.replaying import UNWINDING, settings_of
    from winding_coach.traces.files import Trace, read_trace
    from winding_coach.traces.rows import TraceError

    try:
        trace = read_trace(path)
        if UNWINDING not in trace.header.more:
            raise UsageProblem(f"--again: '{path}' is a wind, not an unwinding: see it with 'replay'.")
        header = replace(trace.header, more={k: v for k, v in trace.header.more.items() if k != UNWINDING})
        settings = settings_of(Trace(path, header), units=units)
    except TraceError as error:
        raise Problem(str(error)) from None
    of = trace.header.more[UNWINDING]
    scale = of.get("torque_scale") if isinstance(of, dict) else None
    coach = UnwindCoach(settings, _motor(settings, scale if isinstance(scale, float) else None))
    for _ in taken(coach, trace.inputs):
        pass
    if coach.unwound is not None:
        print(unwound_words(coach.unwound, units))
    return 0
