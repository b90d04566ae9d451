"""Tables of the search: what each untruth does, the faults planted in the coach, turns that were in the motor."""

from __future__ import annotations

import json
import math
import statistics
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from tests.bench.truth_search import fingerprint, share
from tests.trust.truth.planted import FAULTS, Fault
from tests.trust.truth.untruths import Untruth
from tests.trust.truth.wind import Outcome, wound
from tests.trust.truth.world import HOOKS_SHARE, USUAL, World, _plan, world
from winding_coach.rubber.figures import MotorFigures, Plan
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.path import PlanPath
from winding_coach.simulator.motor import SimulatedMotor

TABLE: dict[str, tuple[World, ...]] = {
    "nothing untrue": (World(), World(channels="c"), World(channels="")),
    "one line d=8190 in mid-wind": tuple(
        World(untruths=(Untruth("absurd distance", 8190, at, 0.02),)) for at in (0.3, 0.5)
    ),
    "one line d=0": tuple(World(untruths=(Untruth("absurd distance", 0, at, 0.02),)) for at in (0.3, 0.6)),
    "reading stuck, pulses run": tuple(
        World(channels=channels, untruths=(Untruth("raw frozen", 0.0, at),))
        for channels in ("c", "")
        for at in (0.3, 0.75)
    ),
    "reading and pulses stuck": tuple(
        World(channels="c", untruths=(Untruth("all frozen", 0.0, at),)) for at in (0.3, 0.75)
    ),
    "torque negative": tuple(
        World(channels=channels, untruths=(Untruth("torque negative", -1.0),)) for channels in ("c", "")
    ),
    "gain × 0.1": tuple(World(channels=channels, untruths=(Untruth("gain", 0.1),)) for channels in ("c", "")),
    "gain × 0.5": tuple(World(channels=channels, untruths=(Untruth("gain", 0.5),)) for channels in ("c", "")),
    "ratio 16 typed as 10": (World(ratio=16.0, channels="c", untruths=(Untruth("ratio typed", 10 / 16),)),),
    "ratio 10 typed as 16": (World(channels="c", untruths=(Untruth("ratio typed", 1.6),)),),
    "30-50 % of pulses lost": tuple(World(channels="c", untruths=(Untruth("pulses lost", p),)) for p in (0.3, 0.5)),
    "zero steps by 25 % of the peak": tuple(
        World(channels="c", untruths=(Untruth("zero steps", share, at),))
        for share in (-0.25, 0.25)
        for at in (0.3, 0.97)
    ),
    "gain falls to 0.6, 0.3 in mid-wind": tuple(
        World(channels="c", untruths=(Untruth("gain falls", gain, at),)) for gain in (0.6, 0.3) for at in (0.3, 0.7)
    ),
    **{
        f"{turns} turns in the motor": tuple(
            World(channels=channels, untruths=(Untruth("turns in", float(turns)),)) for channels in ("c", "")
        )
        for turns in (60, 100, 150, 250)
    },
    "link that delivers 92 %": (World(channels="c", untruths=(Untruth("backlog", 0.92),)),),
    "slips off, back after 8 s": tuple(
        World(channels=channels, untruths=(Untruth("slips off", kept, at),))
        for channels in ("c", "")
        for kept, at in ((1.0, 0.4), (0.9, 0.8))
    ),
    "zero with a weight on the hook": tuple(
        World(channels="c", untruths=(Untruth("weight at tare", share),)) for share in (0.25, 0.6, -0.25)
    ),
    "zero with a wound motor on the hook": tuple(
        World(channels="c", untruths=(Untruth("wound motor at tare", turns),)) for turns in (80.0, 200.0)
    ),
}
"""The invented motor th-07 (target 1310 turns, breaks at 1637), nothing of scatter; the person obeys."""


def table(persons: int) -> Iterator[str]:
    """Give what each row does, with so many persons each."""
    yield "| what was untrue | winds | past by 3 % | most | broke | dangers said | rules broken |"
    yield "|---|---|---|---|---|---|---|"
    for name, worlds in TABLE.items():
        done = [
            wound(replace(one, seed=1_000_000 + person, walks=("spread", "at once")[person % 2]))
            for one in worlds
            for person in range(persons)
        ]
        yield f"| {name} | {len(done)} | {_counts(done)}"


def _counts(done: list[Outcome]) -> str:
    past = sum(one.most > 1.03 for one in done)
    most = max(one.most for one in done)
    at = [one.broke_at for one in done if one.broke_at is not None]
    broke = f"{len(at)}" + (f" (from {min(at):.2f})" if at else "")
    dangers = Counter(code for one in done for code in one.dangers)
    rules = Counter(rule for one in done for rule in one.broken_rules)
    return f"{past} | {most:.2f} | {broke} | {_listed(dangers)} | {_listed(rules)} |"


def _listed(counts: Counter[str]) -> str:
    return "; ".join(f"{name} {number}" for name, number in counts.most_common()) or "-"


def planted(seed: int, most: int = 40) -> Iterator[str]:
    """Plant each fault, and search until it is found."""
    for name, fault in FAULTS.items():
        tried, found = _hunt(fault, seed, most)
        if found is None:
            yield f"{name:<42} survived {tried} winds"
            continue
        row, outcome = found
        rule = next(rule for rule in outcome.broken_rules if rule in fault.rules)
        sound = rule in wound(row).broken_rules
        beside = " (the real coach breaks it there too)" if sound else ""
        yield f"{name:<42} found in wind {tried}, seed {row.seed}: {rule} {outcome.broken_rules[rule][:110]}{beside}"


def _hunt(fault: Fault, seed: int, most: int) -> tuple[int, tuple[World, Outcome] | None]:
    tried, shared = 0, None
    for number in range(seed, seed + 5_000):
        drawn = world(number)
        kinds = [one.kind for one in drawn.untruths]
        if fault.kinds == ("",):
            if kinds or drawn.person != "obeys" or drawn.limit is not None:
                continue
        elif fault.kinds and not set(kinds) & set(fault.kinds):
            continue
        tried += 1
        outcome = wound(drawn, fault.make)
        if set(outcome.broken_rules) & set(fault.rules):
            rule = next(rule for rule in outcome.broken_rules if rule in fault.rules)
            if rule not in wound(drawn).broken_rules:
                return tried, (drawn, outcome)
            shared = drawn, outcome
        if tried >= most:
            break
    return tried, shared


TURNS_IN = (0.0, 60.0, 100.0, 150.0, 250.0)


def turns_in(winds: int, seed: int, path: Path | None) -> Iterator[str]:
    """Give the share past the target and broken beyond own risk, by turns in the motor, with a crank sensor and not."""
    mark = fingerprint()
    kept: dict[str, dict[str, Any]] = {}
    if path is not None and path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            if row["sources"] == mark:
                kept[row["key"]] = row
    yield (
        "| turns in | crank sensor | winds | past by 3 % | of who obey | by 6 % | broken beyond an empty motor's risk |"
        " beyond its own with the turns | turns at most, median |"
    )
    yield "|---|---|---|---|---|---|---|---|---|"
    for channels in ("c", ""):
        for turns in TURNS_IN:
            rows = []
            for number in range(seed, seed + winds):
                key = f"{channels} {turns} {number}"
                if key not in kept:
                    untruths = (Untruth("turns in", turns),) if turns else ()
                    drawn = replace(world(number), channels=channels, limit=None, untruths=untruths)
                    done = wound(drawn)
                    worst = _worst(drawn.motor, drawn.ratio, drawn.hooks_m, drawn.turns_in)[1]
                    row = {
                        "person": drawn.person,
                        "own": worst > drawn.breaks_at,
                        "most": done.most,
                        "turns": done.most_turns,
                        "broke": done.broke,
                        "risk": done.risk,
                        "ended": done.ended,
                    }
                    kept[key] = row | {"sources": mark, "key": key, "rules": sorted(done.broken_rules)}
                    if path is not None:
                        with path.open("a", encoding="utf-8") as file:
                            file.write(json.dumps(kept[key]) + "\n")
                rows.append(kept[key])
            past = share(row["turns"] > 1.03 for row in rows)
            far = share(row["turns"] > 1.06 for row in rows)
            obeyed = share(row["turns"] > 1.03 for row in rows if row["person"] == "obeys")
            broke = share(row["broke"] and not row["risk"] for row in rows)
            own = share(row["broke"] and not row["own"] for row in rows)
            middle = statistics.median(row["turns"] for row in rows)
            sensor = "yes" if channels else "no"
            shares = " | ".join((past, obeyed, far, broke, own))
            yield f"| {turns:.0f} | {sensor} | {len(rows)} | {shares} | {middle:.3f} |"


def ideal() -> Iterator[str]:
    """Give what nobody can do better: the plan's own path with turns in a motor that was slack, and the torque of the
    plan as the only limit."""
    yield "| turns in | knots' disorder before the first turn | chance to break on the plan's own path: wind 1, 2, 3 |"
    yield "|---|---|---|"
    for turns in TURNS_IN:
        led = [_led(replace(USUAL, use=use), turns) for use in (1, 2, 3)]
        chances = ", ".join(f"{chance:.1%}" for _, chance in led)
        yield f"| {turns:.0f} | {led[0][0]:.3f} | {chances} |"
    plan = _plan(USUAL, 10.0, round(HOOKS_SHARE * USUAL.loop_m, 3))
    path = PlanPath(plan, USUAL)
    for lower in (0.0, 0.01, 0.02, 0.03, 0.04):
        ends = [_ends_at(path, plan, (1.0 - lower) / (0.92 + 0.16 * n / 400)) for n in range(401)]
        past = sum(end > 1.03 for end in ends) / len(ends)
        middle = statistics.median(ends)
        yield f"torque alone, {lower:.0%} below the plan's peak: {past:.1%} past by 3 %, median {middle:.3f}"


def _led(figures: MotorFigures, turns: float) -> tuple[float, float]:
    """Lead a motor with turns in it along its plan: the disorder before the first turn, and the chance to break."""
    before, worst = _worst(figures, 10.0, round(HOOKS_SHARE * figures.loop_m, 3), turns)
    share = (worst / DEFAULT_RUBBER.break_stretch) ** DEFAULT_RUBBER.break_shape
    return before, 1.0 - math.exp(-math.log(2.0) * share)


@lru_cache(maxsize=256)
def _worst(figures: MotorFigures, ratio: float, hooks_m: float, turns: float) -> tuple[float, float]:
    """The disorder before the first turn, and the largest strand stretch with it, on the plan's own path."""
    plan = _plan(figures, ratio, hooks_m)
    path, motor = PlanPath(plan, figures), SimulatedMotor(figures, strength_u=1e-9, hooks_m=hooks_m)
    if turns:
        motor.move(turns, figures.loop_m, 1.0)
    for step in range(1, 41):
        motor.move(turns, figures.loop_m + (plan.stretch_distance_m - figures.loop_m) * step / 40, 0.1)
    before, worst = motor.looseness, 0.0
    while turns < plan.target_turns:
        turns = min(turns + 1.2, plan.target_turns)
        motor.move(turns, plan.stretch_distance_m if turns < plan.stretched_turns else path.distance_at(turns), 0.1)
        worst = max(worst, motor.strand_stretch * (1.0 + motor.looseness))
    return before, worst


def _ends_at(path: PlanPath, plan: Plan, of_peak: float) -> float:
    """Turns over the target where the plan's motor shows so much of its peak torque."""
    turns = 0.7 * plan.target_turns
    while path.torque_at(turns) < of_peak * plan.peak_torque_Nm and turns < 1.3 * plan.target_turns:
        turns += 1.0
    return turns / plan.target_turns


def show(what: str, winds: int, seed: int, path: Path | None) -> None:
    """Print a table as it grows."""
    lines: dict[str, Callable[[], Iterator[str]]] = {
        "table": lambda: table(2),
        "planted": lambda: planted(seed),
        "ideal": ideal,
        "turns-in": lambda: turns_in(winds, seed, path),
    }
    for line in lines[what]():
        print(line, flush=True)
