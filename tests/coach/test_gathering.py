"""A moment is made with its fields in their order: each argument must be the field that stands at its place."""

from __future__ import annotations

import inspect
import re
from dataclasses import fields

from winding_coach.coach.gathering import Gathering
from winding_coach.coach.moment import Moment


def test_each_value_of_a_moment_stands_at_its_own_field() -> None:
    source = inspect.getsource(Gathering._gathered)
    lines = source.partition("return Moment(\n")[2].partition("\n        )\n")[0].splitlines()
    named = []
    for line in lines:
        argument, _, comment = line.strip().partition("  # ")
        name = re.search(r"(\w+)(?:\([^)]*\))?,$", argument)
        named.append(comment or (name.group(1) if name else argument))
    assert named == [field.name for field in fields(Moment)]
