"""How well the rubber is learned: `python -m tests.bench.learning [--batches N] [--winds N] [--season]`.

Rubbers of a wider family than the law (`rubber_family`) are wound by invented hands, learned from by `rubber.learning`,
and asked for six things that a plan uses: the stated 90 % must hold the truth in 87 to 93 of a hundred. Seeds of a
judgement are used nowhere else.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from tests.bench.rubber_family import HOOKS_SHARE, TrueMotor, TrueRubber, batch, person
from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.learned import Learned, Mark, WindMarks
from winding_coach.rubber.learning import forecast, learn, shrunk
from winding_coach.rubber.strength import Wound, strength_of

SEEDS = {"tuning": 3_000_000, "judging": 7_000_000, "judging again": 11_000_000, "season": 13_000_000}
Moment = tuple[float, float, float]
"""Seconds, turns, distance."""


def figures_drawn(rng: np.random.Generator, use: int) -> MotorFigures:
    """A motor as labelled."""
    loop = float(rng.uniform(0.22, 0.42))
    return MotorFigures(loop, float(rng.uniform(1.6e-3, 3.4e-3)) * 2 * loop, use=use)


def way(
    motor: TrueMotor, rng: np.random.Generator | None, share: float, *, stop_s: float, unwind: bool, back_off: float
) -> list[Moment]:
    """The moments of one wind: out, full stretch, walk in, up, back; with rng uneven, without it even."""
    loop = motor.figures.loop_m
    hooks, target = HOOKS_SHARE * loop, share * motor.breaks(HOOKS_SHARE * loop)
    top = motor.solve(hooks, target)
    out = 0.73 * top * loop
    walk = 0.915 * top
    first = math.sqrt(walk * (walk**2 - (out / loop) ** 2)) / motor.per_turn
    last = math.sqrt(walk * (walk**2 - HOOKS_SHARE**2)) / motor.per_turn
    pace = 12.0 if rng is None else float(rng.uniform(8.0, 20.0))
    moments = [(0.4, 0.0, loop + (out - loop) * i / 15) for i in range(1, 16)]
    moments.append((4.0, 0.0, out))
    moments += [(first / 40 / pace, first * i / 40, out) for i in range(1, 41)]
    if stop_s:
        moments += [(stop_s * part, first, out) for part in (0.02, 0.08, 0.2, 0.3, 0.4)]
    for i in range(1, 61):
        turns = first + (last - first) * i / 60
        y = walk
        if rng is not None:
            y *= 1.0 - abs(float(rng.normal(0.0, 0.006)))
        at = loop * math.sqrt(max(y * y - (motor.per_turn * turns) ** 2 / y, HOOKS_SHARE**2))
        moments.append(((last - first) / 60 / pace, turns, at))
    moments += [((target - last) / 40 / pace, last + (target - last) * i / 40, hooks) for i in range(1, 41)]
    moments.append((1.0, target, hooks))
    moments += [(back_off * target / 20 / 6, target * (1 - back_off * i / 20), hooks) for i in range(1, 21)]
    if unwind:
        left = target * (1 - back_off)
        moments += [(left / 60 / 8, left * (1 - i / 60), hooks) for i in range(1, 59)]
    return moments


def wound(rubber: TrueRubber, rng: np.random.Generator, number: int) -> WindMarks:
    """Wind one motor of a batch and log it as a meter with crank and distance would, errors included."""
    use = 1 + number % 3
    label = figures_drawn(rng, use)
    true = replace(
        label, loop_m=label.loop_m + float(rng.normal(0, 1e-3)), mass_kg=label.mass_kg + float(rng.normal(0, 5e-6))
    )
    motor = TrueMotor(rubber, true, float(math.exp(rng.normal(0.0, rubber.motor_sd))))
    moments = way(
        motor,
        rng,
        float(rng.uniform(0.78, 0.92)),
        stop_s=60.0 if rng.random() < 0.4 else 0.0,
        unwind=bool(rng.random() < 0.4),
        back_off=float(rng.uniform(0.02, 0.06)),
    )
    seen = []
    for dt, turns, at in moments:
        motor.move(turns, at, dt)
        seen.append(motor.torque)
    top = max(seen)
    zero, off_m = float(rng.normal(0.0, 0.003 * top)), float(rng.normal(0.0, 0.004))
    marks = []
    for i, ((dt, turns, at), torque) in enumerate(zip(moments, seen, strict=True)):
        told = turns > 20 and i % 3 == 0
        noisy = torque + zero + float(rng.normal(0.0, 0.004 * top))
        marks.append(Mark(dt, turns + float(rng.uniform(-0.5, 0.5)) * (turns > 0), at + off_m, noisy if told else None))
    return WindMarks(label, HOOKS_SHARE * label.loop_m + off_m, tuple(marks))


STANDARD = MotorFigures(0.31, 1.45e-3, use=3)
ASKED = (
    "torque at full stretch",
    "peak torque",
    "torque after the back-off, over the peak",
    "torque left by a stop of a minute",
    "new rubber over broken in",
    "torque half unwound, over the peak",
)


def protocol() -> tuple[list[WindMarks], Callable[[Sequence[float]], list[float]]]:
    """Return two winds of a standard motor, with marks where it is asked, and what is made of their torques."""
    general = TrueMotor(batch_like_law(), STANDARD)
    moments = way(general, None, 0.88, stop_s=60.0, unwind=True, back_off=0.03)
    kept = {55, 60, 161, 162, 182, 210}
    third = [Mark(dt, n, d, 1.0 if i in kept else None) for i, (dt, n, d) in enumerate(moments)]
    first = [Mark(dt, n, d, 1.0 if i == 55 else None) for i, (dt, n, d) in enumerate(moments[:56])]
    hooks = HOOKS_SHARE * STANDARD.loop_m
    winds = [WindMarks(STANDARD, hooks, tuple(third)), WindMarks(replace(STANDARD, use=1), hooks, tuple(first))]

    def asked(torques: Sequence[float]) -> list[float]:
        before, after, peak, _, backed, half, new = torques
        return [before, peak, backed / peak, after / before, new / before, half / peak]

    return winds, asked


def batch_like_law() -> TrueRubber:
    """The middle of the family, only to lay out the standard wind."""
    rng = np.random.default_rng(1)
    found = batch(rng, np.zeros(7))
    return replace(found, median=DEFAULT_RUBBER.break_stretch)


def truth(rubber: TrueRubber, winds: Sequence[WindMarks]) -> list[float]:
    """The torques of the standard winds by the true rubber."""
    found = []
    for wind in winds:
        motor = TrueMotor(rubber, wind.motor)
        for mark in wind.marks:
            motor.move(mark.turns, mark.distance_m, mark.dt_s)
            if mark.torque_Nm is not None:
                found.append(motor.torque)
    return found


def judge(batches: int, winds: int, seeds: str, others: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return for each batch and thing asked: whether the interval held it, the error, and the error of the default."""
    standard, asked = protocol()
    held, errors, plain = [], [], []
    nothing = shrunk(None, [])
    for number in range(batches):
        rng = np.random.default_rng(SEEDS[seeds] + number)
        whose = person(rng)
        others_learned = []
        for _ in range(others):
            other = batch(rng, whose)
            others_learned.append(learn([wound(other, rng, i) for i in range(3)]))
        true = batch(rng, whose)
        own: Learned | None = learn([wound(true, rng, i) for i in range(winds)]) if winds else None
        learned = shrunk(own, others_learned)
        wanted = np.log(asked(truth(true, standard)))
        found = forecast(learned, standard, lambda torques: [math.log(one) for one in asked(torques)])
        held.append([low <= want <= high for want, (_, low, high) in zip(wanted, found, strict=True)])
        errors.append([value - want for want, (value, _, _) in zip(wanted, found, strict=True)])
        default = forecast(nothing, standard, lambda torques: [math.log(one) for one in asked(torques)])
        plain.append([value - want for want, (value, _, _) in zip(wanted, default, strict=True)])
    return np.array(held), np.array(errors), np.array(plain)


SEASON = (0, 1, 2, 4, 8)


def strengths(rubber: TrueRubber, rng: np.random.Generator, motors: int) -> list[Wound]:
    """Motors of a batch wound evenly to 86-101 % of the believed median stretch, broken or not."""
    found = []
    for _ in range(motors):
        strength = rubber.median * (-math.log(rng.random()) / math.log(2)) ** (1 / rubber.shape)
        reached = float(rng.uniform(8.3, 9.7))
        found.append(Wound(min(strength, reached), strength <= reached))
    return found


def season(batches: int) -> list[str]:
    """Return, by winds logged of a batch, the error of the peak torque that is planned, and of the breaking turns."""
    standard, asked = protocol()
    torque: dict[int, list[float]] = {logged: [] for logged in SEASON}
    turns: dict[int, list[float]] = {logged: [] for logged in SEASON}
    for number in range(batches):
        rng = np.random.default_rng(SEEDS["season"] + number)
        true = batch(rng, person(rng))
        winds = [wound(true, rng, i) for i in range(max(SEASON))]
        broken = strengths(true, rng, max(SEASON))
        wanted = math.log(asked(truth(true, standard))[1])
        for logged in SEASON:
            learned = shrunk(learn(winds[:logged]) if logged else None, [])
            value = forecast(learned, standard, lambda torques: [math.log(asked(torques)[1])])[0][0]
            torque[logged].append(value - wanted)
            median = strength_of(broken[:logged]).break_stretch.value
            turns[logged].append(1.5 * math.log(median / true.median))
    rms = [[math.sqrt(float(np.mean(np.square(of[logged])))) for logged in SEASON] for of in (torque, turns)]
    return [f"| {logged} | {a:.1%} | {b:.1%} |" for logged, a, b in zip(SEASON, *rms, strict=True)]


def main() -> None:
    """Print coverage and errors."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.learning", description=__doc__)
    parser.add_argument("--batches", type=int, default=60)
    parser.add_argument("--winds", type=int, default=3)
    parser.add_argument("--others", type=int, default=0, help="other batches of the same person")
    parser.add_argument("--seeds", choices=SEEDS, default="tuning")
    parser.add_argument("--season", action="store_true", help="errors of a plan by the winds logged")
    args = parser.parse_args()
    if args.season:
        print("\n".join(season(args.batches)))
        return
    held, errors, plain = judge(args.batches, args.winds, args.seeds, args.others)
    print(f"{args.batches} batches of {args.winds} winds, {args.others} other batches, seeds {args.seeds}")
    for i, name in enumerate(ASKED):
        share = held[:, i].mean()
        rms, before = (math.sqrt(float((one[:, i] ** 2).mean())) for one in (errors, plain))
        print(f"| {name} | {share:.1%} | {rms:.1%} | {before:.1%} |")
    print(f"| together | {held.mean():.1%} of {held.size} | | |")


if __name__ == "__main__":
    main()
