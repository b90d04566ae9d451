"""How close advice comes to the best motor: simulated people, models whose best is known by brute force, baselines.

`python -m tests.bench.advice [--models 24] [--seed 5]` prints the tables that `tests/bench/advice.md` holds (some two
minutes of one core). The constants were settled on models of seeds 1 to 3.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context

import numpy as np

from tests.review.flying import Flyer, Size, best_size, random_model, true_duration
from winding_coach.review.advice.advice_words import Advice, density_of
from winding_coach.review.advice.advise import WORTH_IT, Advised, advise
from winding_coach.review.advice.flight_fit import fit_flights, usable
from winding_coach.review.advice.flown import Flown, all_flown
from winding_coach.review.advice.next_motor import base_of, best_changes, best_flown, options
from winding_coach.review.advice.rules_of_thumb import rule_for
from winding_coach.shelf.records import Model

AFTER = (1, 3, 6, 10)
"""Flights after which is looked."""
FLIGHTS = max(AFTER)


def nearest(flyer: Flyer, flown_at: str) -> Size:
    """Return the size that was flown then."""
    return next(size for wind, size in zip(flyer.winds, flyer.sizes, strict=True) if wind.started == flown_at)


def advised_by(flyer: Flyer) -> Advised:
    """Ask for advice as the command does."""
    return advise(flyer.winds, flyer.flights, flyer.shelf_model)


def followed(flyer: Flyer, item: Advice) -> Size:
    """Return the size that an item of advice asks for: as precisely as hands cut and people launch."""
    last = flyer.sizes[-1]
    loop, density = last.loop_m, last.density_kg_per_m
    if item.motor is not None:
        loop, density = item.motor.loop_m, density_of(item.motor)
    launch = last.launch_Nm if item.torque_Nm is None else item.torque_Nm
    about = [float(1.0 + sd * flyer.rng.standard_normal()) for sd in (0.005, 0.005, 0.02)]
    return Size(loop * about[0], density * about[1], launch * about[2])


def by_advice(flyer: Flyer) -> Size:
    """Do the first thing advised; where that is to keep the motor, the flight that tells most."""
    advised = advised_by(flyer)
    item = next((one for one in advised.items if one.topic in ("motor", "launch")), None)
    if item is not None and item.topic == "motor" and item.gain is None:
        item = next((one for one in advised.items if one.topic == "experiment"), item)
    return flyer.sizes[-1] if item is None else followed(flyer, item)


def by_rules(flyer: Flyer) -> Size:
    """Follow the rules of thumb alone."""
    flown = all_flown(flyer.winds, flyer.flights, {flyer.shelf_model.name.casefold(): flyer.shelf_model})
    rule = rule_for(flown[-1])
    last = flyer.sizes[-1]
    if rule is None or rule.kind == "same":
        return last
    return last.times(loop=rule.factor) if rule.kind == "length" else last.times(density=rule.factor)


def by_chance(flyer: Flyer) -> Size:
    """Change one thing by chance from the best so far."""
    best = flyer.sizes[best_logged(flyer)]
    factor = float(flyer.rng.choice((0.9, 0.95, 1.05, 1.1)))
    what = str(flyer.rng.choice(("loop", "density", "launch")))
    return best.times(**{what: factor})


def unchanged(flyer: Flyer) -> Size:
    """Change nothing."""
    return flyer.sizes[-1]


def best_logged(flyer: Flyer) -> int:
    """Return which flight lasted longest as logged."""
    return int(np.argmax([flyer.flights[wind.id].duration_s or 0.0 for wind in flyer.winds]))


def counts_by_log(flyer: Flyer) -> Size:
    """For a flight that counts: what lasted longest."""
    return flyer.sizes[best_logged(flyer)]


def counts_by_advice(flyer: Flyer) -> Size:
    """For a flight that counts: what the advice names, or what it goes on from."""
    known = _known(flyer)
    return nearest(flyer, best_flown(fit_flights(known), known).started)


def claims(flyer: Flyer) -> list[tuple[float, float, float, float]]:
    """Return of each change that is advised what is claimed (gain, low, high) and the gain that is so."""
    known = _known(flyer)
    fit = fit_flights(known)
    base = base_of(fit, known)
    size = nearest(flyer, base.started)
    now = true_duration(flyer.model, size, flyer.stiffness)
    found = []
    for one in best_changes(options(fit, base, known), base.left_share):
        if one.gain < WORTH_IT:
            continue
        factors = {"length": (one.factor, 1.0), "density": (1.0, one.factor), "launch": (1.0, 1.0)}[one.kind]
        changed = size.times(*factors, one.launch_factor)
        is_so = true_duration(flyer.model, changed, flyer.stiffness) / now - 1.0
        found.append((one.gain, one.low, one.high, is_so))
    return found


def _known(flyer: Flyer) -> list[Flown]:
    return [one for one in all_flown(flyer.winds, flyer.flights, _models(flyer)) if usable(one)]


def _models(flyer: Flyer) -> dict[str, Model]:
    return {flyer.shelf_model.name.casefold(): flyer.shelf_model}


Way = tuple[str, Callable[[Flyer], Size], Callable[[Flyer], Size]]
WAYS: tuple[Way, ...] = (
    ("advice", by_advice, counts_by_advice),
    ("rules of thumb alone", by_rules, counts_by_log),
    ("a change by chance, the best kept", by_chance, counts_by_log),
    ("no change", unchanged, counts_by_log),
)


Claims = dict[int, list[tuple[float, float, float, float]]]


def one_model(seed: int, number: int) -> tuple[list[list[float]], Claims]:
    """Return, for each way, the share of the best duration that its motor for a flight that counts reaches; and what
    was claimed after so many flights by advice."""
    rng = np.random.default_rng([seed, number])
    model = random_model(rng)
    stiffness = float(np.exp(0.04 * rng.standard_normal()))
    best, longest = best_size(model, stiffness)
    start = best.times(
        float(np.exp(rng.uniform(-0.4, 0.4))), float(np.exp(rng.uniform(-0.25, 0.25))), float(rng.uniform(0.6, 1.2))
    )
    found = []
    claimed: Claims = {}
    for _, next_size, for_one_that_counts in WAYS:
        flyer = Flyer(model, np.random.default_rng([seed, number, 7]), stiffness=stiffness)
        flyer.fly(start)
        reached = []
        for flown in range(1, FLIGHTS + 1):
            if flown in AFTER:
                reached.append(true_duration(model, for_one_that_counts(flyer), stiffness) / longest)
                if next_size is by_advice and flown > 1:
                    claimed[flown] = claims(flyer)
            if flown < FLIGHTS:
                flyer.fly(next_size(flyer))
        found.append(reached)
    return found, claimed


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--models", type=int, default=24)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--processes", type=int, default=1)
    args = parser.parse_args()
    began = time.perf_counter()
    with ProcessPoolExecutor(args.processes, mp_context=get_context("spawn")) as pool:
        runs = list(pool.map(partial(one_model, args.seed), range(args.models)))
    shares = np.array([reached for reached, _ in runs])
    heads = " | ".join(f"{n} {'flight' if n == 1 else 'flights'}" for n in AFTER)
    print(f"| followed | {heads} |\n|---|{'---|' * len(AFTER)}")
    for i, (name, _, _) in enumerate(WAYS):
        cells = [f"{shares[:, i, k].mean():.0%} ({np.percentile(shares[:, i, k], 10):.0%})" for k in range(len(AFTER))]
        print(f"| {name} | {' | '.join(cells)} |")
    print(
        f"\n{args.models} simulated models and starting motors, seed {args.seed}: mean share of the best duration (in"
        " brackets: what nine in ten exceed) that the motor named for a flight that counts reaches, flown without luck."
    )
    print("\n| after | gains claimed | mean claimed | mean so | between low and high | the sign is right |")
    print("|---|---|---|---|---|---|")
    for flown in AFTER[1:]:
        rows = np.array([row for _, claimed in runs for row in claimed[flown]])
        gain, low, high, is_so = rows.T
        print(
            f"| {flown} flights | {len(rows)} | {gain.mean():+.1%} | {is_so.mean():+.1%} |"
            f" {np.mean((low <= is_so) & (is_so <= high)):.0%} | {np.mean((gain > 0) == (is_so > 0)):.0%} |"
        )
    print(f"{time.perf_counter() - began:.0f} s", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
