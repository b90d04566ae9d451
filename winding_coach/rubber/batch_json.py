"""The facts of a batch as a JSON object, version 2, and back; version 1 is read too."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from winding_coach.rubber.batch import Batch
from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.learned import NAMES, Learned
from winding_coach.rubber.looseness import LAWS
from winding_coach.rubber.strength import Wound

FORMAT, VERSION = "winding-coach batch", 2
BEYOND = 1e300
"""No figure is so large; whole numbers of any length are compared with it, but could not be made floats."""


def batch_to_json_dict(batch: Batch) -> dict[str, Any]:
    """Return the batch as an object ready for `json.dumps`."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "name": batch.name,
        "wound": [wound_to_json_dict(wound) for wound in batch.wound],
        "torque_scales": list(batch.torque_scales),
        "set_limit": batch.set_limit,
        "learned": None if batch.learned is None else _learned_dict(batch.learned),
    }


def wound_to_json_dict(wound: Wound) -> dict[str, Any]:
    """Return one motor's row."""
    by_law = {} if wound.by_law is None else {"by_law": dict(zip(LAWS, wound.by_law, strict=True))}
    return {"stretch": wound.stretch, "broke": wound.broke, **by_law}


def _learned_dict(learned: Learned) -> dict[str, Any]:
    return {
        "properties": dict(zip(NAMES, learned.mean, strict=True)),
        "covariance": [list(row) for row in learned.covariance],
        "misfit": list(learned.misfit),
        "winds": learned.winds,
        "told": list(learned.told),
    }


def batch_from_json_dict(said: object) -> Batch:
    """Return the batch that such an object holds; unknown keys are ignored.

    Raises:
        FiguresError: it is no such object, of another version, or holds what is no number.
    """
    if not isinstance(said, Mapping) or said.get("format") != FORMAT:
        raise FiguresError(f'This is no batch file: its "format" must be "{FORMAT}".')
    if said.get("version") not in (1, VERSION):
        raise FiguresError(f"This batch file is not of version {VERSION}: use the program that wrote it to export it.")
    wound, scales, set_limit = said.get("wound") or [], said.get("torque_scales") or [], said.get("set_limit")
    if not isinstance(wound, list) or not isinstance(scales, list):
        raise FiguresError('In this batch file "wound" and "torque_scales" must be lists: fix it or write it again.')
    return Batch(
        name=str(said.get("name", "")),
        wound=tuple(_wound(row) for row in wound),
        torque_scales=tuple(_number(scale, "torque scale") for scale in scales),
        set_limit=None if set_limit is None else _number(set_limit, "set_limit"),
        learned=_learned(said.get("learned")),
    )


def _learned(said: object) -> Learned | None:
    """Return what was learned; None where there is nothing, or it is of other properties than today's."""
    if said is None:
        return None
    if not isinstance(said, Mapping) or not isinstance(said.get("properties"), Mapping):
        raise FiguresError('In this batch file "learned" must hold "properties": fix it or fit the batch again.')
    if set(said["properties"]) != set(NAMES):
        return None
    rows, misfit, told = said.get("covariance"), said.get("misfit"), said.get("told")
    size = len(NAMES)
    square = isinstance(rows, list) and len(rows) == size and all(isinstance(r, list) and len(r) == size for r in rows)
    if not square or not isinstance(misfit, list) or len(misfit) != 2 or not isinstance(told, list):
        raise FiguresError('In this batch file "learned" is not complete: fit the batch again.')
    assert isinstance(rows, list)
    covariance = tuple(tuple(_number(value, "covariance") for value in row) for row in rows)
    if not all(covariance[i][i] > 0.0 for i in range(size)):
        raise FiguresError('In this batch file the covariance of "learned" cannot be: fit the batch again.')
    return Learned(
        tuple(_number(said["properties"][name], name) for name in NAMES),
        covariance,
        (_number(misfit[0], "misfit"), _number(misfit[1], "misfit")),
        int(_number(said.get("winds"), "winds")),
        tuple(name for name in NAMES if name in told),
    )


def _wound(row: object) -> Wound:
    if not isinstance(row, Mapping) or not isinstance(row.get("broke"), bool):
        raise FiguresError('In this batch file each of "wound" needs "stretch" and "broke" (true or false): fix it.')
    by_law = row.get("by_law")
    if by_law is None:
        return Wound(_number(row.get("stretch"), "stretch"), row["broke"])
    if not isinstance(by_law, Mapping):
        raise FiguresError(
            'In this batch file "by_law" must name a stretch for each law: fix it or fit the batch again.'
        )
    a, b, c = (_number(by_law.get(law), "stretch") for law in LAWS)
    return Wound(_number(row.get("stretch"), "stretch"), row["broke"], (a, b, c))


def _number(value: object, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < BEYOND:
        raise FiguresError(f"A {what} in this batch file is not a number: fix the file or write it again.")
    return float(value)
