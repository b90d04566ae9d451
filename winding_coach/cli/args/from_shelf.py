"""Names on the command line in, figures from the shelf into the options that were not given; what is given overrides.

Without a shelf, or for names that are not on it, everything is as if there were none.
"""

from __future__ import annotations

import argparse
import sys
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from winding_coach.app.home import Home
from winding_coach.app.last_time import LastTime, last_time
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.shelving import LOOKED_AT, SHORT_ID, looked, shelf_at, shelf_file
from winding_coach.base.units import counted, show
from winding_coach.cli.args.common import units_from
from winding_coach.cli.args.figures import hand_of, share_for_purpose

if TYPE_CHECKING:
    from winding_coach.shelf.records import Motor
    from winding_coach.shelf.store import Shelf
    from winding_coach.shelf.tables import N

SAME_LOOP_M = 0.5e-3
"""Lengths are the same within what a ruler tells."""


@dataclass(frozen=True, slots=True)
class ResolvedNames:
    """What was taken from the shelf. more: for the trace's first line. said: one sentence for each thing to know.
    turns_left: in the motor after its last flight.
    doubts: those that a plan depends on too: names which may be misspelt, a loop that should be measured again."""

    more: dict[str, Any] = field(default_factory=dict)
    said: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    turns_left: float | None = None


def pick(args: argparse.Namespace, home: Home, *, simulated: bool = False, winding: bool = False) -> ResolvedNames:
    """Fill in what the shelf knows of `--motor`, `--winder`, `--model` and `--person`.

    simulated: winds on a simulated meter count as uses too. winding: it is for a wind, so a motor that is broken or
    retired is refused, and traces that are not on the shelf are logged first.

    Raises:
        Problem: the shelf cannot be used, or the motor is out of use.
        UsageProblem: a name may be several, or is not on the shelf and its figures are not given.
    """
    share_for_purpose(args)
    names = (args.motor, args.model, args.winder, getattr(args, "person", None))
    if not shelf_file(home).exists() or (not winding and args.ratio is not None and names == (None,) * len(names)):
        _needs_figures(args)
        return ResolvedNames()
    with ExitStack() as stack:
        try:
            shelf = stack.enter_context(shelf_at(home, reading=True))
        except Problem as problem:
            if args.loop is None or args.mass is None:
                raise
            return ResolvedNames(said=(f"{problem} Continuing without the shelf, with the values given.",))
        if winding:
            looked(home, shelf, newest=LOOKED_AT)
        return ShelfLookup(args, home, shelf, winding=winding).picked(simulated)


def _needs_figures(args: argparse.Namespace) -> None:
    """Refuse a winder that is known only by name."""
    if args.winder is not None and args.ratio is None:
        raise UsageProblem(
            f"--winder: there is no winder '{args.winder}' on the shelf: give its --ratio, or 'winder add' it first."
        )


class ShelfLookup:
    def __init__(self, args: argparse.Namespace, home: Home, shelf: Shelf, *, winding: bool) -> None:
        self._args, self._home, self._shelf, self._winding = args, home, shelf, winding
        self._named: dict[str, str] = {}
        self._said: list[str] = []
        self._doubts: list[str] = []

    def picked(self, simulated: bool) -> ResolvedNames:
        from winding_coach.shelf.records import Model, Motor, Person, Winder

        args = self._args
        motor = self._found(Motor, args.motor, given=args.loop is not None and args.mass is not None)
        if motor is not None:
            self._motor(motor, simulated)
        if args.winder is None and args.ratio is None:
            self._only_winder()
        winder = self._found(Winder, args.winder, given=args.ratio is not None)
        if winder is not None:
            self._named["winder"] = winder.name
            self._fill(ratio=f"{winder.ratio:.12g}", winder_limit=_typed(winder.limit_Nm, "N.m"))
        elif args.winder is not None:
            self._named["winder"] = args.winder
            _needs_figures(args)
        model = self._found(Model, args.model, given=args.hooks is not None)
        if model is None and args.model is not None and args.hooks is None and self._shelf.all(Model):
            self._doubts.append(
                f"There is no model '{args.model}' on the shelf, so its hooks and launch torque are not known from"
                " there. Mind the spelling, or 'model add' it."
            )
        if model is not None:
            args.model = model.name
            self._fill(hooks=_typed(model.hooks_m, "m"), launch_torque=_typed(model.launch_torque_Nm, "N.m"))
            self._fill(hand=model.hand)
        person = self._found(Person, getattr(args, "person", None), given=False)
        if person is not None:
            args.person = person.name
        elif getattr(args, "person", None) is not None and self._shelf.all(Person):
            self._doubts.append(
                f"There is no '{args.person}' among the people on the shelf: the wind is kept under that name. Mind the"
                " spelling, or 'person add' it."
            )
        if args.batch is not None:
            self._named.setdefault("batch", Path(args.batch).stem if "/" in args.batch else args.batch)
        last = LastTime() if motor is None else self._last_time(motor, simulated)
        doubts = tuple(self._doubts)
        more = {"shelf": self._named} if self._named else {}
        return ResolvedNames(more, (*self._said, *last.said, *doubts), doubts, last.turns_left)

    def _last_time(self, motor: Motor, simulated: bool) -> LastTime:
        hand = hand_of(self._args)
        return last_time(self._home, self._shelf, motor.name, hand, simulated=simulated)

    def _only_winder(self) -> None:
        """Take the only winder in use; where there are several, say that one has to be named."""
        from winding_coach.shelf.records import Winder
        from winding_coach.shelf.store import is_in_use

        winders = [winder for winder in self._shelf.all(Winder) if is_in_use(winder)]
        if len(winders) == 1:
            self._args.winder = winders[0].name
        elif winders and not self._home.settings.get("ratio"):
            several = ", ".join(f"{winder.name} ({winder.ratio:g}:1)" for winder in winders[:4])
            self._doubts.append(f"Which winder is it? On the shelf are {several}: name it with --winder.")

    def _found(self, kind: type[N], typed: str | None, *, given: bool) -> N | None:
        """Return the record that a name means; None if it is not on the shelf, or may be several.

        given: the figures are, so a name that is not quite one of the shelf's is another thing's.
        """
        from winding_coach.shelf.schema import ShelfError

        if typed is None:
            return None
        if given or self._shelf.has(kind, typed):
            return self._shelf.get(kind, typed) if self._shelf.has(kind, typed) else None
        try:
            return self._shelf.find(kind, typed)
        except ShelfError as error:
            if "type more" in str(error):
                raise UsageProblem(str(error)) from None
            return None

    def _motor(self, motor: Motor, simulated: bool) -> None:
        from winding_coach.rubber.motor import usual_share

        args = self._args
        if motor.state != "in_use" and self._winding:
            raise Problem(
                f"Motor {motor.name} is {motor.state}: take another, or 'motor edit {motor.name} --state in_use' if"
                " that is wrong."
            )
        args.motor = motor.name
        self._compare_loop(motor)
        loop_m = motor.loop_m if args.loop is not None else self._loop_now_m(motor, simulated)
        self._fill(
            loop=_typed(loop_m, "m"),
            mass=_typed(motor.mass_kg, "kg"),
            orings=_typed(motor.orings_kg, "kg"),
            strands=str(motor.strands),
        )
        if args.use is None:
            use = self._shelf.uses(motor.name, simulated=simulated) + 1
            args.use = str(use)
            share = (
                f"{usual_share(use):.0%} of breaking turns"
                if args.share is None
                else f"{args.share.rstrip('% ')} % as asked for"
            )
            self._said.append(f"Motor {motor.name}, wind {use}: {share}.")
        if args.batch is None and motor.batch is not None:
            from winding_coach.app.batches import batch_file

            self._named["batch"] = motor.batch
            if batch_file(motor.batch, self._home).exists():
                args.batch = motor.batch

    def _loop_now_m(self, motor: Motor, simulated: bool) -> float:
        """Return the length that a loop should have now: it grows in its first winds, and says so where it matters."""
        from winding_coach.app.loop_now import loop_of

        now = loop_of(motor, self._shelf.uses(motor.name, simulated=simulated))
        if now is None or not now.worth_measuring:
            return motor.loop_m
        units = units_from(self._args, self._home)
        now_m = now.expected_m
        since = counted(now.winds_since, "wind")
        self._doubts.append(
            f"Motor {motor.name} has had {since} since its loop was measured: {show(now_m, 'length', units)} is taken"
            f" instead of {show(motor.loop_m, 'length', units)}, by the growth to expect, which may be half as much or"
            f" half as much again. Measure it: motor edit {motor.name} --loop '{show(now_m, 'length', units)}'"
        )
        return now_m

    def _compare_loop(self, motor: Motor) -> None:
        """Say so when a motor has another length than the shelf knows: a used motor grows."""
        from winding_coach.app.typed import quantity

        args = self._args
        if args.loop is None or not self._winding:
            return
        units = units_from(args, self._home)
        given_m = quantity("--loop", args.loop, "length", units)
        if abs(given_m - motor.loop_m) >= SAME_LOOP_M:
            self._said.append(
                f"Motor {motor.name} is {show(given_m, 'length', units)} long now,"
                f" {show(motor.loop_m, 'length', units)} on the shelf: 'motor edit {motor.name} --loop"
                f' "{args.loop}"\' keeps it there.'
            )

    def _fill(self, **values: str | None) -> None:
        for name, value in values.items():
            if getattr(self._args, name) is None and value is not None:
                setattr(self._args, name, value)


def _typed(value_si: float | None, unit: str) -> str | None:
    """Return a figure as it would be typed, to twelve digits."""
    return None if value_si is None else f"{value_si:.12g} {unit}"


def after_the_wind(args: argparse.Namespace, home: Home, trace: Path) -> list[str]:
    """Log the wind that was just closed; return what to tell. A shelf in trouble costs no wind: it is told too."""
    from winding_coach.keeping.indexing import EMPTY

    try:
        with shelf_at(home) as shelf:
            found = looked(home, shelf, newest=LOOKED_AT)
            if found is None:
                return []
            if found.passed_over.get(trace.name) == EMPTY:
                return ["Nothing was wound, so this is not on the shelf; its trace is kept."]
            winds = [wind for wind in found.logged if Path(wind.trace).name == trace.name]
            return [line for wind in winds for line in _told(args, shelf, wind.id)]
    except Problem as problem:
        return [f"The wind is not on the shelf yet: {problem} The next start logs what its trace holds."]


def _told(args: argparse.Namespace, shelf: Shelf, wind_id: str) -> list[str]:
    from winding_coach.shelf.records import Motor

    wind = shelf.wind(wind_id)
    short = wind.id[:SHORT_ID]
    if wind.simulated:
        return [f"On the shelf as wind {short}, simulated. What happened in it: winding-coach review {short}"]
    lines = [f"On the shelf as wind {short}. After the flight: winding-coach flight 6:52 --left 180 --wind {short}"]
    if wind.outcome == "gone":
        lines = [f"On the shelf as wind {short}. If the motor broke: winding-coach flight broke --wind {short}"]
    if wind.motor is not None and not shelf.has(Motor, wind.motor):
        words = [f"--{name} '{getattr(args, name)}'" for name in ("loop", "mass", "orings") if getattr(args, name)]
        lines.append(
            f"Motor {wind.motor} is not on the shelf: winding-coach motor add '{wind.motor}' {' '.join(words)}"
        )
    return lines


def tell(lines: tuple[str, ...] | list[str]) -> None:
    """Say it beside the results, which stdout is for."""
    for line in lines:
        print(line, file=sys.stderr)
