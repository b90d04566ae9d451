"""A moment is made with its fields in their order: each argument must be the field that stands at its place."""

from __future__ import annotations

import inspect
import re
from dataclasses import fields, replace

from tests.scenario import SMALL, wind
from winding_coach.coach.gathering import Gathering
from winding_coach.coach.moment import Moment
from winding_coach.coach.said import Phase
from winding_coach.coach.step import Coach


def test_each_value_of_a_moment_stands_at_its_own_field() -> None:
    source = inspect.getsource(Gathering._gathered)
    lines = source.partition("return Moment(\n")[2].partition("\n        )\n")[0].splitlines()
    named = []
    for line in lines:
        argument, _, comment = line.strip().partition("  # ")
        name = re.search(r"(\w+)(?:\([^)]*\))?,$", argument)
        named.append(comment or (name.group(1) if name else argument))
    assert named == [field.name for field in fields(Moment)]


def test_what_a_review_looks_at_is_the_view_without_chances_and_without_the_mark() -> None:
    coach = Coach(SMALL)
    for number, event in enumerate(wind("good", 3, settings=SMALL)):
        coach.step(event)
        if number % 25:
            continue
        whole, seen = coach.view, coach.look(whole=False)
        targets = replace(whole.targets, stand_at_m=seen.targets.stand_at_m)
        assert seen == replace(whole, peak_risk=None, reading=replace(whole.reading, break_risk=None), targets=targets)
        if whole.phase is not Phase.WALK_IN:
            assert targets == whole.targets
    assert coach.finished or whole.phase is Phase.DONE
