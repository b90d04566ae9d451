"""Batches of rubber: on the shelf, and learned from logged winds (torque, strength, permanent set).

example:
  winding-coach batch add amber --received 2026-01-10 --density '2.19 g/m, 2.20 g/m, 2.21 g/m'
  winding-coach batch weigh amber --width '2.4 mm' --length '1 m' --mass '2.21 g'
  winding-coach batch fit amber
  winding-coach batch fit amber first.wind.jsonl second.wind.jsonl --loops "30.0cm, 30.9cm, 31.2cm"
  winding-coach batch show amber --picture amber.svg
  winding-coach batch list

What `fit` has learned is kept in a file of its own; `plan --batch NAME` and winds with motors of this batch rest on it.
"""

from __future__ import annotations

import argparse
import contextlib
import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from winding_coach.app.batches import BATCHES_FOLDER, _others, batch_file, load_batch
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.shelving import looked, shelf_at, shelf_file
from winding_coach.app.writing import write_whole
from winding_coach.base.private import write_private
from winding_coach.base.units import QuantityError, listed, parse_quantity
from winding_coach.cli.args.common import home_from, units_from
from winding_coach.cli.args.kinds import BATCH
from winding_coach.cli.commands.records import Known, a_job, add_jobs, run_job, told
from winding_coach.cli.commands.strips import STRIP_JOBS, add_strip_jobs, run_strip_job
from winding_coach.cli.output.learned_text import filled, property_lines
from winding_coach.rubber.batch import Batch, FittedBatch, SetFit, TorqueScale, fit_set, fitted, torque_scale_of
from winding_coach.rubber.batch_json import batch_to_json_dict, wound_to_json_dict
from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.learned import NAMES, WindMarks
from winding_coach.rubber.learned import Learned as LearnedRubber
from winding_coach.rubber.strength import Estimate, Wound, strength_of

PARTS = 5
"""The residuals of a wind are shown as the mean misfit in so many parts of its turns."""


@dataclass(frozen=True, slots=True)
class Learned:
    """What one trace told. remarks: why it could not tell the rest."""

    trace: str
    scale: TorqueScale | None
    wound: Wound | None
    remarks: tuple[str, ...]
    marks: WindMarks | None = None

    def as_json(self) -> dict[str, Any]:
        """Return what it told; the marks stay out, the trace has them."""
        scale = None if self.scale is None else asdict(self.scale)
        wound = None if self.wound is None else wound_to_json_dict(self.wound)
        return {"trace": self.trace, "scale": scale, "wound": wound, "remarks": list(self.remarks)}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the jobs of `batch`."""
    jobs = add_jobs(parser, BATCH)
    fit = a_job(jobs, "fit", "learn a batch from traces of its winds", "batch fit amber traces/*.wind.jsonl")
    fit.add_argument("name", metavar="NAME", help="name of the batch")
    fit.add_argument(
        "traces", nargs="*", metavar="TRACE", help="the winds of this batch (all that the shelf has of it)"
    )
    fit.add_argument("--loops", metavar="LENGTHS", help="the loop before the first wind and after each, with commas")
    add_strip_jobs(jobs)
    jobs.choices["show"].add_argument("--picture", metavar="FILE", help="write the strength as FILE.svg")


def run(args: argparse.Namespace) -> int:
    """Do one job."""
    home = home_from(args)
    if args.job == "fit":
        return _fit(args, home)
    if args.job in STRIP_JOBS:
        return run_strip_job(args, home)
    if args.job == "list":
        return run_job(
            args, BATCH, lambda shelf, batches, units: _fits_besides(home, batches), others=_only_fitted(home)
        )
    if args.job == "show":
        return _show(args, home)
    return run_job(args, BATCH)


def _fits_besides(home: Home, batches: list[Any]) -> list[Known]:
    """Say of each batch on the shelf whether it has been fitted."""
    fits = [batch_file(batch.name, home).exists() for batch in batches]
    return [{"fitted": (fit, "fitted" if fit else "")} for fit in fits]


def _only_fitted(home: Home) -> list[str]:
    """Return the names of the batches that have been fitted, on the shelf or not."""
    return sorted(file.stem for file in (home.folder / BATCHES_FOLDER).glob("*.json"))


def _fit(args: argparse.Namespace, home: Home) -> int:
    file = batch_file(args.name, home)
    if args.traces:
        outcomes = _outcomes(home)
        learned = [_learned(Path(trace), outcomes.get(Path(trace).name)) for trace in args.traces]
    elif args.loops is not None:
        raise UsageProblem("--loops goes with the traces of one motor, in their order: name them.")
    else:
        learned = _learned_from_shelf(args.name, home)
    set_fit = None if args.loops is None else _set(args, learned, home)
    batch = Batch(
        args.name,
        tuple(one.wound for one in learned if one.wound is not None),
        tuple(one.scale.scale for one in learned if one.scale is not None),
        None if set_fit is None else set_fit.limit,
        _properties(learned),
    )
    if not batch.wound and not batch.torque_scales:
        raise Problem(f"These winds show nothing about the rubber. {' '.join(learned[0].remarks)}")
    _save(file, batch)
    if args.json:
        print(json.dumps({"winds": [one.as_json() for one in learned], **_as_object(batch, home)}, ensure_ascii=False))
        return 0
    for one in learned:
        print("\n".join(filled(_wind_lines(one))))
    if set_fit is not None:
        off = ", ".join(f"{residual * 1e3:+.1f}" for residual in set_fit.residuals_m)
        print(f"Permanent set: {set_fit.limit:.1%} ± {set_fit.sd:.1%} in the end; lengths off by {off} mm.")
    print("\n".join(_batch_lines(batch, home)))
    print(f"Kept as {file}.")
    return 0


def _outcomes(home: Home) -> dict[str, str]:
    """Return what became of the shelf's winds, by the names of their traces: someone may have said it since."""
    if not shelf_file(home).exists():
        return {}
    with shelf_at(home, reading=True) as shelf:
        return {wind.trace: wind.outcome for wind in shelf.winds()}


def _learned_from_shelf(name: str, home: Home) -> list[Learned]:
    """Return what the shelf's winds of a batch tell; those on a simulated meter only where there are no others."""
    from winding_coach.shelf.store import WindFilter

    winds = []
    if shelf_file(home).exists():
        with shelf_at(home, reading=True) as shelf:
            looked(home, shelf)
            winds = shelf.winds(WindFilter(batch=name))
    winds = [wind for wind in winds if wind.trace_bytes is not None or (home.traces / wind.trace).exists()]
    real = [wind for wind in winds if not wind.simulated]
    learned = []
    for wind in reversed(real or winds):
        try:
            learned.append(_learned(home.traces / wind.trace, wind.outcome))
        except Problem as problem:
            # One that cannot be read must not keep the others from telling.
            learned.append(Learned(wind.trace, None, None, (str(problem),)))
    if not learned:
        raise UsageProblem(
            f"batch fit needs a wind with this batch: none of '{name}' is on the shelf with a trace, so name traces."
        )
    return learned


def _learned(path: Path, outcome: str | None = None) -> Learned:
    """Replay one trace and take from it what the full-stretch part and the end tell. outcome: by the shelf."""
    from winding_coach.app.logged import logged_wind
    from winding_coach.traces.rows import TraceError

    try:
        wind = logged_wind(path, outcome)
    except TraceError as error:
        raise Problem(str(error)) from None
    remarks = list(wind.remarks)
    scale = None
    if wind.stretched is not None:
        try:
            scale = torque_scale_of(wind.stretched)
        except FiguresError as error:
            remarks.append(str(error))
    # A wind whose torque at full stretch is refused would teach the rest wrong.
    return Learned(path.name, scale, wind.wound, tuple(remarks), wind.marks if scale is not None else None)


def _properties(learned: list[Learned]) -> LearnedRubber | None:
    """Return what the winds together say of the rubber's properties; None where they cannot be learned from."""
    from winding_coach.rubber.learning import learn, learnable

    winds = [one.marks for one in learned if one.marks is not None and learnable(one.marks)]
    try:
        return learn(winds) if winds else None
    except FiguresError:
        return None


def _set(args: argparse.Namespace, learned: list[Learned], home: Home) -> SetFit:
    units = units_from(args, home)
    try:
        loops = [parse_quantity(typed, "length", units) for typed in listed(args.loops)]
        if len(loops) != len(learned) + 1 or not all(loop > 0 for loop in loops):
            raise UsageProblem(
                f"--loops: {len(learned) + 1} lengths are needed, before the first wind and after each of the"
                f" {len(learned)} in the order of the traces."
            )
        stretches = [one.wound.stretch for one in learned if one.wound is not None]
        if len(stretches) != len(learned):
            raise Problem("The set cannot be fitted: one of these winds does not show how far the motor was wound.")
        return fit_set(loops, stretches)
    except QuantityError as error:
        raise UsageProblem(f"--loops: {error}") from None
    except FiguresError as error:
        raise Problem(str(error)) from None


def _save(file: Path, batch: Batch) -> None:
    """Write the batch's file whole or not at all."""
    text = json.dumps(batch_to_json_dict(batch), ensure_ascii=False, indent=1)
    try:
        write_private(file, text + "\n")
    except OSError as error:
        raise Problem(f"The batch cannot be kept as '{file}' ({error.strerror}): name another --home.") from None


def _show(args: argparse.Namespace, home: Home) -> int:
    """Show what the shelf and the fit know of a batch; one of the two will do."""
    from winding_coach.shelf.records import Batch as Kept
    from winding_coach.shelf.schema import ShelfError

    kept: Kept | None = None
    if shelf_file(home).exists():
        with shelf_at(home, reading=True) as shelf, contextlib.suppress(ShelfError):
            kept = shelf.find(Kept, args.name)
    name = args.name if kept is None else kept.name
    is_file = name.endswith(".json") or "/" in name
    batch = load_batch(name, home) if kept is None or is_file or batch_file(name, home).exists() else None
    if args.picture is not None:
        if batch is None:
            raise Problem(f"The batch '{name}' has not been fitted: first 'batch fit {name} TRACE'.")
        _draw(batch, args.picture)
    fit = None if batch is None else _as_object(batch, home)
    if args.json:
        print(json.dumps(({} if kept is None else asdict(kept)) | (fit or {}), ensure_ascii=False))
        return 0
    if kept is not None:
        print(told(kept, BATCH, units_from(args, home)))
    if batch is not None:
        print("\n".join(_batch_lines(batch, home)))
    return 0


def _draw(batch: Batch, named: str) -> None:
    from winding_coach.report.strength import strength_svg

    if not named.lower().endswith(".svg"):
        raise UsageProblem(f"--picture: '{named}' must end in .svg.")
    try:
        drawn = strength_svg(batch.name, batch.wound, strength_of(batch.wound))
    except FiguresError as error:
        raise Problem(str(error)) from None
    write_whole(Path(named), drawn.encode("utf-8"), "picture")


def _made(batch: Batch, home: Home) -> FittedBatch:
    try:
        return fitted(batch, others=_others(batch.name, home))
    except FiguresError as error:
        raise Problem(str(error)) from None


def _risk_at_90(made: FittedBatch) -> Estimate:
    """The chance to break at 90 % of the default rubber's breaking turns."""
    return made.strength.risk(DEFAULT_RUBBER.break_stretch * 0.9 ** (2.0 / 3.0))


def _as_object(batch: Batch, home: Home) -> dict[str, object]:
    made = _made(batch, home)
    found: dict[str, object] = {
        **batch_to_json_dict(batch),
        "torque_scale": asdict(made.torque),
        "break_stretch": asdict(made.strength.break_stretch),
        "break_risk_at_90_percent": asdict(_risk_at_90(made)),
        "rests_on": made.rests_on,
        "looseness": made.laws,
    }
    if made.learned is not None:
        found["properties"] = {name: asdict(made.learned.estimate(name)) for name in NAMES}
        found["not_told"] = {one.name: one.tells for one in made.learned.open}
    return found


def _batch_lines(batch: Batch, home: Home) -> list[str]:
    made = _made(batch, home)
    torque, stretch, risk, rests_on = made.torque, made.strength.break_stretch, _risk_at_90(made), made.rests_on
    # Turns go with strand stretch to the power 1.5.
    turns = [(value / DEFAULT_RUBBER.break_stretch) ** 1.5 for value in (stretch.value, stretch.low, stretch.high)]
    lines = [
        f"Torque: {torque.value:.3f} of the default rubber's ({torque.low:.3f} to {torque.high:.3f}).",
        f"Breaking turns: {turns[0]:.3f} of the default rubber's ({turns[1]:.3f} to {turns[2]:.3f}).",
        f"Chance to break at 90 % of the default rubber's breaking turns: {risk.value:.1%} ({risk.low:.1%} to"
        f" {risk.high:.1%}).",
    ]
    if batch.set_limit is not None:
        lines.append(f"Permanent set in the end: {batch.set_limit:.1%}.")
    return [*filled([*lines, *property_lines(made)]), f"Based on {rests_on}. Intervals of 90 %."]


def _wind_lines(one: Learned) -> list[str]:
    said = []
    if one.scale is not None:
        size = len(one.scale.residuals) / PARTS
        parts = [one.scale.residuals[round(i * size) : round((i + 1) * size)] for i in range(PARTS)]
        off = " ".join(f"{sum(r for _, r in part) / len(part):+.1%}" for part in parts if part)
        said.append(f"torque {one.scale.scale:.3f} of the default rubber's, misfit {one.scale.rms:.1%} rms ({off})")
    if one.wound is not None:
        said.append(f"strand stretch {one.wound.stretch:.2f}, {'broke' if one.wound.broke else 'held'}")
    return [f"{one.trace}: {'; '.join(said) or 'no usable data'}.", *(f"  {remark}" for remark in one.remarks)]
