"""Forty winds ranked by what was truly done to the motor, and by the score that each was given: Kendall's tau.

    python -m tests.bench.ranking [--winds 40] [--seed 3300000] [--rows FILE]

Written apart from the score: the true harm knows the motor, its strand stretch and the three laws of what loosens
knots, and nothing of what the program measured. The winds are walkers' of `tests.bench.walkers`, alone and coached,
and even hands with one graded fault each. Weights of harm are assumed: each is the share of a flight that is lost.
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import kendalltau

from tests.bench.walkers.judging import even_risk
from tests.bench.walkers.motor import LAWS, WalkedMotor
from tests.bench.walkers.people import draw
from tests.bench.walkers.winding import HOOKS_M, LABELLED, PLAN, SETTINGS, TICK_S, Cell, Wound, _Wind, plan_of
from tests.bench.walkers.wire import Wire
from winding_coach.base.inputs import BytesArrived, Ended, Input, LinkUp
from winding_coach.review.wind.happened import review

FEET = ("shuffles", "strides", "at once", "walks")
HARMLESS_LAUNCH = 0.03
"""A launch torque this far off is trimmed by no one (common practice, no source)."""
DANGER = 1.06
"""Torque over the target's from which on a wind was in danger whatever became of it."""


@dataclass(frozen=True, slots=True)
class Harm:
    """What a wind did: shares of a flight, SI where not. risk: chance to break, the mean over the three laws."""

    risk: float
    even: float
    disorder: float
    turns_lost: float
    launch_off: float
    past: float

    @property
    def whole(self) -> float:
        """What is lost of the flight that the plan promised, on average."""
        flown = (1.0 - self.risk) * (1.0 - self.turns_lost) * (1.0 - min(self.launch_off, 1.0))
        return 1.0 - flown / (1.0 - self.even) + self.disorder


@dataclass(frozen=True, slots=True)
class Case:
    """A wind to be judged: where it comes from, what a meter sent of it, and what it did."""

    name: str
    inputs: tuple[Input, ...]
    harm: Harm


def harm_of(motor: WalkedMotor, turns: float, peak_Nm: float, launch: tuple[float, float] | None) -> Harm:
    """Return the harm of a wind that ended with these true peak turns, peak torque, launch turns and torque."""
    risk = sum(motor.risk(law) for law in LAWS) / len(LAWS)
    even = sum(even_risk().values()) / len(LAWS)
    loosened = sum(motor.slack.values()) / len(LAWS)
    at, launch_Nm = launch or (0.0, math.inf)
    lost = max(1.0 - at / PLAN.launch_turns, 0.0)
    off = max(abs(launch_Nm / PLAN.launch_torque_Nm - 1.0) - HARMLESS_LAUNCH, 0.0) if launch else 1.0
    return Harm(
        1.0 if motor.broken else risk, even, loosened, lost, off, peak_Nm / PLAN.peak_torque_Nm if turns else 0.0
    )


class _Kept:
    """In the coach's place: keeps what came, and hands on what a coach said, if there is one."""

    def __init__(self, inner: Any) -> None:
        self.inner, self.inputs = inner, list[Input]()

    def step(self, event: Input) -> list[dict[str, Any]]:
        """Keep one input."""
        self.inputs.append(event)
        return [] if self.inner is None else list(self.inner.step(event))


class _Recorded(_Wind):
    """A walker's wind with all inputs kept."""

    def __init__(self, cell: Cell, seed: int) -> None:
        super().__init__(cell, seed, None, None)
        self.kept = _Kept(self._leader)
        self._leader = self.kept

    def case(self, name: str) -> Case:
        """Wind it."""
        wound: Wound = self.run()
        launch = (
            None if wound.launch_Nm is None or wound.launch_turns is None else (wound.launch_turns, wound.launch_Nm)
        )
        return Case(name, tuple(self.kept.inputs), harm_of(self._motor, wound.peak_turns, wound.peak_Nm, launch))


def walked(led: str, feet: str, seed: int) -> Case:
    """Return a walker's wind; the motor is empty and as labelled, the meter has pulses and a distance sensor."""
    cell = Cell(led=led, channels="cd", feet=feet, plain=True)
    recorded = _Recorded(cell, seed)
    return recorded.case(f"{led}, {feet}, {seed}")


HANDS_PER_S, BACK_PER_S = 12.0, 8.0
"""Motor turns a second."""
OUT_M_PER_S, IN_M_PER_S = 0.4, 0.5
HOOKED_S, HELD_S, GIVEN_UP_S = 4.0, 6.0, 300.0


class _Even:
    """Hands that crank evenly along the plan's path, with one fault of a given size."""

    def __init__(self, fault: str, amount: float, seed: int) -> None:
        self.fault, self.amount = fault, amount
        drawn = replace(draw(seed, plain=True, lines_per_s=80.0), scale=1.0, pulses_lost=0.0)
        self.motor = WalkedMotor(LABELLED, torque_scale=1.0, hooks_m=HOOKS_M)
        self._wire = Wire(drawn, "cd", SETTINGS.winder.ratio, PLAN.peak_torque_Nm, np.random.default_rng([seed, 33]))
        self._path = plan_of(1.0)[2]
        past = {"past": amount, "short": -amount}.get(fault, 0.0)
        self._peak_turns = PLAN.target_turns * (1.0 + past)
        self._walk_turns = PLAN.target_turns - PLAN.stretched_turns
        self._pause_s = amount if fault == "stops" else 0.0
        self._goal_m = PLAN.stretch_distance_m
        self._stands_m = LABELLED.loop_m
        self._backing = False
        self._held_s = 0.0
        self.turns = self.peak_turns = self.peak_Nm = 0.0

    def run(self) -> tuple[Input, ...]:
        """Wind to launch; return what the meter sent."""
        inputs: list[Input] = [LinkUp(0.0, "bench")]
        at_s = 0.0
        while self._held_s < HELD_S and at_s < GIVEN_UP_S:
            at_s = round(at_s + TICK_S, 6)
            hooked = at_s > HOOKED_S
            if hooked:
                self._move()
            self.motor.move(self.turns, self._stands_m, TICK_S)
            torque_Nm = self.motor.torque_Nm if hooked else 0.0
            if self.turns > self.peak_turns - 20.0:
                self.peak_Nm = max(self.peak_Nm, torque_Nm)
            self.peak_turns = max(self.peak_turns, self.turns)
            rev = self.turns / SETTINGS.winder.ratio
            data = self._wire.advance(TICK_S, torque_Nm, rev, self._stands_m, self.motor.now.knotted)
            if data:
                inputs.append(BytesArrived(at_s, data))
        return (*inputs, Ended(at_s))

    def _move(self) -> None:
        if self._backing:
            self._back_off()
        elif self.turns == 0.0 and self._stands_m < PLAN.stretch_distance_m:
            self._stands_m = min(self._stands_m + OUT_M_PER_S * TICK_S, PLAN.stretch_distance_m)
        else:
            self._crank()
            self._stands_m = max(min(self._wanted_m(), self._stands_m), self._stands_m - IN_M_PER_S * TICK_S)
            self._backing = self.turns >= self._peak_turns and self._stands_m <= HOOKS_M + 0.02

    def _crank(self) -> None:
        if self.turns - PLAN.stretched_turns > 0.5 * self._walk_turns and self._pause_s > 0.0:
            self._pause_s -= TICK_S
        else:
            self.turns = min(self.turns + HANDS_PER_S * TICK_S, self._peak_turns)

    def _wanted_m(self) -> float:
        late = {"late": self.amount, "early": -self.amount}.get(self.fault, 0.0) * self._walk_turns
        # Who means to stop early is at the hooks by then.
        way = max(PLAN.target_turns / self._peak_turns, 1.0)
        wanted_m = max(self._path.distance_at(max(self.turns * way - late, 0.0)), HOOKS_M)
        if self.fault != "strides" or wanted_m <= HOOKS_M:
            return wanted_m
        if self._goal_m - wanted_m >= self.amount:
            self._goal_m -= self.amount
        return self._goal_m

    def _back_off(self) -> None:
        too_high = self.amount if self.fault == "launch" else 0.0
        if self.motor.torque_Nm > PLAN.launch_torque_Nm * (1.0 + too_high) and self._held_s == 0.0:
            self.turns -= BACK_PER_S * TICK_S
        else:
            self._held_s += TICK_S


def even(fault: str, amount: float, seed: int) -> Case:
    """Return a wind of even hands with one fault of a given size; amount 0 is none.

    fault: `late` (steps in a share of the walk-in's turns late), `early`, `past` (share of the target's turns too
    many), `short`, `stops` (seconds the crank stands in the walk-in), `launch` (share of the launch torque too high),
    `strides` (metres a step).
    """
    hands = _Even(fault, amount, seed)
    inputs = hands.run()
    launch = None if hands.motor.broken else (hands.turns, hands.motor.torque_Nm)
    return Case(f"even, {fault} {amount:g}", inputs, harm_of(hands.motor, hands.peak_turns, hands.peak_Nm, launch))


GRADED = (
    ("none", 0.0),
    ("past", 0.02),
    ("past", 0.05),
    ("short", 0.05),
    ("short", 0.15),
    ("stops", 4.0),
    ("stops", 12.0),
    ("launch", 0.12),
    ("launch", 0.30),
    ("strides", 0.12),
    ("strides", 0.35),
    ("late", 0.15),
    ("early", 0.10),
    ("early", 0.25),
)


def cases(winds: int, seed: int) -> Iterator[Case]:
    """Give so many winds: a third even hands with a fault, the rest walkers alone and coached in turns."""
    for number in range(winds):
        part, which = number % 3, number // 3
        if part == 0:
            fault, amount = GRADED[which % len(GRADED)]
            yield even(fault, amount, seed + number)
        else:
            yield walked("alone" if part == 1 else "coach", FEET[which % len(FEET)], seed + number)


def rows(winds: int, seed: int) -> Iterator[dict[str, Any]]:
    """Give each wind's harm and score."""
    for case in cases(winds, seed):
        found = review(SETTINGS, case.inputs)
        harm = case.harm
        yield {
            "wind": case.name,
            "harm": round(harm.whole, 4),
            "risk": round(harm.risk, 4),
            "disorder": round(harm.disorder, 4),
            "turns_lost": round(harm.turns_lost, 4),
            "launch_off": round(harm.launch_off, 4),
            "past": round(harm.past, 4),
            "score": found.score,
            "better": found.better,
            "aims": {one.aim: None if one.score is None else round(one.score) for one in found.aims},
        }


def agreement(found: list[dict[str, Any]]) -> tuple[float, int]:
    """Return Kendall's tau-b of score against less harm, and over how many scored winds."""
    scored = [row for row in found if row["score"] is not None]
    return float(kendalltau([row["score"] for row in scored], [-row["harm"] for row in scored]).statistic), len(scored)


def main() -> None:
    """Print the table, worst harm first."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--winds", type=int, default=40)
    parser.add_argument("--seed", type=int, default=3_300_000)
    parser.add_argument("--rows", type=Path)
    asked = parser.parse_args()
    found = list(rows(asked.winds, asked.seed))
    if asked.rows:
        asked.rows.write_text("".join(json.dumps(row) + "\n" for row in found), encoding="utf-8")
    print("harm   risk   disorder lost  launch past  score wind; what would have been better")
    for row in sorted(found, key=lambda row: -row["harm"]):
        score = "  --" if row["score"] is None else f"{row['score']:4.0f}"
        print(
            f"{row['harm']:6.3f} {row['risk']:6.3f} {row['disorder']:6.3f} {row['turns_lost']:6.3f}"
            f" {row['launch_off']:6.3f} {row['past']:6.3f} {score}  {row['wind']}; {row['better']}"
        )
    tau, count = agreement(found)
    high = [row for row in found if (row["score"] or 0.0) > 90.0]
    print(f"\nKendall's tau-b {tau:.2f} over {count} winds; {len(high)} of them score more than 90")
    print(f"of those in danger (torque past {DANGER:g} of the target): ", end="")
    print(
        ", ".join(f"{row['score']:.0f}" for row in found if row["past"] > DANGER and row["score"] is not None) or "none"
    )


if __name__ == "__main__":
    main()
