"""The jobs that every kind of thing on the shelf has: add, list, show, edit, retire."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any

from winding_coach.app.problem import UsageProblem
from winding_coach.app.shelving import shelf_at
from winding_coach.base.units import UnitSystem
from winding_coach.cli.args.common import add_common_arguments, home_from, units_from
from winding_coach.cli.args.kinds import NONE, KindSpec, a_name
from winding_coach.cli.output.help_lines import HelpLines
from winding_coach.cli.output.tabular import table

if TYPE_CHECKING:
    from winding_coach.shelf.store import Shelf
    from winding_coach.shelf.tables import Named

Jobs = Any
"""What argparse returns for adding parsers; its class is not public."""
Known = dict[str, tuple[Any, str]]
"""What is known besides a record: by its key in JSON, the value and how it is shown."""
More = Callable[["Shelf", list[Any], UnitSystem], list[Known]]


def add_jobs(parser: argparse.ArgumentParser, spec: KindSpec) -> Jobs:
    """Add the five jobs of a kind; return the jobs, for more of them."""
    jobs = parser.add_subparsers(dest="job", required=True, metavar="JOB")
    adding = a_job(jobs, "add", f"put a {spec.name} on the shelf", spec.add, spec.notes)
    adding.add_argument("name", metavar="NAME", help="what it is called from now on")
    listing = a_job(jobs, "list", f"the {spec.plural} in use", f"{spec.name} list --json", spec.notes)
    listing.add_argument("--all", action="store_true", help="those too that are no longer in use")
    example = spec.edit.split()[2]
    showing = a_job(jobs, "show", f"one {spec.name}", f"{spec.name} show {example}", spec.notes)
    what = f"change what is known of a {spec.name}; '{NONE}' takes a value away"
    editing = a_job(jobs, "edit", what, spec.edit, spec.notes)
    retiring = a_job(jobs, "retire", f"take a {spec.name} out of use; its winds stay", f"{spec.name} retire {example}")
    for job in (showing, editing, retiring):
        job.add_argument("name", metavar="NAME", help="its name, or the beginning of it")
    for option in spec.options:
        needed = " (needed)" if option.needed else ""
        adding.add_argument(option.flag, dest=option.field, metavar=option.metavar, help=option.help + needed)
        editing.add_argument(option.flag, dest=option.field, metavar=option.metavar, help=option.help)
    if spec.name != "motor":
        editing.add_argument("--in-use", action="store_true", help="take it back into use")
    return jobs


def a_job(
    jobs: Jobs, name: str, what: str, example: str, notes: tuple[str, ...] = (), *, as_json: bool = True
) -> argparse.ArgumentParser:
    """Add one job, with its example and what every job takes."""
    job: argparse.ArgumentParser = jobs.add_parser(
        name,
        help=what,
        description=f"{what[0].upper()}{what[1:]}.",
        epilog="\n".join((*notes, *([""] if notes else []), f"example:\n  winding-coach {example}")),
        formatter_class=HelpLines,
    )
    if as_json:
        job.add_argument("--json", action="store_true", help="one JSON object")
    add_common_arguments(job)
    return job


def run_job(args: argparse.Namespace, spec: KindSpec, more: More | None = None, *, others: Sequence[str] = ()) -> int:
    """Do one of the five jobs. others: names that `list` adds, of what is known elsewhere."""
    from winding_coach.shelf.store import is_in_use
    from winding_coach.shelf.tables import KINDS

    kind: Any = KINDS[spec.name]
    home = home_from(args)
    units = units_from(args, home)
    with shelf_at(home, reading=args.job in ("list", "show")) as shelf:
        if args.job == "list":
            records = [one for one in shelf.all(kind) if args.all or is_in_use(one)]
            taken = {one.name.casefold() for one in shelf.all(kind)}
            records += [kind(name) for name in others if name.casefold() not in taken]
            _tell_all(shelf, records, spec, units, more, as_json=args.json, every=args.all)
            return 0
        if args.job == "add":
            record = kind(a_name("NAME", args.name), **_values(args, spec, units, shelf, adding=True))
            if spec.name == "motor":
                record = replace(record, measured_at_use=record.uses_before)
            spec.check(record)
            shelf.add(record)
        else:
            record = shelf.find(kind, args.name)
        if args.job == "edit":
            changes = _values(args, spec, units, shelf, adding=False)
            if not changes:
                flags = ", ".join(option.flag for option in spec.options)
                raise UsageProblem(f"{spec.name} edit needs what to change: {flags}.")
            spec.check(replace(record, **changes))
            if "loop_m" in changes:
                changes["measured_at_use"] = shelf.uses(record.name)
            record = shelf.edit(kind, record.name, **changes)
        if args.job in ("void", "restore"):
            record = shelf.edit(kind, record.name, voided=args.job == "void")
        if args.job == "retire":
            record = shelf.edit(
                kind, record.name, **({"state": "retired"} if spec.name == "motor" else {"retired": True})
            )
        _tell(shelf, record, spec, units, more, as_json=args.json)
    return 0


def _values(
    args: argparse.Namespace, spec: KindSpec, units: UnitSystem, shelf: Shelf, *, adding: bool
) -> dict[str, Any]:
    """Return the fields that were typed, as values; a batch by the beginning of its name too."""
    from winding_coach.shelf.records import Batch

    found: dict[str, Any] = {}
    for option in spec.options:
        typed = getattr(args, option.field)
        if typed is None:
            if adding and option.needed:
                raise UsageProblem(f"{spec.name} add needs {option.flag}, as in: winding-coach {spec.add}")
            continue
        if typed.strip().lower() == NONE and not adding:
            if option.needed:
                raise UsageProblem(f"{option.flag}: a {spec.name} cannot be without it; type what it is now.")
            found[option.field] = option.usual
        else:
            found[option.field] = option.read(option.flag, typed, units)
    if found.get("batch") is not None:
        found["batch"] = shelf.find(Batch, found["batch"]).name
    if getattr(args, "in_use", False):
        found["retired"] = False
    return found


def _tell_all(
    shelf: Shelf,
    records: list[Any],
    spec: KindSpec,
    units: UnitSystem,
    more: More | None,
    *,
    as_json: bool,
    every: bool,
) -> None:
    besides: list[Known] = [{} for _ in records] if more is None else more(shelf, records, units)
    if as_json:
        objects = [
            asdict(record) | {key: value for key, (value, _) in known.items()}
            for record, known in zip(records, besides, strict=True)
        ]
        print(json.dumps({spec.plural: objects}, ensure_ascii=False))
        return
    if not records:
        others = "" if every else " in use"
        print(f"There are no {spec.plural}{others} on the shelf: put one there with `winding-coach {spec.add}`.")
        return
    heads = ["name", *(_label(option.field) for option in spec.options), *(_label(key) for key in besides[0])]
    rows = [
        [record.name, *_cells(record, spec, units), *(shown for _, shown in known.values())]
        for record, known in zip(records, besides, strict=True)
    ]
    if every and spec.name != "motor":
        heads.append("state")
        for row, record in zip(rows, records, strict=True):
            row.append("retired" if record.retired else "")
    print("\n".join(table(heads, rows)))


def _cells(record: Any, spec: KindSpec, units: UnitSystem) -> list[str]:
    cells = []
    for option in spec.options:
        value = getattr(record, option.field)
        cells.append("" if value is None or value == option.usual else option.show(value, units))
    return cells


_LABELS = {"turner": "propeller"}
"""Fields that are shown under another name."""


def _label(key: str) -> str:
    """Return a field's name without its unit, for people."""
    words = _LABELS.get(key, key).split("_")
    if len(words) > 1 and words[-1] in ("m", "kg", "Nm", "s"):
        words.pop()
    if words[-2:] == ["kg", "per"] or words[-1] == "per":
        words = words[:-2]
    return " ".join(words)


def _tell(shelf: Shelf, record: Named, spec: KindSpec, units: UnitSystem, more: More | None, *, as_json: bool) -> None:
    known: Known = {} if more is None else more(shelf, [record], units)[0]
    if as_json:
        print(json.dumps(asdict(record) | {key: value for key, (value, _) in known.items()}, ensure_ascii=False))
    else:
        print(told(record, spec, units, known))


def told(record: Named, spec: KindSpec, units: UnitSystem, known: Known | None = None) -> str:
    """Return a record as one line."""
    shown = [record.name]
    for option, cell in zip(spec.options, _cells(record, spec, units), strict=True):
        if cell:
            shown.append(f"{_label(option.field)} {cell}")
    shown += [word for word in ("retired", "voided") if getattr(record, word, False)]
    shown += [f"{_label(key)} {words}" for key, (_, words) in (known or {}).items() if words]
    return f"{spec.name[0].upper()}{spec.name[1:]} {'; '.join(shown)}."
