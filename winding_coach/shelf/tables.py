"""Records to rows and back: a record's class names its table, its fields the columns; what a record may hold. Pure."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Sequence
from typing import Any, TypeAlias, TypeVar

from winding_coach.base.wind_values import BY_NAME, VALUES, WindValues
from winding_coach.shelf.records import (
    Again,
    Batch,
    Flight,
    KeptCalibration,
    Meter,
    Model,
    Motor,
    Person,
    Strip,
    Wind,
    Winder,
)

Named: TypeAlias = Batch | Motor | Winder | Model | Person | Meter
"""What people name: the key is the name."""
N = TypeVar("N", bound=Named)
T = TypeVar("T", bound=Named | Wind | Flight | Again | KeptCalibration | Strip)
KINDS: dict[str, type[Named]] = {
    "batch": Batch,
    "motor": Motor,
    "winder": Winder,
    "model": Model,
    "person": Person,
    "meter": Meter,
}
"""In the order in which they refer to each other: a motor names its batch."""


def table_of(kind: type) -> str:
    """Return the table's name."""
    return kind.__name__.lower()


_NAMES = tuple(value.name for value in VALUES)
_STAND_BEFORE: dict[type, dict[str, tuple[str, ...]]] = {
    Wind: {"remarks": _NAMES[:11], "checks": _NAMES[11:12]},
    Again: {"trace_lacks": _NAMES[:11]},
}
"""Before which of a record's own fields its first values stand; all that came later are at its end, so none moves."""


def _in_order(kind: type) -> tuple[dataclasses.Field[Any], ...]:
    """Return a record's fields in the order of its columns, the key first."""
    fields = {field.name: field for field in dataclasses.fields(kind)}
    if not issubclass(kind, WindValues):
        return tuple(fields.values())
    names: list[str] = []
    for own in (name for name in fields if name not in BY_NAME):
        names += [*_STAND_BEFORE[kind].get(own, ()), own]
    return tuple(fields[name] for name in (*names, *(name for name in _NAMES if name not in names)))


_FIELDS: dict[type, tuple[dataclasses.Field[Any], ...]] = {
    kind: _in_order(kind) for kind in (*KINDS.values(), Wind, Flight, Again, KeptCalibration, Strip)
}
_COLUMNS = {kind: tuple(field.name for field in fields) for kind, fields in _FIELDS.items()}
_SPELLED: dict[type, tuple[tuple[int, bool], ...]] = {
    kind: tuple(
        (i, "tuple" in str(field.type))
        for i, field in enumerate(fields)
        if "tuple" in str(field.type) or "bool" in str(field.type)
    )
    for kind, fields in _FIELDS.items()
}
"""Place of each field that SQLite has no type for, and whether it is several figures (else truth)."""


def columns_of(kind: type) -> tuple[str, ...]:
    """Return the columns' names, in the order of the fields."""
    return _COLUMNS[kind]


def typed_columns_of(kind: type) -> tuple[tuple[str, str], ...]:
    """Return the columns' names and what their fields' annotations say, in the same order."""
    fields = _FIELDS.get(kind) or dataclasses.fields(kind)
    return tuple((field.name, str(field.type)) for field in fields)


def as_dict(record: Named | Wind | Flight | Strip | Again) -> dict[str, Any]:
    """Return a record as an object for JSON; `dataclasses.asdict` copies every value and takes ten times as long."""
    return {name: getattr(record, name) for name in _COLUMNS[type(record)]}


def row_of(record: object) -> tuple[Any, ...]:
    """Return a record's values as a row: figures that belong together as JSON, truth as 1 and 0."""
    kind = type(record)
    values = [getattr(record, name) for name in columns_of(kind)]
    for i, figures in _SPELLED[kind]:
        if values[i] is not None:
            values[i] = json.dumps(values[i]) if figures else int(values[i])
    return tuple(values)


def record_of(kind: type[T], row: Sequence[Any]) -> T:
    """Return the record of a row with `columns_of(kind)`."""
    values = list(row)
    for i, figures in _SPELLED[kind]:
        if values[i] is not None:
            values[i] = tuple(json.loads(values[i])) if figures else bool(values[i])
    return kind(**dict(zip(_COLUMNS[kind], values, strict=True)))


LONGEST_NAME = 40


def is_name(name: object) -> bool:
    """Whether this may name something on the shelf: it will stand in file names, on labels and in a terminal."""
    return (
        isinstance(name, str)
        and 0 < len(name) <= LONGEST_NAME
        and name == name.strip()
        and name[0] not in ".-"
        and all(c.isalnum() or c in "._- +" for c in name)
    )


def is_sound(record: object) -> bool:
    """Whether each field holds what its annotation says and figures are finite: another program's file may not."""
    return all(_holds(str(field.type), getattr(record, field.name)) for field in dataclasses.fields(type(record)))  # type: ignore[arg-type]


def _holds(annotated: str, value: object) -> bool:
    if value is None:
        return "None" in annotated
    if "tuple" in annotated:
        return isinstance(value, tuple) and all(_holds("float", one) for one in value)
    if isinstance(value, bool):
        return "bool" in annotated
    if isinstance(value, str):
        return "str" in annotated
    if isinstance(value, int):
        return "int" in annotated or "float" in annotated
    return isinstance(value, float) and "float" in annotated and math.isfinite(value)
