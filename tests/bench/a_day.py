"""One invented day: `python -m tests.bench.a_day`. Twelve flights, four motors, two people, one meter, all by keys.

The real commands fill the shelf, then one `wind` runs with its real screen, source, trace and shelf; a simulated meter
is at the other end. Time is the simulation's own: the source's clock goes on as bytes are read, so nothing waits and no
speed of this computer matters. What is typed after the command is counted, apart from the wind itself, which takes no
key. Turns left as the shelf has them are beside those that were in the motor.
"""

from __future__ import annotations

import asyncio
import os
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from functools import partial
from io import StringIO
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
from textual.pilot import Pilot
from textual.widgets import Input

from tests.coach.test_unwinding import found, let_down
from tests.scenario import MOTOR, PLAN
from winding_coach.cli import main
from winding_coach.live.sources.kept import KeptPort
from winding_coach.live.sources.serial_port import SerialSource
from winding_coach.rubber.figures import WinderFigures
from winding_coach.rubber.turns_left import STRETCH_LENGTHS
from winding_coach.screen.app import CoachApp
from winding_coach.screen.flight_line import FlightLine
from winding_coach.screen.next_wind import NextWind
from winding_coach.shelf.store import Shelf
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.hands import STYLES, ScriptedHands
from winding_coach.simulator.letting_down import LettingDown, landed
from winding_coach.simulator.motor import SimulatedMotor

FLIGHTS, RATIO = 12, 10.0
MOTORS = {"moss-1": "10.0 cm", "moss-2": "10.3 cm", "moss-3": "9.8 cm", "moss-4": "10.1 cm"}
PEOPLE = ("Pip", "Wren")
TICK_S = 0.0125
TICKS = 4
AFTER_S = 12.0
"""So long the meter goes on sending when the hands have finished."""
PATIENCE_S = 300.0


@dataclass
class Flight:
    """One flight of the day. typed: the keys beside the wind. truth: turns in the motor as it was let down."""

    motor: str
    person: str
    typed: str = ""
    keys: int = 0
    truth: float = 0.0
    counted: float | None = None
    launch_turns: float = 0.0


class Meter:
    """The meter at the other end: a bench, then the next; `sources.wires.Wire`, and the clock of its port."""

    def __init__(self) -> None:
        self.now_s = 1000.0
        self.opened = 0
        self.closed = 0
        self._bench: Bench | None = None
        self._ready = threading.Event()
        self._up_s, self._over_s = 0.0, 0.0

    def put_on(self, made: Callable[[MeterModel], Bench]) -> None:
        """Another motor, on the same meter: its clock and its count of the crank go on."""
        count = 0 if self._bench is None else self._bench.crank_count
        self._bench = made(MeterModel(uptime_s=self._up_s, crank_so_far=count))
        self._over_s = 0.0
        self._ready.set()

    def clock(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds

    def open(self, _name: str) -> Meter:
        self.opened += 1
        return self

    def receive(self) -> bytes:
        self._ready.wait(PATIENCE_S)
        bench = self._bench
        assert bench is not None
        if bench.done and self._over_s >= AFTER_S:
            # Nothing more happens on this bench; who reads on, waits.
            time.sleep(0.002)
            return b""
        sent = b"".join(bench.advance(TICK_S) for _ in range(TICKS))
        passed_s = TICKS * TICK_S
        self.now_s, self._up_s = self.now_s + passed_s, self._up_s + passed_s
        self._over_s += passed_s if bench.done else 0.0
        return sent

    def send(self, data: bytes) -> None:
        if self._bench is not None:
            self._bench.answer(data)

    def close(self) -> None:
        self.closed += 1


@dataclass
class Day:
    """What drives the screens, one after the other, and counts what it types."""

    meter: Meter
    flights: int
    seed: int = 1
    flown: list[Flight] = field(default_factory=list)
    screens: int = 0

    async def type(self, pilot: Pilot[Any], keys: list[str]) -> None:
        self.flown[-1].keys += len(keys)
        self.flown[-1].typed += " ".join(keys) + " "
        await pilot.press(*keys)
        await pilot.pause()

    async def drive(self, pilot: Pilot[Any]) -> None:
        app = pilot.app
        assert isinstance(app, CoachApp)
        self.screens += 1
        view = app._looked.view
        if view.letting_down:
            self._let_down(app)
            await self._until(lambda: isinstance(app.screen, FlightLine) and isinstance(app.focused, Input))
            minutes, seconds = divmod(300 + 17 * len(self.flown), 60)
            await self.type(pilot, [*f"{minutes}:{seconds:02d}", "enter"])
            await self._until(lambda: isinstance(app.screen, NextWind) and isinstance(app.focused, Input))
            if len(self.flown) == self.flights:
                await pilot.press("escape", "q")
                return
            await self.type(pilot, ["enter"])
            if app.is_running and isinstance(app.screen, NextWind):
                # A grown loop is asked for; nobody measures it on this day.
                await self.type(pilot, ["enter"])
            return
        self._wind(app)
        await self._until(lambda: app.over)
        await self.type(pilot, ["d"])

    async def _until(self, is_so: Callable[[], bool]) -> None:
        end_s = time.monotonic() + PATIENCE_S
        while not is_so():
            assert time.monotonic() < end_s, "the screen never came to it"
            await asyncio.sleep(0.01)

    def _wind(self, app: CoachApp) -> None:
        view = app._looked.view
        assert view.motor is not None
        self.flown.append(Flight(view.motor.name or "", ""))
        rng = np.random.default_rng([self.seed, len(self.flown)])
        motor, plan, winder = view.motor, view.plan, WinderFigures(RATIO)
        hands = ScriptedHands(plan, motor, winder, STYLES["good"], rng)
        body = SimulatedMotor(motor, strength_u=0.3, hooks_m=plan.walk_in[-1].distance_m)
        self.meter.put_on(lambda model: Bench(body, hands, RATIO, model, rng))

    def _let_down(self, app: CoachApp) -> None:
        view, flight = app._looked.view, self.flown[-1]
        assert view.motor is not None
        rng = np.random.default_rng([self.seed, len(self.flown), 2])
        of = landed(view.plan, view.motor, float(rng.uniform(0.10, 0.35)))
        flight.truth, flight.launch_turns = of.turns, of.launch_turns
        out_m = STRETCH_LENGTHS * view.motor.loop_m
        hands = LettingDown(of.turns, RATIO, view.plan.walk_in[-1].distance_m, out_m, rng)
        self.meter.put_on(lambda model: Bench(of.motor, hands, RATIO, model, rng))


@contextmanager
def at(home: Path) -> Iterator[None]:
    """Let the commands take this folder for theirs."""
    before = os.environ.get("WINDING_COACH_HOME")
    os.environ["WINDING_COACH_HOME"] = str(home)
    try:
        yield
    finally:
        if before is None:
            del os.environ["WINDING_COACH_HOME"]
        else:
            os.environ["WINDING_COACH_HOME"] = before


def command(*words: str) -> None:
    """Run a command as it is typed."""
    with redirect_stdout(StringIO()), redirect_stderr(StringIO()) as said:
        assert main(list(words)) == 0, said.getvalue()


def shelve() -> None:
    """Put the day's people, motors, model and winder on the shelf."""
    for name in PEOPLE:
        command("person", "add", name)
    command("winder", "add", "ten", "--ratio", f"{RATIO:g}")
    command("model", "add", "Bluebell", "--hooks", "7,5 cm")
    for name, loop in MOTORS.items():
        command("motor", "add", name, "--loop", loop, "--mass", "0,46 g")


def run_day(home: Path, flights: int = FLIGHTS) -> tuple[list[Flight], Meter, Day]:
    """Fly the day; return its flights with what the shelf has of each."""
    meter = Meter()
    day = Day(meter, flights)
    source = partial(
        SerialSource,
        clock=meter.clock,
        sleep=meter.sleep,
        open_wire=meter.open,
        list_ports=list,
        start=lambda work: work(),
    )

    def screen(looked: Any, *more: Any) -> None:
        app = CoachApp(looked, after=more[-1])
        try:
            app.run(headless=True, size=(80, 24), auto_pilot=day.drive)
        finally:
            looked.stop()

    with ExitStack() as stack:
        stack.enter_context(at(home))
        shelve()
        stack.enter_context(patch("winding_coach.live.sources.kept.KeptPort", partial(KeptPort, source=source)))
        stack.enter_context(patch("winding_coach.screen.app.run_screen", screen))
        stack.enter_context(patch("winding_coach.screen.terminal.is_terminal", lambda: True))
        words = ["--port", "/dev/invented", "--calibration", "simulated", "--model", "Bluebell"]
        command("wind", *words, "--motor", "moss-1", "--person", "Pip", "--sound", "off")
        with Shelf(home / "shelf.sqlite") as shelf:
            logged = list(reversed(shelf.flown()))
    for flight, (wind, entry) in zip(day.flown, logged, strict=True):
        flight.person = wind.person or ""
        flight.counted = None if entry is None or entry.duration_s is None else entry.turns_left
    return day.flown, meter, day


def table(flown: list[Flight]) -> str:
    """Return the day as a table."""
    lines = [f"{'':>2}  {'motor':<8}{'person':<8}{'typed':<28}{'keys':>4}{'left':>8}{'truth':>8}{'off':>7}"]
    for number, one in enumerate(flown, 1):
        counted = "--" if one.counted is None else f"{one.counted:.0f}"
        off = "--" if one.counted is None else f"{one.counted - one.truth:+.1f}"
        typed = one.typed.replace(" ", "").replace("enter", "⏎")
        lines.append(
            f"{number:>2}  {one.motor:<8}{one.person:<8}{typed:<28}{one.keys:>4}{counted:>8}{one.truth:>8.0f}{off:>7}"
        )
    keys = [one.keys for one in flown]
    offs = [abs(one.counted - one.truth) for one in flown if one.counted is not None]
    lines += [
        f"Keys beside the wind: {sum(keys)} for {len(keys)} flights, {sum(keys) / len(keys):.1f} each, {max(keys)} at"
        " most.",
        f"Turns left by pulses: off by {max(offs):.1f} at most, n = {len(offs)}; a crank turn is {RATIO:g}.",
    ]
    return "\n".join(lines)


def by_torque_alone(flights: int = FLIGHTS, seed: int = 1) -> list[float]:
    """Return by how much the turns left are off as shares of those at launch, where nothing counts the crank.

    Motors stiffer and softer than their plans, wound a little less or more far, with their own peak known.
    """
    rng = np.random.default_rng([seed, 7])
    offs = []
    for number in range(flights):
        share, scale, reached = rng.uniform(0.06, 0.5), rng.uniform(0.93, 1.07), rng.uniform(0.95, 1.02)
        of = landed(PLAN, MOTOR, float(share), torque_scale=float(scale), reached=float(reached))
        unwound, _, _ = found(of, let_down(of, number, channels="t"))
        assert unwound.turns_left is not None
        offs.append((unwound.turns_left - of.turns) / of.launch_turns)
    return offs


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        print(table(run_day(Path(folder) / "home", int(sys.argv[1]) if len(sys.argv) > 1 else FLIGHTS)[0]))
    off = by_torque_alone()
    print(f"Turns left by torque alone: off by {max(map(abs, off)):.1%} of those at launch at most, n = {len(off)}.")
