"""`meter emulate`: a simulated meter, and a crank sender beside it, on real ports, for one motor or one after another.

With --until-stdin-closes each line of standard input that begins with `next` puts another motor on the same meter:
`next --loop '30 cm' --mass 1.4g`, with --left for one that is let down. Port, zero and the meter's clock stay.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import queue
import shlex
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from winding_coach.app.batches import batch_from
from winding_coach.app.beginning import settings_for
from winding_coach.app.calibrations import SIMULATED_NAME, calibration_from
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.typed import MOST_SEED, number, quantity, whole
from winding_coach.base.system import take_signals
from winding_coach.base.units import UnitSystem
from winding_coach.cli.args.common import add_common_arguments
from winding_coach.cli.args.figures import add_motor_arguments, figures_from, take_invented
from winding_coach.cli.args.settings import fill_in
from winding_coach.cli.commands.emulate_weights import FAULTS
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.simulator.faults import KINDS
from winding_coach.simulator.hands import STYLES

if TYPE_CHECKING:
    import numpy as np

    from winding_coach.live.sources.emulator import PseudoPort
    from winding_coach.live.sources.loopback import LoopbackPort
    from winding_coach.rubber.figures import MotorFigures, Plan
    from winding_coach.simulator.faults import FaultyBench
    from winding_coach.simulator.hands import Hands
    from winding_coach.simulator.motor import SimulatedMotor

NEXT = "next"
LONGEST_LINE = 4000


def _fault_form(kind: str, for_s: float) -> str:
    return f"{kind}@SECONDS[:{for_s:g}]" if for_s else f"{kind}=SHARE"


FAULT_WORDS = (
    "\n\nfaults, at a time in s of the wind (after the colon: for how long), or for a share of all lines or bytes:\n"
    + "\n".join(f"  {_fault_form(kind, for_s):<22}{what}" for kind, (what, for_s) in KINDS.items())
    + "\n\nfaults with --weights:\n"
    + "\n".join(f"  {name:<22}{what}" for name, (what, _) in FAULTS.items())
)


def add_emulate_arguments(emulate: argparse.ArgumentParser) -> None:
    """Add the options of `meter emulate`."""
    emulate.add_argument(
        "--weights", action="store_true", help="on the calibration bench: type what hangs, line by line"
    )
    emulate.add_argument(
        "--lines",
        choices=("protocol", "plain"),
        default="protocol",
        help="plain: print the counts alone, one number a line (protocol)",
    )
    emulate.add_argument("--arm", default="30 mm", metavar="LENGTH", help="with --weights, from axis to thread (30 mm)")
    emulate.add_argument(
        "--script",
        default="good",
        metavar="STYLE",
        help=f"how the hands wind: {', '.join(STYLES)}, or listens: as the coach says",
    )
    emulate.add_argument("--left", metavar="PERCENT", help="let down a motor with this share of its launch turns left")
    emulate.add_argument("--speed", default="1", metavar="TIMES", help="times real time (1)")
    emulate.add_argument("--lines-per-s", default="80", metavar="N", help="lines of data per second (80)")
    emulate.add_argument("--channels", default="c", metavar="LETTERS", help="of c or q (crank), d, t (c)")
    emulate.add_argument("--pulses-per-turn", default="1", metavar="N", help="counts per crank turn (1)")
    emulate.add_argument(
        "--crank-sender",
        action="store_true",
        help="a separate board counts the crank: another line says what opens it (--crank-port of wind)",
    )
    emulate.add_argument("--crank-link", metavar="PATH", help="keep a link to the crank sender's device here")
    emulate.add_argument("--seed", default="1", metavar="N", help="same seed, same wind (1)")
    emulate.add_argument("--fault", action="append", default=[], metavar="FAULT", help="as in unplug@55:4 or lost=0.01")
    emulate.add_argument("--link", metavar="PATH", help="keep a link to the device here, also after it was unplugged")
    emulate.add_argument(
        "--socket",
        action="store_true",
        help="a socket of this computer alone (taken where there are no pseudo-terminals)",
    )
    emulate.add_argument("--torque-scale", default="1", metavar="R", help="how much stiffer the motor is than its plan")
    emulate.add_argument("--wait", action="store_true", help="let the wind begin when a reader opens the device")
    emulate.add_argument("--until-stdin-closes", action="store_true", help="end when standard input does, not sooner")
    add_motor_arguments(emulate)
    add_common_arguments(emulate)


def emulate_meter(args: argparse.Namespace, home: Home, units: UnitSystem) -> int:
    """Run a simulated meter until its hands have finished, or it is stopped."""
    import numpy as np

    from winding_coach.live.sources.emulator import emulate

    if args.weights:
        return _emulate_weights(args, units)
    speed = number("--speed", args.speed, 0.01, 1000)
    rng = np.random.default_rng(whole("--seed", args.seed, 0, MOST_SEED))
    bench = _Benches(args, home, units, rng)
    port = _port(args, args.link)
    crank_port = _port(args, args.crank_link) if _has_sender(args) else None
    # Before the path is told: who knows it may send a signal at once.
    stopped = _stopper(bench.lines if args.until_stdin_closes else None)
    print(args.link or port.device, flush=True)
    if crank_port is not None:
        print(args.crank_link or crank_port.device, flush=True)
    emulate(
        bench,
        port,
        crank_port=crank_port,
        crank_sent=bench.crank_sent,
        printed=_printed(args),
        speed=speed,
        wait_for_reader=args.wait,
        until_stopped=args.until_stdin_closes,
        stopped=stopped,
    )
    return 0


def _printed(args: argparse.Namespace) -> Callable[[bytes], bytes]:
    """What the meter's bytes become on their way out."""
    from winding_coach.simulator.plain import PlainPrinter

    return PlainPrinter().print if args.lines == "plain" else bytes


def _has_sender(args: argparse.Namespace) -> bool:
    return args.crank_sender or args.crank_link is not None


class _Benches:
    """A bench, and the next on the same meter: as `sources.emulator.Bench`. lines: what comes on standard input."""

    def __init__(self, args: argparse.Namespace, home: Home, units: UnitSystem, rng: np.random.Generator) -> None:
        self.lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._first, self._home, self._units, self._rng = args, home, units, rng
        self._up_s = 0.0
        self._now = bench_for(args, home, units, rng)

    @property
    def plugged(self) -> bool:
        """Whether the lead is in."""
        return self._now.plugged

    @property
    def done(self) -> bool:
        """Whether the hands have finished."""
        return self._now.done

    def answer(self, data: bytes) -> None:
        """Take what the host sent."""
        self._now.answer(data)

    def advance(self, dt_s: float) -> bytes:
        """Let time pass, on the next motor's bench if one was put on."""
        if not self.lines.empty():
            self._next(self.lines.get())
        return self._now.advance(dt_s)

    def crank_sent(self) -> bytes:
        """Return what has come from the crank sender."""
        return self._now.crank_sent()

    def _next(self, line: str) -> None:
        from winding_coach.cli import parser_of

        first, _, words = line.strip().partition(" ")
        if first != NEXT:
            return
        given = parser_of("meter").parse_args(["emulate", *shlex.split(words)])
        for name in (
            "script",
            "channels",
            "lines_per_s",
            "pulses_per_turn",
            "crank_sender",
            "crank_link",
            "home",
            "units",
        ):
            setattr(given, name, getattr(self._first, name))
        bench = self._now.bench
        self._up_s += bench.at_s
        self._now = bench_for(given, self._home, self._units, self._rng, up_s=self._up_s, crank=bench.crank_count)


def bench_for(
    args: argparse.Namespace,
    home: Home,
    units: UnitSystem,
    rng: np.random.Generator,
    *,
    up_s: float = 0.0,
    crank: int = 0,
) -> FaultyBench:
    """Return the bench of one motor. up_s, crank: how long the meter has been on, and what it has counted.

    Raises:
        UsageProblem: what was typed describes none.
    """
    from winding_coach.coach.direction import LEFT
    from winding_coach.live.sources.listening import LISTENS, ListeningBench, listener
    from winding_coach.meter.frames import MOST_PULSES_PER_TURN
    from winding_coach.simulator.bench import Bench, MeterModel
    from winding_coach.simulator.faults import FaultError, FaultyBench, parse_fault
    from winding_coach.simulator.hands import ScriptedHands
    from winding_coach.simulator.motor import SimulatedMotor

    styles = (*STYLES, LISTENS)
    if args.script not in styles:
        raise UsageProblem(f"--script: there is no style '{args.script}': choose one of {', '.join(styles)}.")
    if not set(args.channels) <= set("cqdt") or {"c", "q"} <= set(args.channels):
        raise UsageProblem(f"--channels: '{args.channels}' is not made of c or q, d, t.")
    try:
        faults = tuple(parse_fault(text) for text in args.fault)
    except FaultError as error:
        raise UsageProblem(f"--fault: {error}") from None
    take_invented(args)
    fill_in(args, home)
    figures = figures_from(args, units)
    made = batch_from(args.batch, home)
    settings = settings_for(figures, calibration_from(SIMULATED_NAME, home, simulated=True), units, made)
    stiffer = number("--torque-scale", args.torque_scale, 0.1, 10)
    rubber, hooks_m = DEFAULT_RUBBER if made is None else made.rubber, settings.plan.walk_in[-1].distance_m
    motor = SimulatedMotor(figures.motor, rubber, torque_scale=stiffer, hooks_m=hooks_m)
    listens = args.script == LISTENS and args.left is None
    person = listener(settings, rng)
    hands: Hands = person
    if not listens:
        style = STYLES.get(args.script, STYLES["good"])
        pauses = max(number("--speed", args.speed, 0.01, 1000), 1.0)
        hands = ScriptedHands(settings.plan, figures.motor, figures.winder, style, rng, pauses=pauses)
    model = MeterModel(
        lines_per_s=number("--lines-per-s", args.lines_per_s, 1, 1000),
        channels="".join(sorted(set(args.channels))),
        pulses_per_turn=whole("--pulses-per-turn", args.pulses_per_turn, 1, MOST_PULSES_PER_TURN),
        uptime_s=up_s,
        crank_so_far=crank,
        crank_sender=_has_sender(args),
        left_hand=args.hand == LEFT,
    )
    if model.crank_sender and not {"c", "q"} & set(model.channels):
        raise UsageProblem("--crank-sender: it counts the crank that --channels names: c or q.")
    if args.left is not None:
        share = number("--left", args.left.strip().rstrip("% "), 1, 100) / 100.0
        motor, hands = _let_down(settings.plan, figures.motor, figures.winder.ratio, share, stiffer, rng)
    inner = ListeningBench(motor, hands, figures.winder.ratio, model, rng) if listens else None
    if inner is not None:
        inner.listen(person, settings)
    return FaultyBench(inner or Bench(motor, hands, figures.winder.ratio, model, rng), faults, rng)


def _let_down(
    plan: Plan, motor: MotorFigures, ratio: float, share: float, stiffer: float, rng: np.random.Generator
) -> tuple[SimulatedMotor, Hands]:
    """Return a motor that was wound and flown, and hands that let it down."""
    from winding_coach.rubber.turns_left import STRETCH_LENGTHS
    from winding_coach.simulator.letting_down import LettingDown, landed

    of = landed(plan, motor, share, torque_scale=stiffer)
    hooks_m = plan.walk_in[-1].distance_m
    too_full = share > 0.75
    return of.motor, LettingDown(of.turns, ratio, hooks_m, 0.0 if too_full else STRETCH_LENGTHS * motor.loop_m, rng)


def _port(args: argparse.Namespace, link: str | None) -> PseudoPort | LoopbackPort:
    """Return an emulated port: a pseudo-terminal, or a local socket if asked for or if there are none."""
    from winding_coach.live.sources.emulator import PseudoPort
    from winding_coach.live.sources.loopback import LoopbackPort

    if args.socket and link is not None:
        raise UsageProblem("--socket: a socket has no --link; leave one of them out.")
    try:
        if not args.socket:
            return PseudoPort(None if link is None else Path(link))
    except (ImportError, AttributeError):
        if link is not None:
            raise Problem("This system has no pseudo-terminals, so there can be no --link: leave it out.") from None
    except OSError as error:
        raise Problem(f"No pseudo-terminal can be made ({error.strerror}): check the path after --link.") from None
    try:
        return LoopbackPort()
    except OSError as error:
        raise Problem(f"No local socket can be opened ({error.strerror}): use 'practice' instead.") from None


def _emulate_weights(args: argparse.Namespace, units: UnitSystem) -> int:
    import numpy as np

    from winding_coach.cli.commands.emulate_weights import TypedBench, meter_with
    from winding_coach.live.sources.emulator import emulate
    from winding_coach.simulator.weights import WeightBench

    meter = meter_with(args.fault)
    arm_m = quantity("--arm", args.arm, "length", units)
    if not 1e-3 <= arm_m <= 1.0:
        raise UsageProblem("--arm: it is between 1 mm and 1 m.")
    speed = number("--speed", args.speed, 0.01, 1000)
    rng = np.random.default_rng(whole("--seed", args.seed, 0, MOST_SEED))
    bench = TypedBench(WeightBench(meter, rng), arm_m)
    port = _port(args, args.link)
    stopped = _stopper(None)
    print(args.link or port.device, flush=True)
    bench.start()
    emulate(bench, port, printed=_printed(args), speed=speed, wait_for_reader=args.wait, stopped=stopped)
    return 0


def _stopper(lines: queue.SimpleQueue[str] | None) -> Callable[[], bool]:
    """Return a function that tells whether a signal, or the end of standard input where that counts, has come.

    lines: takes the lines of standard input, whose end counts then.
    """
    ended: list[bool] = []
    take_signals(lambda *_: ended.append(True))
    if lines is not None:
        # A thread, since not every system can ask a pipe whether it has ended.
        threading.Thread(target=_read_lines, args=(lines, ended), daemon=True).start()
    return lambda: bool(ended)


def _read_lines(lines: queue.SimpleQueue[str], ended: list[bool]) -> None:
    """Read standard input to its end, line by line."""
    begun = b""
    with contextlib.suppress(OSError):
        while data := os.read(0, 256):
            *whole_lines, begun = (begun + data).split(b"\n")
            begun = begun[-LONGEST_LINE:]
            for line in whole_lines:
                lines.put(line.decode("utf-8", "replace"))
    ended.append(True)
