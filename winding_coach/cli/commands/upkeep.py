"""Keeping the shelf sound: the index rebuilt, every wind recomputed, everything checked."""

from __future__ import annotations

import argparse
import json
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from winding_coach.app.bar import bar
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem
from winding_coach.app.shelving import looked, news, shelf_at, shelf_file
from winding_coach.app.typed import whole
from winding_coach.base.wind_values import VALUES
from winding_coach.cli.args.common import home_from
from winding_coach.cli.args.wind_choice import wind_filter

if TYPE_CHECKING:
    from winding_coach.keeping.indexing import Found
    from winding_coach.shelf.records import Again, Wind
    from winding_coach.shelf.store import Shelf

MOST_PROCESSES = 256
MOST_TOLD, MOST_WRONG = 5, 20
TYPED_ONLY = (
    "Flights, remarks and corrections, and what was typed about batches, motors, winders, models and people, are in no"
    " trace: only a shelf or a backup brings them back ('winding-coach import BACKUP')."
)


def rebuilt(args: argparse.Namespace) -> int:
    """Make the index again."""
    from winding_coach.keeping.indexing import rebuild

    home = home_from(args)
    new = not shelf_file(home).exists()
    with shelf_at(home) as shelf, bar("reading traces") as shown:
        found = rebuild(home.traces, shelf, told=shown)
        added = _add_records(shelf) if args.records else []
    if args.json:
        print(json.dumps(_as_object(found) | {"added": added, "new_shelf": new}, ensure_ascii=False))
        return 0
    print(f"{_many(len(found.logged), 'wind is', 'winds are')} on the shelf from traces.")
    for line in news(found):
        print(line)
    _tell_some(found.missing, "{} of the index {} no trace any more; what is known of them stays", home)
    for name, why in list(found.passed_over.items())[:MOST_TOLD]:
        print(f"Passed over {name}: {why}.".replace("..", "."))
    if len(found.passed_over) > MOST_TOLD:
        print(f"Passed over {len(found.passed_over) - MOST_TOLD} more files.")
    if added:
        print(f"Put on the shelf from what traces name: {', '.join(added)}.")
    if new:
        print(TYPED_ONLY)
    return 0


def _many(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"


def _tell_some(names: tuple[str, ...], sentence: str, home: Home) -> None:
    if names:
        some = ", ".join(names[:MOST_TOLD]) + (" and others" if len(names) > MOST_TOLD else "")
        have = ("wind", "has") if len(names) == 1 else ("winds", "have")
        print(f"{sentence.format(f'{len(names)} {have[0]}', have[1])}: {some} in '{home.traces}'.")


def _as_object(found: Found) -> dict[str, Any]:
    return {
        "logged": len(found.logged),
        "open": [wind.id for wind in found.logged if wind.outcome == "open"],
        "moved": found.moved,
        "missing": found.missing,
        "damaged": found.damaged,
        "passed_over": found.passed_over,
    }


def _add_records(shelf: Shelf) -> list[str]:
    """Put on the shelf what winds name and it does not hold, as the newest wind knew it; return the names."""
    from winding_coach.shelf.records import Batch, Model, Motor, Person, Winder
    from winding_coach.shelf.tables import is_name

    added: list[str] = []

    def add(record: Batch | Motor | Winder | Model | Person) -> None:
        if not shelf.has(type(record), record.name):
            shelf.add(record)
            added.append(f"{type(record).__name__.lower()} {record.name}")

    with shelf.writing():
        broken = {wind.motor for wind in shelf.winds() if wind.outcome == "broken" and not wind.simulated}
        for wind in shelf.winds():
            if is_name(wind.batch):
                add(Batch(str(wind.batch)))
            if is_name(wind.person):
                add(Person(str(wind.person)))
            if is_name(wind.winder) and wind.ratio is not None:
                add(Winder(str(wind.winder), wind.ratio))
            if is_name(wind.model):
                add(Model(str(wind.model), wind.hooks_m))
            if is_name(wind.motor) and wind.loop_m is not None and wind.mass_kg is not None:
                add(_motor(wind, broken=wind.motor in broken))
    return added


def _motor(wind: Wind, *, broken: bool) -> Any:
    from winding_coach.shelf.records import Motor

    return Motor(
        str(wind.motor),
        wind.loop_m or 0.0,
        wind.mass_kg or 0.0,
        wind.orings_kg or 0.0,
        wind.strands or 2,
        wind.batch,
        state="broken" if broken else "in_use",
    )


def recomputed(args: argparse.Namespace) -> int:
    """Coach every wind again."""
    from winding_coach.keeping.recomputing import BrokenProcessPool, coach_id, left_to_do, recompute

    home = home_from(args)
    processes = None if args.processes is None else whole("--processes", args.processes, 1, MOST_PROCESSES)
    with shelf_at(home) as shelf:
        looked(home, shelf)
        coach = coach_id()
        # Some winds never had a trace: those of an invented season's index.
        winds = [wind for wind in shelf.winds(wind_filter(args, shelf)) if wind.trace_bytes is not None]
        todo = left_to_do(shelf, coach, winds)
        done: list[Again] = []
        with bar("coaching again") as shown:

            def told(again: Again) -> None:
                done.append(again)
                shown(len(done), len(todo))

            try:
                recompute(home.traces, shelf, todo, coach, processes=processes, told=told)
            except BrokenProcessPool:
                raise Problem(
                    "One of the processes was ended from outside: start again, what is done is kept."
                ) from None
        by_id = shelf.again()
        changed = [wind for wind in winds if _differs(wind, by_id[wind.id])]
        filled = Counter(name for wind in winds for name in _filled_in(by_id[wind.id]))
        troubles = [again.trouble for wind in winds if (again := by_id[wind.id]).trouble is not None]
    if args.json:
        said = {"coach": coach, "winds": len(winds), "done_now": len(done), "changed": [wind.id for wind in changed]}
        print(json.dumps(said | {"filled_in": filled, "troubles": troubles}, ensure_ascii=False))
        return 1 if troubles else 0
    before = len(winds) - len(done)
    print(f"{_many(len(done), 'wind', 'winds')} coached again by {coach}, {before} were done before.")
    print(f"{_many(len(changed), 'wind gives', 'winds give')} other values than on the day.")
    for wind in changed[:MOST_TOLD]:
        print(f"  {wind.trace}: {', '.join(_differs(wind, by_id[wind.id]))}")
    for name, count in filled.items():
        print(f"{name}: filled in for {_many(count, 'wind', 'winds')} whose trace does not have it.")
    for trouble in troubles[:MOST_TOLD]:
        print(trouble)
    return 1 if troubles else 0


def _filled_in(again: Again) -> list[str]:
    """Return the values that are known of a wind only since it was coached again."""
    lacks = again.trace_lacks or ""
    return [name for name in lacks.split(",") if lacks and getattr(again, name, None) is not None]


def _differs(wind: Wind, again: Again) -> list[str]:
    """Return what differs between a wind's row and what was made of it again; what its trace lacks does not."""
    if again.trouble is not None:
        return []
    found = []
    if wind.outcome not in (again.outcome, "open"):
        found.append(f"outcome {wind.outcome}, now {again.outcome}")
    lacks = (again.trace_lacks or "").split(",")
    for value in VALUES:
        then, now = value.of(wind), value.of(again)
        differ = now is not None if then is None else now is None or abs(then - now) > value.within
        if differ and value.name not in lacks:
            found.append(f"{value.name} {then}, now {now if now is None else round(now, 7)}")
    return found


def checked(args: argparse.Namespace) -> int:
    """Check the file, and the traces against it."""
    from winding_coach.shelf.store import WindFilter

    home = home_from(args)
    with shelf_at(home, reading=True) as shelf:
        wrong = shelf.unsound()
        found = looked(home, shelf)
        winds = shelf.winds(WindFilter(voided=None))
        missing = [] if found is None else list(found.missing)
        wrong += [f"The trace '{home.traces / name}' is missing: put it back from a backup." for name in missing]
        wrong += [] if found is None else list(found.damaged.values())
        if args.full:
            with bar("reading traces") as shown:
                for number, wind in enumerate(winds, 1):
                    wrong += _compared(home.traces / wind.trace, wind)
                    shown(number, len(winds))
        over = shelf.passed_over()
    wrong = list(dict.fromkeys(wrong))
    if args.json:
        print(json.dumps({"winds": len(winds), "wrong": wrong, "passed_over": len(over)}, ensure_ascii=False))
    else:
        for line in wrong[:MOST_WRONG]:
            print(line)
        if len(wrong) > MOST_WRONG:
            print(f"And {len(wrong) - MOST_WRONG} more: --json lists all.")
        how = "every trace was read" if args.full else "the traces are there; --full reads every one"
        if not wrong:
            print(f"All is well: {_many(len(winds), 'wind', 'winds')}; {how}.")
    return 1 if wrong else 0


def _compared(path: Path, wind: Wind) -> list[str]:
    """Return what is wrong with a trace, against what was logged of it."""
    from winding_coach.traces.files import read_trace
    from winding_coach.traces.glance import fingerprint
    from winding_coach.traces.rows import TraceError

    if not path.exists():
        return []  # Told with the missing ones.
    try:
        read_trace(path)
        _, sha256 = fingerprint(path)
    except TraceError as error:
        return [str(error)]
    except OSError as error:
        return [f"The trace '{path}' cannot be read ({error.strerror})."]
    if wind.trace_sha256 not in (None, sha256):
        return [f"The trace '{path}' is not as it was logged: compare it with a backup."]
    return []
