"""Fill an empty data folder with an invented season, to try the shelf on: people, motors, winds, flights, all made up.

example:
  winding-coach invent demo-club
  winding-coach invent demo-club --people 20 --winds 3000 --traces 400
  winding-coach shelf season --home demo-club

Nothing in it is real: a simulated club winds simulated motors on simulated meters and flies simulated models. Each wind
is coached as a live one would be, and its trace can be replayed. With --traces N only the last N winds have traces,
the others stand in the index alone (which takes a twentieth of the time). Interrupted, it resumes where it was when it
is started again with the same words. 60 winds take about a minute, 3000 half an hour and more; Ctrl-C ends it at once.
The same seed gives the same season.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import sys
import time
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from contextlib import contextmanager
from multiprocessing import active_children, get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any

from winding_coach.app.bar import Bar, bar
from winding_coach.app.home import SETTINGS_FILE, TRACES_FOLDER
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.typed import MOST_SEED, whole
from winding_coach.base.private import write_private

if TYPE_CHECKING:
    from collections.abc import Iterator

    from winding_coach.app.inventing import Made, Order

MARK = "invented.json"
FORMAT = "winding-coach invented season"
MOST_PEOPLE, MOST_WINDS = 400, 1_000_000
POLL_S = 0.5


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `invent`."""
    parser.add_argument("folder", metavar="FOLDER", help="the data folder to fill; it must be empty or not there")
    parser.add_argument("--people", default="5", metavar="N", help="in the club (5)")
    parser.add_argument(
        "--winds",
        default="60",
        metavar="N",
        help="in the season, over all people (60)",
    )
    parser.add_argument("--traces", metavar="N", help="number of winds, the last ones, with complete traces (all)")
    parser.add_argument("--seed", default="1", metavar="N", help="another season for another number (1)")
    parser.add_argument("--processes", metavar="N", help="at once (one for each processor core)")
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Invent a season."""
    people = whole("--people", args.people, 1, MOST_PEOPLE)
    winds = whole("--winds", args.winds, 1, MOST_WINDS)
    traces = winds if args.traces is None else min(whole("--traces", args.traces, 0, MOST_WINDS), winds)
    seed = whole("--seed", args.seed, 0, MOST_SEED)
    processes = whole("--processes", args.processes, 1, 256) if args.processes else os.cpu_count() or 1
    folder = Path(args.folder).expanduser()
    asked = {"seed": seed, "people": people, "winds": winds, "traces": traces}
    began = time.monotonic()
    try:
        _claim(folder, asked)
        from winding_coach.app.inventing import Order

        orders = [
            Order(seed, people, i, _part(winds, people, i), _part(traces, people, i), folder / TRACES_FOLDER)
            for i in range(people)
        ]
        with bar("inventing winds") as shown:
            made = _made(orders, processes, shown)
        _shelve(folder, seed, people, made)
        _mark(folder, asked, whole=True)
    except KeyboardInterrupt:
        raise Problem(
            "Interrupted: what was made is kept; run the same command to continue, or remove the folder."
        ) from None
    except OSError as error:
        raise Problem(
            f"'{error.filename or folder}' cannot be written ({error.strerror}): make room or name another folder, and"
            " start again with the same words; what was made is kept."
        ) from None
    flights = sum(len(one.flights) for one in made)
    motors = sum(len(one.motors) for one in made)
    if args.json:
        print(json.dumps(asked | {"folder": str(folder), "flights": flights, "motors": motors}))
    else:
        print(
            f"An invented season is in '{folder}': {people} people, {winds} winds ({traces} with traces), {flights}"
            f" flights, {motors} motors, in {time.monotonic() - began:.0f} s. Nothing in it is real.\n"
            f"Look at it: winding-coach shelf season --by person --home '{folder}'"
        )
    return 0


def _part(whole_lot: int, people: int, person: int) -> int:
    """Return one member's part: the first ones have one more where it does not divide."""
    return whole_lot // people + (person < whole_lot % people)


def _claim(folder: Path, asked: dict[str, int]) -> None:
    """Take the folder, if it is empty or was taken for this very season and not finished.

    Raises:
        UsageProblem: something else is in it.
    """
    mark = folder / MARK
    if mark.exists():
        found = _read(mark)
        if {key: found.get(key) for key in asked} != asked:
            raise UsageProblem(f"'{folder}' holds another invented season: name an empty folder.")
        if found.get("whole") is True:
            raise UsageProblem(f"'{folder}' holds this invented season already: name an empty folder for a new one.")
        return
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageProblem(f"'{folder}' is not an empty folder: an invented season is never mixed with real data.")
    (folder / TRACES_FOLDER).mkdir(parents=True, exist_ok=True, mode=0o700)
    _mark(folder, asked, whole=False)


def _read(mark: Path) -> dict[str, Any]:
    try:
        found = json.loads(mark.read_text(encoding="utf-8"))
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def _mark(folder: Path, asked: dict[str, int], *, whole: bool) -> None:
    (folder / TRACES_FOLDER).mkdir(parents=True, exist_ok=True, mode=0o700)
    text = json.dumps({"format": FORMAT, "version": 1} | asked | {"whole": whole}, indent=1)
    write_private(folder / MARK, f"{text}\n")
    if not (folder / SETTINGS_FILE).exists():
        write_private(folder / SETTINGS_FILE, "{}\n")


@contextmanager
def _pool(processes: int) -> Iterator[ProcessPoolExecutor]:
    """Lend processes; interrupted, they end at once, and a trace half written is made again the next time."""
    pool = ProcessPoolExecutor(processes, mp_context=get_context("spawn"))
    try:
        yield pool
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in active_children():
            process.terminate()
        raise
    pool.shutdown()


@contextmanager
def _keys_for_us_alone() -> Iterator[None]:
    """Let the processes that are started meanwhile pass over a Ctrl-C, which is for this one."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _made(orders: list[Order], processes: int, shown: Bar) -> list[Made]:
    """Return what was invented for each member, in their order."""
    from winding_coach.app.inventing import invent

    total = sum(order.winds for order in orders)
    if processes == 1 or len(orders) == 1:
        done = [0]

        def told() -> None:
            done[0] += 1
            shown(done[0], total)

        return [invent(order, told) for order in orders]
    with _pool(min(processes, len(orders))) as pool:
        with _keys_for_us_alone():
            futures = {pool.submit(invent, order): order for order in orders}
        left = set(futures)
        while left:
            finished, left = wait(left, POLL_S, FIRST_COMPLETED)
            for future in finished:
                future.result()
            rows = sum(order.winds - order.traces for future, order in futures.items() if future not in left)
            shown(min(rows + _written(orders[0].folder), total), total)
        return [future.result() for future in futures]


def _written(folder: Path) -> int:
    with os.scandir(folder) as inside:
        return sum(not one.name.startswith(".") for one in inside)


def _shelve(folder: Path, seed: int, people: int, made: list[Made]) -> None:
    """Put everything on the shelf: the winds from their traces, the rest as it was invented."""
    from winding_coach.app.inventing import club_of
    from winding_coach.keeping.indexing import look
    from winding_coach.shelf.records import Batch, Model, Person, Winder
    from winding_coach.shelf.schema import ShelfError
    from winding_coach.shelf.store import SHELF_FILE, Shelf
    from winding_coach.simulator.club import WINDERS

    delivered, club = club_of(seed, people)
    try:
        (folder / SHELF_FILE).unlink(missing_ok=True)
        with Shelf(folder / SHELF_FILE) as shelf:
            with shelf.writing():
                for batch in delivered:
                    shelf.add(Batch(batch.name, densities_kg_per_m=(batch.density_kg_per_m,), remarks="invented"))
                for name, ratio in WINDERS.items():
                    shelf.add(Winder(name, ratio, remarks="invented"))
                for member in club:
                    shelf.add(Person(member.name, "invented"))
                    turner = f"rotor of {member.model.radius_m * 200:.0f} cm"
                    shelf.add(
                        Model(
                            member.model.name,
                            member.model.hooks_m,
                            round(member.model.mass_kg, 6),
                            round(member.launch_Nm, 6),
                            turner,
                            "invented",
                        )
                    )
                for one in made:
                    for motor in one.motors:
                        shelf.add(motor)
                shelf.log(*(row for one in made for row in one.rows))
            look(folder / TRACES_FOLDER, shelf)
            with shelf.writing():
                for one in made:
                    for flight in one.flights:
                        shelf.fly(flight)
    except ShelfError as error:
        raise Problem(str(error)) from None
    print("The winds are on the shelf.", file=sys.stderr)
