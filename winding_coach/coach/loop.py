"""A coach through the inputs of a wind that is over: the one loop of all who look at saved winds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Protocol

from winding_coach.base.inputs import Ended, Input


class Takes(Protocol):
    """What is stepped: `coach.step.Coach`, or `coach.unwinding.UnwindCoach`."""

    @property
    def finished(self) -> bool:
        """Whether the wind is closed."""

    def step(self, event: Input) -> None:
        """Take one input."""


def taken(coach: Takes, inputs: Iterable[Input], *, close: bool = True) -> Iterator[Input]:
    """Step a coach through inputs and yield each one after it was taken; nothing is taken once the wind is closed.

    close: end the wind after the last input where it is still open, as the end of a live one does (`Ended`).
    """
    at_s = 0.0
    for event in inputs:
        if coach.finished:
            return
        coach.step(event)
        at_s = event.at_s
        yield event
    if close and not coach.finished:
        end = Ended(at_s)
        coach.step(end)
        yield end
