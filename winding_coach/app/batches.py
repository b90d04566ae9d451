"""Fitted batches of rubber in the folder of the data."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path

from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.rubber.batch import Batch, FittedBatch, fitted
from winding_coach.rubber.batch_json import batch_from_json_dict
from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.learned import Learned as LearnedRubber

BATCHES_FOLDER = "batches"

LONGEST_TEXT = 10_000_000
"""Of a batch file; a longer one is cut, and then no JSON."""

NO_FILE = {"CON", "PRN", "AUX", "NUL", *(f"{port}{number}" for port in ("COM", "LPT") for number in range(1, 10))}
"""Names that Windows takes for devices, whatever follows the dot; a home may move between systems."""


def load_batch(named: str, home: Home) -> Batch:
    """Return the facts of a batch by its name in the home's folder, or by its file's path.

    Raises:
        Problem: there is none, or it cannot be used.
    """
    path = Path(named) if named.endswith(".json") or "/" in named else batch_file(named, home)
    try:
        with path.open(encoding="utf-8") as opened:
            text = opened.read(LONGEST_TEXT)
    except FileNotFoundError:
        raise Problem(
            f"There is no batch '{named}' that was fitted: first 'batch fit {named} TRACE', or name its file."
        ) from None
    except OSError as error:
        raise Problem(f"The batch '{path}' cannot be read ({error.strerror}): check the file.") from None
    except UnicodeDecodeError:
        raise Problem(f"The batch '{path}' is not a text file: name a batch file.") from None
    try:
        return batch_from_json_dict(json.loads(text))
    except (ValueError, RecursionError) as error:
        said = str(error) if isinstance(error, FiguresError) else "It is not JSON: write it again."
        raise Problem(f"The batch '{path}' cannot be used. {said}") from None


def batch_from(named: str | None, home: Home) -> FittedBatch | None:
    """Return the rubber of the batch `named`, fitted; None where none is.

    Raises:
        Problem: there is no such batch, or it cannot be used.
    """
    if named is None:
        return None
    try:
        batch = load_batch(named, home)
        return fitted(batch, others=_others(batch.name, home))
    except FiguresError as error:
        raise Problem(str(error)) from None


def _others(name: str, home: Home) -> list[LearnedRubber]:
    """Return what was learned of this person's other batches; a file that cannot be used is left out."""
    found = []
    for file in sorted((home.folder / BATCHES_FOLDER).glob("*.json")):
        if file.stem != name:
            with contextlib.suppress(Problem):
                learned = load_batch(str(file), home).learned
                if learned is not None:
                    found.append(learned)
    return found


def batch_file(name: str, home: Home) -> Path:
    """Return where a batch of this name is kept.

    Raises:
        UsageProblem: the name cannot be a file's.
    """
    taken = name.partition(".")[0].upper() in NO_FILE or name[-1:] in (".", " ")
    if not name or not all(c.isalnum() or c in "._- " for c in name) or name.startswith(".") or len(name) > 80 or taken:
        raise UsageProblem(f"'{name}' cannot name a batch: use letters, digits, spaces, dots and dashes.")
    return home.folder / BATCHES_FOLDER / f"{name}.json"
