"""What is noted of a wind as it happens: peak, launch, stalls, time in the band; and the summary made of it. Pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

from winding_coach.coach.follow import Edge
from winding_coach.coach.moment import Moment
from winding_coach.coach.phases import LOADED, WINDING
from winding_coach.coach.said import Alarm, Phase, Summary
from winding_coach.coach.view import Marks

BANDED = frozenset({Phase.WALK_IN, Phase.FINAL_TURNS})

MEAN_S = 0.5
"""Peak and launch are of torque averaged so long: ripple of a hand that slows down gets through the estimator."""
TURNS_REV_PER_S = 0.35
COMES_OFF, LONG_S = 0.8, 2.0
"""Torque below this share of its mean is on its way somewhere else; a silence so long begins a new mean."""


class Made(Protocol):
    """A value in the making: hears every moment with torque, and how long it lasted."""

    @property
    def value(self) -> float | None:
        """What it is so far; None while it cannot be known."""

    def tell(self, now: Moment, passed_s: float) -> None:
        """Take one moment."""


class Share:
    """Which share of the time that counts something was so."""

    def __init__(self, counts: Callable[[Moment], bool], is_so: Callable[[Moment], bool]) -> None:
        self._counts, self._is_so = counts, is_so
        self._counted_s = self._so_s = 0.0

    @property
    def value(self) -> float | None:
        return self._so_s / self._counted_s if self._counted_s > 0 else None

    def tell(self, now: Moment, passed_s: float) -> None:
        if self._counts(now):
            self._counted_s += passed_s
            self._so_s += passed_s if self._is_so(now) else 0.0


def _banded(now: Moment) -> bool:
    """Whether the rate is asked to be in its band, and known."""
    return now.phase in BANDED and now.rate_Nm_per_s is not None and now.silent_s < 0.5


def _in_band(now: Moment) -> bool:
    return (now.rate_low_Nm_per_s or 0.0) <= (now.rate_Nm_per_s or 0.0) <= (now.rate_high_Nm_per_s or 0.0)


MADE: dict[str, Callable[[], Made]] = {
    "time_in_rate_band": lambda: Share(_banded, _in_band),
}
"""How a value of the table is made, by its name. Those that hang together (peak, launch, stalls) are in `Notes`."""


class Notes:
    """Kept up to date by `tell` and `alarmed`; read through `marks` and `summary`."""

    def __init__(self) -> None:
        self.top_Nm = 0.0
        self._top_turns: float | None = None
        self._launch_Nm: float | None = None
        self._launch_turns: float | None = None
        self._stalls = 0
        self._stalled_s = 0.0
        self._stalled_at_s: float | None = None
        self._made = {name: new() for name, new in MADE.items()}
        self._before_s: float | None = None
        self._mean_Nm: float | None = None
        self._low_s = 0.0
        self._marks: Marks | None = None
        self._top_at_s: float | None = None
        self._edge = Edge()

    def tell(self, now: Moment) -> None:
        """Take one moment."""
        passed = 0.0 if self._before_s is None else now.at_s - self._before_s
        self._before_s = now.at_s
        if now.by_taps:
            self._tapped(now)
        if now.torque_Nm is None:
            return
        mean_Nm = self._mean(now.torque_Nm, passed)
        # A crank that stands in mid-turn shows its ripple as torque: what it showed while turning is the peak.
        slow = now.cranking is False or (now.crank_rev_per_s is not None and abs(now.crank_rev_per_s) < TURNS_REV_PER_S)
        turning = not slow or self.top_Nm == 0.0
        if now.phase in LOADED and turning and mean_Nm > self.top_Nm and now.phase is not Phase.READY:
            self.top_Nm, self._top_turns, self._marks = mean_Nm, now.turns, None
            self._top_at_s = now.at_s
        if now.phase in WINDING:
            self._edge.tell(now.at_s, now.torque_Nm, now.turns)
        if now.phase is Phase.READY and now.gone_s == 0.0 and now.torque_Nm > COMES_OFF * mean_Nm:
            self._launch_Nm, self._launch_turns, self._marks = mean_Nm, now.turns, None
        for made in self._made.values():
            made.tell(now, passed)

    def _tapped(self, now: Moment) -> None:
        """Without torque the tapped turns are what is known: the most of them, and those at launch."""
        if now.turns is None:
            return
        if now.phase is Phase.READY:
            self._launch_turns, self._marks = now.turns, None
        elif now.turns > (self._top_turns or 0.0):
            self._top_turns, self._top_at_s, self._marks = now.turns, now.at_s, None

    def _mean(self, torque_Nm: float, passed: float) -> float:
        """Torque without what ripple is left in it; a motor that comes off is not averaged in."""
        before = self._mean_Nm
        if before is None or torque_Nm < COMES_OFF * before or passed > LONG_S:
            # A step, a gap or a motor that comes off: begin anew, but do not note what is falling.
            self._mean_Nm = torque_Nm if before is None or passed > LONG_S else before
            if torque_Nm < COMES_OFF * self._mean_Nm:
                self._low_s += passed
                if self._low_s > MEAN_S:
                    self._mean_Nm, self._low_s = torque_Nm, 0.0
            return self._mean_Nm
        self._low_s = 0.0
        self._mean_Nm = before + (torque_Nm - before) * min(passed / MEAN_S, 1.0)
        return self._mean_Nm

    def ended(self) -> None:
        """The climb is over. Where steps let torque fall its highest may lie far back: the turns are the last's."""
        at_s, turns = self._edge.at_s, self._edge.turns
        if turns is not None and self._top_turns is not None and turns > self._top_turns:
            self._top_turns, self._top_at_s, self._marks = turns, at_s, None

    def alarmed(self, alarm: Alarm) -> None:
        """Take one alarm that went on or off."""
        if alarm.code != "crank_stalled":
            return
        if alarm.active:
            self._stalls += 1
            self._stalled_at_s = alarm.at_s
        elif self._stalled_at_s is not None:
            self._stalled_s += alarm.at_s - self._stalled_at_s
            self._stalled_at_s = None

    def uncounted(self) -> None:
        """Turns that were noted may not have been so: the sensor that counted them is dead, nobody knows since when."""
        self._top_turns = self._launch_turns = self._marks = None

    @property
    def marks(self) -> Marks:
        """Peak and launch figures so far."""
        if self._marks is None:
            self._marks = Marks(
                self.top_Nm or None, self._top_turns, self._launch_Nm, self._launch_turns, self._top_at_s
            )
        return self._marks

    def summary(
        self,
        at_s: float,
        outcome: str,
        lost_lines: int,
        energy_J: float | None,
        *,
        handed_s: float | None = None,
        checks: tuple[str, ...] = (),
    ) -> Summary:
        """Return the wind in figures, as of `at_s`. handed_s: when the motor was last seen on the hook, ready."""
        stalled = self._stalled_s + (0.0 if self._stalled_at_s is None else at_s - self._stalled_at_s)
        off = None
        if self._top_turns is not None and self._launch_turns is not None:
            off = self._top_turns - self._launch_turns
        found = Summary(
            at_s=at_s,
            outcome=outcome,
            peak_torque_Nm=self.top_Nm or None,
            peak_turns=self._top_turns,
            backed_off_turns=off,
            launch_torque_Nm=self._launch_Nm,
            launch_turns=self._launch_turns,
            energy_stored_J=energy_J,
            stalls=self._stalls,
            stalled_s=stalled,
            lost_lines=lost_lines,
            duration_s=at_s,
            wait_s=None if handed_s is None or self._top_at_s is None else handed_s - self._top_at_s,
            checks=checks,
        )
        made: dict[str, Any] = {name: made.value for name, made in self._made.items()}
        return replace(found, **made)
