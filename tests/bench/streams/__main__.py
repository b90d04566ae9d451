"""Scores of the crank's reading: `python -m tests.bench.streams --seeds tuning --streams 200 --rate 80`.

Prints tables; asserts nothing. The streams are invented (`drawing.py` has the ranges), written apart from the
estimator. Report seeds and the last ones are for whoever judges: tune on tuning seeds only.
"""

from __future__ import annotations

import argparse
import time

from tests.bench.streams import tables
from tests.bench.streams.drawing import LAST, RATES, REPORT, TUNING
from tests.bench.streams.making import SENSORS, Sensor, Stream, stream
from tests.bench.streams.observer import observed
from tests.bench.streams.scoring import scored
from tests.bench.streams.watching import watched

SEEDS = {"tuning": TUNING, "report": REPORT, "last": LAST}


def judged(streams: list[Stream], sensor: Sensor) -> tables.Judged:
    """Feed and score streams."""
    return [(one.draw, scored(one, watched(one, sensor), sensor)) for one in streams]


def sensor_tables(rate: float, sensor: Sensor, found: tables.Judged) -> list[str]:
    """Return all tables of a sensor at a rate."""
    title = f"{rate:g} lines/s, sensor {sensor}"
    out = [tables.stall_table(f"Standing crank, {title}", found)]
    if sensor == "1 pulse":
        row = tables.pulse_row("aim: median 0.6 turn + 0.15 s, most 1.3 turns", found, 0.6, 0.15, 1.3)
        out.append(tables.as_text(f"Delay in crank turns, {title}", tables.PULSE_HEAD, [row]))
    elif sensor != "none":
        row = tables.pulse_row("aim: within 0.35 turn", found, 0.35, 0.0, 0.35)
        out.append(tables.as_text(f"Delay in crank turns, {title}", tables.PULSE_HEAD, [row]))
    rows, _ = tables.reliability(found)
    out.append(tables.as_text(f"Stated chance of standing, {title}", tables.RELIABILITY_HEAD, rows))
    out.append(f"  {tables.about_95(found)}\n")
    return out


def observer_tables(rate: float, found: tables.Judged) -> list[str]:
    """Return what the ideal observer can, at a rate."""
    title = f"{rate:g} lines/s, ideal observer, torque alone"
    rows, _ = tables.reliability(found)
    took = sum(score.cpu_s for _, score in found) / len(found)
    return [
        tables.stall_table(f"Standing crank, {title}", found),
        tables.as_text(f"Chance of standing, {title}", tables.RELIABILITY_HEAD, rows),
        f"  {tables.about_95(found)}; {took:.1f} s of processor a stream\n",
    ]


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.streams", description=__doc__)
    parser.add_argument("--seeds", choices=sorted(SEEDS), default="tuning", help="which seeds (default tuning)")
    parser.add_argument("--streams", type=int, default=40, help="streams at each rate (default 40)")
    parser.add_argument("--first", type=int, default=0, help="skip the first seeds")
    parser.add_argument("--rate", type=float, nargs="*", choices=RATES, default=[80.0], help="lines a second")
    parser.add_argument("--sensor", nargs="*", choices=SENSORS, default=list(SENSORS), help="sensors (default all)")
    parser.add_argument("--observer", action="store_true", help="the ideal observer too (a second of processor each)")
    chosen = parser.parse_args()
    for rate in chosen.rate:
        began = time.process_time()
        first = SEEDS[chosen.seeds] + chosen.first
        streams = [stream(first + i, rate) for i in range(chosen.streams)]
        hours = sum(float(one.t_s[-1]) for one in streams) / 3600.0
        print(f"{chosen.streams} streams, seeds from {first:,}, {rate:g} lines/s, {hours:.1f} hours")
        print(f"made in {time.process_time() - began:.1f} s of processor\n")
        summary: tables.Rows = []
        ideal: tables.Judged = []
        if chosen.observer:
            ideal = [
                (one.draw, scored(one, seen, "none")) for one, seen in zip(streams, observed(streams), strict=True)
            ]
            print("\n".join(observer_tables(rate, ideal)), flush=True)
        for sensor in chosen.sensor:
            found = judged(streams, sensor)
            if ideal and sensor == "none":
                rows = [
                    tables.where_it_can(name, [found[i] for i in here], [ideal[i] for i in here])
                    for name, of, low, high in tables.BANDS
                    if (here := [i for i, (one, _) in enumerate(found) if low <= of(one) < high])
                ]
                title = f"Torque alone where the ideal observer can, {rate:g} lines/s"
                print(tables.as_text(title, tables.CAN_HEAD, rows))
            print("\n".join(sensor_tables(rate, sensor, found)), flush=True)
            summary.append(tables.other_row(sensor, found))
        print(tables.as_text(f"Count, reversal, peak, {rate:g} lines/s", tables.OTHER_HEAD, summary))


if __name__ == "__main__":
    main()
