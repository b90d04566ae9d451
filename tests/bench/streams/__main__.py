"""Scores of the crank's reading: `python -m tests.bench.streams --seeds tuning --streams 200 --rate 80`.

Prints tables; asserts nothing. The streams are invented (`drawing.py` has the ranges), written apart from the
estimator. Report seeds and the last ones are for whoever judges: tune on tuning seeds only.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from pathlib import Path

from tests.bench.streams import tables
from tests.bench.streams.drawing import LAST, RATES, REPORT, TUNING
from tests.bench.streams.due import when_due
from tests.bench.streams.making import SENSORS, Sensor, Stream, stream
from tests.bench.streams.observer import kept, observed
from tests.bench.streams.other import other_stream
from tests.bench.streams.picture import Point, picture
from tests.bench.streams.scoring import scored
from tests.bench.streams.watching import watched

SEEDS = {"tuning": TUNING, "report": REPORT, "last": LAST}
PAGE = Path(__file__).parent.parent / "streams.md"
PICTURE = Path(__file__).parents[3] / "docs" / "pictures" / "crank-chances.svg"
PICTURE_HZ = 80.0
HEAD = """# Scores of the crank's reading

Printed by

    {command}

The streams are invented and written apart from the estimator (`tests/bench/streams/`); the ranges, in `drawing.py`, are
assumed. Words: standing is slower than 0.15 rev/s for 0.25 s or more; turning is faster than 0.20; the
rest is not scored. False: a stand is said at a turning crank, a second or more after it was last slower than that (with
pulses: and a pulse's worth has been cranked since a stand); false alarms: said for 0.3 s, as the alarm wants it. Delays
are of stands of 1 s and more after a second of turning. Brackets hold 95 % intervals. Peak: highest torque over the
true one. The ideal observer sees the same torque, no pulses, and knows each stream's ripple, noise and habits
(`observer.py`). At 320 lines/s there are a third as many streams.

"""


def judged(streams: list[Stream], sensor: Sensor) -> tables.Judged:
    """Feed and score streams."""
    return [(one.draw, scored(one, watched(one, sensor), sensor)) for one in streams]


def sensor_tables(rate: float, sensor: Sensor, found: tables.Judged, due: tables.Judged) -> list[str]:
    """Return all tables of a sensor at a rate. due: stands seen as the missing mark is due."""
    title = f"{rate:g} lines/s, sensor {sensor}"
    out = [tables.stall_table(f"Standing crank, {title}", found)]
    if sensor != "none":
        turns, plus_s, most = (0.6, 0.15, 1.3) if sensor == "1 pulse" else (0.35, 0.0, 0.35)
        aim = "median 0.6 turn + 0.15 s, most 1.3 turns" if sensor == "1 pulse" else "within 0.35 turn"
        sensors = {"all": 9.0, "no pulse lost": 0.0}
        rows = [
            tables.pulse_row(f"{name}, {kind}", [one for one in judged if one[0].lost <= lost], turns, plus_s, most)
            for kind, lost in sensors.items()
            for name, judged in ((f"aim: {aim}", found), ("the missing mark is due", due))
        ]
        out.append(tables.as_text(f"Delay in crank turns, {title}", tables.PULSE_HEAD, rows))
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


def can_table(rate: float, found: tables.Judged, ideal: tables.Judged) -> str:
    """Return torque alone beside the ideal observer, by bands."""
    rows = [
        tables.where_it_can(name, [found[i] for i in here], [ideal[i] for i in here])
        for name, of, low, high in tables.BANDS
        if (here := [i for i, (one, _) in enumerate(found) if low <= of(one) < high])
    ]
    return tables.as_text(f"Torque alone where the ideal observer can, {rate:g} lines/s", tables.CAN_HEAD, rows)


class Bench:
    """One run: text as it comes, and what the picture needs."""

    def __init__(self, chosen: argparse.Namespace) -> None:
        self.chosen = chosen
        self.points: dict[str, list[Point]] = {}

    def rate(self, rate: float) -> Iterator[str]:
        """Yield the tables of a rate."""
        chosen = self.chosen
        began = time.process_time()
        first = SEEDS[chosen.seeds] + chosen.first
        n = chosen.streams if rate < 100.0 else max(chosen.streams // 3, 1)
        make = other_stream if chosen.other else stream
        streams = [make(first + i, rate) for i in range(n)]
        kind = ", other make," if chosen.other else ""
        hours = sum(float(one.t_s[-1]) for one in streams) / 3600.0
        seeds = f"{chosen.seeds} seeds{kind} {first:,} to {first + n - 1:,}"
        yield f"{rate:g} lines/s: {n} streams, {seeds}, {hours:.1f} hours\n"
        ideal: tables.Judged = []
        if chosen.observer:
            seen_by_it = observed(streams) if chosen.kept is None else kept(streams, chosen.kept)
            ideal = [(one.draw, scored(one, seen, "none")) for one, seen in zip(streams, seen_by_it, strict=True)]
            self._keep(rate, "ideal", ideal)
            yield from observer_tables(rate, ideal)
        summary: tables.Rows = []
        for sensor in chosen.sensor:
            found = judged(streams, sensor)
            self._keep(rate, sensor, found)
            if ideal and sensor == "none":
                yield can_table(rate, found, ideal)
            pairs = zip(streams, found, strict=True) if sensor != "none" else ()
            due = [(one, when_due(made, score, sensor)) for made, (one, score) in pairs]
            yield from sensor_tables(rate, sensor, found, due)
            summary.append(tables.other_row(sensor, found))
        yield tables.as_text(f"Count, reversal, peak, {rate:g} lines/s", tables.OTHER_HEAD, summary)
        yield f"({time.process_time() - began:.0f} s of processor)\n"

    def _keep(self, rate: float, name: str, found: tables.Judged) -> None:
        if rate == PICTURE_HZ:
            self.points[name] = tables.reliability(found)[1]

    def picture(self) -> str:
        """Return the reliability picture of what was run."""
        chosen, ideal = self.chosen, self.points.get("ideal", [])
        names = {"none": "torque alone", "1 pulse": "one pulse a turn", "4 pulses": "four pulses a turn"}
        panels = [
            (name, self.points[key], ideal if key == "none" else [])
            for key, name in names.items()
            if key in self.points
        ]
        first = SEEDS[chosen.seeds] + chosen.first
        subject = f"{chosen.streams} invented streams, {PICTURE_HZ:g} lines/s, {chosen.seeds} seeds from {first:,}."
        return picture(panels, subject)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.streams", description=__doc__)
    parser.add_argument("--seeds", choices=sorted(SEEDS), default="tuning", help="which seeds (default tuning)")
    parser.add_argument("--streams", type=int, default=40, help="streams at each rate; a third at 320 (default 40)")
    parser.add_argument("--first", type=int, default=0, help="skip the first seeds")
    parser.add_argument("--rate", type=float, nargs="*", choices=RATES, default=[80.0], help="lines a second")
    parser.add_argument("--sensor", nargs="*", choices=SENSORS, default=list(SENSORS), help="sensors (default all)")
    parser.add_argument("--other", action="store_true", help="streams of another make, to which nothing was fitted")
    parser.add_argument("--observer", action="store_true", help="the ideal observer too (a second of processor each)")
    parser.add_argument("--kept", type=Path, metavar="FOLDER", help="keep the observer's answers there for other runs")
    parser.add_argument(
        "--write", action="store_true", help="into tests/bench/streams.md and docs/pictures/crank-chances.svg"
    )
    parser.add_argument("--append", action="store_true", help="add a section to tests/bench/streams.md")
    chosen = parser.parse_args()
    if chosen.other and chosen.observer:
        parser.error("the observer knows four harmonics and white noise only: leave out --observer or --other")
    bench, said = Bench(chosen), []
    for rate in chosen.rate:
        for text in bench.rate(rate):
            print(text, flush=True)
            said.append(text)
    rates = " ".join(f"{rate:g}" for rate in chosen.rate)
    command = f"python -m tests.bench.streams --seeds {chosen.seeds} --streams {chosen.streams} --rate {rates}"
    command += (" --other" if chosen.other else "") + (" --observer" if chosen.observer else "")
    tables_text = "```text\n" + "\n".join(said) + "```\n"
    if chosen.append:
        with PAGE.open("a", encoding="utf-8") as page:
            page.write(f"\n## `{command}`\n\n{tables_text}")
    if chosen.write:
        PAGE.write_text(HEAD.format(command=command) + tables_text, encoding="utf-8")
        if PICTURE_HZ in chosen.rate:
            PICTURE.write_text(bench.picture(), encoding="utf-8")


if __name__ == "__main__":
    main()
