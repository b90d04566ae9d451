"""The one tree of exceptions, as it is drawn."""

from __future__ import annotations

import importlib
import inspect
import pkgutil

import winding_coach
from winding_coach.base import errors
from winding_coach.base.errors import CoachError


def _classes() -> set[type[BaseException]]:
    found = set()
    for module in pkgutil.walk_packages(winding_coach.__path__, "winding_coach."):
        if module.name.endswith("__main__"):
            continue
        for _, one in inspect.getmembers(importlib.import_module(module.name), inspect.isclass):
            if issubclass(one, BaseException) and one.__module__.startswith("winding_coach") and one.__name__[0] != "_":
                found.add(one)
    return found


def test_every_exception_is_where_the_drawing_has_it() -> None:
    drawn: dict[str, str | None] = {}
    above: list[str] = []
    for line in str(errors.__doc__).splitlines():
        depth, text = divmod(len(line) - len(line.lstrip()), 2)[0] - 2, line.split()
        if depth < 0 or not text:
            continue
        above[depth:] = [text[0]]
        drawn[text[0]] = above[depth - 1] if depth else None
    classes = _classes()
    assert drawn == {
        one.__name__: None
        if one is CoachError
        else next(b.__name__ for b in one.__bases__ if issubclass(b, CoachError))
        for one in classes
    }
    also = {
        name for line in str(errors.__doc__).splitlines() if "(also ValueError)" in line for name in line.split()[:1]
    }
    assert also == {one.__name__ for one in classes if ValueError in one.__bases__}
