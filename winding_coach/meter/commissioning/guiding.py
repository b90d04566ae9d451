"""Samples and two keys in; which load to put on next, whether the reading has come to rest, and the points taken out.

Pure: time is the meter's own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from winding_coach.meter.commissioning.calibrating import Point
from winding_coach.meter.commissioning.steady import Plateau, SteadyWatch
from winding_coach.meter.reader import TorqueSample

HANDS_OFF_S = 0.5
"""Readings this soon after a load was confirmed are still of the hand."""
REST_WITHIN_S = 30.0
RESTLESS = "It does not come to rest: still the weight, keep off draughts, and take it again."
DRIFTS = "It drifts by {:+,.0f} counts a minute: let it warm up, keep it out of draughts, and take it again."
UNCHANGED = (
    "The reading did not change with the load: hang it (or take it off), then take it again. If it does hang, take it"
    " as it is."
)
FROZEN = (
    "The reading stands at one value and did not change with the load: the converter is frozen. Check it, its supply"
    " and the firmware ('meter check'); if nothing hangs, hang it."
)
AT_THE_END = "The reading is at the end of the converter's range: hang less, or turn its gain down."
UNCHANGED_SHARE, UNCHANGED_COUNTS, UNCHANGED_SDS = 0.05, 100.0, 4.0
"""Of the change that earlier loads made; in counts where none yet exceeds so many deviations of a mean."""


@dataclass(frozen=True, slots=True)
class Load:
    """What is to be on the meter: its torque in N·m, in words for a person, and a pull on the hook with its tilt."""

    torque_Nm: float
    words: str
    pull_N: float = 0.0
    tilt_rad: float = 0.0

    @property
    def ask(self) -> str:
        """What to do, in words."""
        if self.pull_N:
            return f"Put on {self.words}, hands off."
        if self.torque_Nm == 0.0:
            return "Take all weights off, hands off."
        return f"Load {self.words} ({1e3 * self.torque_Nm:+.3f} mN·m), hands off."


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

    def __init__(self, loads: Sequence[Load], taken: Sequence[Point] = ()) -> None:
        """taken: the points of the first loads, if they were taken before."""
        self._loads = tuple(loads)
        self._points: list[Point] = list(taken)
        self._watch = SteadyWatch()
        self._wanted = False
        self._since_s: float | None = None
        self._newest_s = 0.0
        self._counts: int | None = None
        self._trouble: str | None = None
        self._refused_at: int | None = None

    @property
    def view(self) -> GuideView:
        """What to show now."""
        done = len(self._points)
        finished = done == len(self._loads)
        load = self._loads[min(done, len(self._loads) - 1)]
        ask = "All loads are taken." if finished else load.ask
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
        self._refused_at = None
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
            self._wanted = False
            # What is taken a second time is believed: an arm on its stop does not move, and the set will show it.
            place, refused = len(self._points), self._refused(load, plateau)
            if refused is not None and self._refused_at != place:
                self._trouble, self._refused_at = refused, place
                return
            self._points.append(
                Point(
                    load.torque_Nm, plateau.counts, plateau.sd_counts, plateau.readings, load.words, plateau.saturated
                )
            )
        elif waited_s > REST_WITHIN_S:
            drift = self._watch.drift_per_min
            self._wanted, self._trouble = False, RESTLESS if drift is None else DRIFTS.format(drift)

    def _refused(self, load: Load, plateau: Plateau) -> str | None:
        """Why a reading cannot be this load's, said at once; None where it may be."""
        if plateau.saturated:
            return AT_THE_END
        place = len(self._points)
        # A pull may change nothing: that is what it is to be.
        if not self._points or load.pull_N or self._loads[place - 1].pull_N:
            return None
        before = self._points[-1]
        step_Nm = abs(load.torque_Nm - before.torque_Nm)
        slopes = [
            abs(b.counts - a.counts) / abs(b.torque_Nm - a.torque_Nm)
            for a, b in pairwise(self._points)
            if abs(b.torque_Nm - a.torque_Nm) > 0.01 * max(abs(a.torque_Nm), abs(b.torque_Nm))
        ]
        # Where no load changed anything so far, earlier ones are no measure.
        least = UNCHANGED_SHARE * max(slopes, default=0.0) * step_Nm
        noise = plateau.sd_counts / math.sqrt(plateau.readings)
        if least <= UNCHANGED_SDS * noise:
            least = UNCHANGED_COUNTS
        if not step_Nm > 0.0 or abs(plateau.counts - before.counts) >= least:
            return None
        return FROZEN if plateau.sd_counts == before.sd_counts == 0.0 else UNCHANGED
