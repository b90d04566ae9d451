"""Samples and two keys in; which load to put on next, whether the reading has come to rest, and the points taken out.

Pure: time is the meter's own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from winding_coach.meter.calibrating import Point
from winding_coach.meter.reader import TorqueSample
from winding_coach.meter.steady import SteadyWatch

HANDS_OFF_S = 0.5
"""Readings this soon after a load was confirmed are still of the hand."""
REST_WITHIN_S = 30.0
RESTLESS = "It does not come to rest: still the weight, keep off draughts, and take it again."


@dataclass(frozen=True, slots=True)
class Load:
    """What is to be on the meter: its torque in N·m, and how to tell a person."""

    torque_Nm: float
    words: str


@dataclass(frozen=True, slots=True)
class GuideView:
    """What to show. ask: what to put on now. counts: the newest reading. waiting_s: how long rest has been waited for,
    None while hands are at work. trouble: one sentence, or None."""

    number: int
    of: int
    ask: str
    counts: int | None
    waiting_s: float | None
    points: tuple[Point, ...]
    trouble: str | None
    finished: bool


class Guide:
    """Leads through the loads: `see` samples, `take` when a load hangs, `back` to take the last one again."""

    def __init__(self, loads: Sequence[Load]) -> None:
        self._loads = tuple(loads)
        self._points: list[Point] = []
        self._watch = SteadyWatch()
        self._wanted = False
        self._since_s: float | None = None
        self._newest_s = 0.0
        self._counts: int | None = None
        self._trouble: str | None = None

    @property
    def view(self) -> GuideView:
        """What to show now."""
        done = len(self._points)
        finished = done == len(self._loads)
        load = self._loads[min(done, len(self._loads) - 1)]
        if finished:
            ask = "All loads are taken."
        elif load.torque_Nm == 0.0:
            ask = "Take all weights off, hands off."
        else:
            ask = f"Load {load.words} ({1e3 * load.torque_Nm:+.3f} mN·m), hands off."
        waiting_s = None
        if self._wanted:
            waiting_s = 0.0 if self._since_s is None else self._newest_s - self._since_s
        return GuideView(
            min(done + 1, len(self._loads)),
            len(self._loads),
            ask,
            self._counts,
            waiting_s,
            tuple(self._points),
            self._trouble,
            finished,
        )

    def take(self) -> None:
        """The load hangs: take its reading as soon as it is at rest."""
        if len(self._points) < len(self._loads):
            self._wanted, self._since_s, self._trouble = True, None, None
            self._watch.restart()

    def back(self) -> None:
        """Stop waiting; or, if nothing is waited for, forget the last point."""
        if not self._wanted and self._points:
            self._points.pop()
        self._wanted, self._trouble = False, None

    def see(self, samples: Iterable[TorqueSample]) -> None:
        """Take what the meter sent."""
        for sample in samples:
            self._newest_s = sample.device_s
            self._counts = sample.raw
            if self._wanted:
                self._wait(sample)

    def _wait(self, sample: TorqueSample) -> None:
        if self._since_s is None:
            self._since_s = sample.device_s
        waited_s = sample.device_s - self._since_s
        if waited_s < HANDS_OFF_S:
            return
        plateau = self._watch.add(sample)
        if plateau is not None:
            load = self._loads[len(self._points)]
            self._points.append(
                Point(
                    load.torque_Nm, plateau.counts, plateau.sd_counts, plateau.readings, load.words, plateau.saturated
                )
            )
            self._wanted = False
        elif waited_s > REST_WITHIN_S:
            self._wanted, self._trouble = False, RESTLESS
