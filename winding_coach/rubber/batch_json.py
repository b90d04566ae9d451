"""The facts of a batch as a JSON object, version 1, and back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from winding_coach.rubber.batch import Batch
from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.strength import Wound

FORMAT, VERSION = "winding-coach batch", 1
BEYOND = 1e300
"""No figure is so large; whole numbers of any length are compared with it, but could not be made floats."""


def batch_to_json_dict(batch: Batch) -> dict[str, Any]:
    """Return the batch as an object ready for `json.dumps`."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "name": batch.name,
        "wound": [{"stretch": wound.stretch, "broke": wound.broke} for wound in batch.wound],
        "torque_scales": list(batch.torque_scales),
        "set_limit": batch.set_limit,
    }


def batch_from_json_dict(said: object) -> Batch:
    """Return the batch that such an object holds; unknown keys are ignored.

    Raises:
        FiguresError: it is no such object, of another version, or holds what is no number.
    """
    if not isinstance(said, Mapping) or said.get("format") != FORMAT:
        raise FiguresError(f'This is no batch file: its "format" must be "{FORMAT}".')
    if said.get("version") != VERSION:
        raise FiguresError(f"This batch file is not of version {VERSION}: use the program that wrote it to export it.")
    wound, scales, set_limit = said.get("wound") or [], said.get("torque_scales") or [], said.get("set_limit")
    if not isinstance(wound, list) or not isinstance(scales, list):
        raise FiguresError('In this batch file "wound" and "torque_scales" must be lists: mend or write it again.')
    return Batch(
        name=str(said.get("name", "")),
        wound=tuple(_wound(row) for row in wound),
        torque_scales=tuple(_number(scale, "torque scale") for scale in scales),
        set_limit=None if set_limit is None else _number(set_limit, "set_limit"),
    )


def _wound(row: object) -> Wound:
    if not isinstance(row, Mapping) or not isinstance(row.get("broke"), bool):
        raise FiguresError('In this batch file each of "wound" needs "stretch" and "broke" (true or false): mend it.')
    return Wound(_number(row.get("stretch"), "stretch"), row["broke"])


def _number(value: object, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < BEYOND:
        raise FiguresError(f"A {what} in this batch file is no number: mend the file or write it again.")
    return float(value)
