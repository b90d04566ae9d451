"""Lines of a crank sender, with the times they came, in; the crank's count at the time of a meter's line out. Pure.

The sender has a clock of its own, as the meter has: both are laid on the time of arrival by the quickest of their
recent lines, since radio only ever delays. What the handle did is then shown DELAY_S later than it was: lines
that are up to that late are still in time, and counts keep the distances that they had at the handle.
"""

from __future__ import annotations

from collections import deque

from winding_coach.meter.clock import DeviceClock
from winding_coach.meter.frames import BATTERY_LOW, CrankLine, Sample

DELAY_S = 0.1
"""A line of a sender comes each 0.1 s at least; by radio most are there within some 20 ms (from memory)."""
LATE_S = 0.25
"""A line later than this is called late: the stall watch would have to wait for it."""
UNHEARD_S = 0.35
"""Three lines in a row did not come: what the handle does is not known."""
GONE_S = 3.0
WINDOW_S = 15.0
RECENT_LINES = 100
MANY_LOST, MANY_LATE = 0.05, 0.05
"""Shares of the newest lines that are worth a word."""


class OnArrival:
    """Lays a device's clock on the time of arrival: by the least delay of the last 15 to 30 s."""

    def __init__(self) -> None:
        self._before: float | None = None
        self._now: float | None = None
        self._since_s = 0.0

    def add(self, device_s: float, at_s: float) -> float:
        """Take a line; return how much later than the quickest it came."""
        lag_s = at_s - device_s
        if self._now is None or at_s - self._since_s > WINDOW_S:
            self._before, self._now, self._since_s = self._now, lag_s, at_s
        self._now = min(self._now, lag_s)
        return lag_s - self.offset_s

    @property
    def offset_s(self) -> float:
        """Time of arrival of a line of no delay, less the device's; 0 before any."""
        known = [lag for lag in (self._before, self._now) if lag is not None]
        return min(known, default=0.0)


class CrankSender:
    """`take` its lines; `count` is what it had counted at the time of a meter's line.

    lines, lost, late, restarts: so far. pulses_per_turn, two_sensors, battery_low: by its newest line.
    """

    def __init__(self) -> None:
        self.lines = self.lost = self.late = self.restarts = 0
        self.worst_late_s = 0.0
        self.pulses_per_turn, self.two_sensors, self.battery_low = 1, False, False
        self._clock, self._arrival, self._meter = DeviceClock(), OnArrival(), OnArrival()
        self._recent: deque[tuple[int, bool]] = deque(maxlen=RECENT_LINES)
        self._coming: deque[tuple[float, int]] = deque()
        self._newest: tuple[float, int] | None = None
        self._count: int | None = None
        self._heard_at_s: float | None = None
        self._at_s = 0.0

    @property
    def heard(self) -> bool:
        """Whether it has ever sent a line."""
        return self.lines > 0

    def take(self, line: CrankLine, at_s: float) -> None:
        """Take a line that came at a time."""
        self.pulses_per_turn, self.two_sensors = line.pulses_per_turn, line.two_sensors
        self.battery_low = bool(line.flags & BATTERY_LOW)
        unwrapped = self._clock.add(
            Sample(line.seq, line.t_us, None, crank=line.crank),
            quadrature=line.two_sensors,
            pulses_per_turn=line.pulses_per_turn,
        )
        if unwrapped is None or unwrapped.crank is None:
            return
        if unwrapped.restarted:
            # Its clock begins again, and nobody knows how long it was away.
            self._arrival = OnArrival()
        late_s = self._arrival.add(unwrapped.device_s, at_s)
        lost = 0 if unwrapped.restarted else unwrapped.lost
        self.lines, self.lost = self.lines + 1, self.lost + lost
        self.late += late_s > LATE_S
        self.restarts += unwrapped.restarted
        self.worst_late_s = max(self.worst_late_s, late_s)
        # What was lost in a silence was said to be one.
        silent = self._heard_at_s is not None and at_s - self._heard_at_s > UNHEARD_S
        self._recent.append((0 if silent else lost, late_s > LATE_S))
        self._heard_at_s = at_s
        self._counted(unwrapped.device_s - (line.age_ms or 0) / 1000.0, unwrapped.crank, lost)

    def _counted(self, pulse_s: float, crank: int, lost: int) -> None:
        before, self._newest = self._newest, (pulse_s, crank)
        if before is None:
            self._count = crank
            return
        steps = crank - before[1]
        if not steps:
            self._newest = before
            return
        # Counts whose own lines were lost are spread over the time between those that came.
        for step in range(1, abs(steps)) if lost else ():
            share = step / abs(steps)
            self._coming.append((before[0] + share * (pulse_s - before[0]), before[1] + round(share * steps)))
        self._coming.append((pulse_s, crank))

    def meter_restarted(self) -> None:
        """The meter's clock began again."""
        self._meter = OnArrival()

    def count(self, meter_s: float, at_s: float) -> float | None:
        """Return the turns of the crank at a line of the meter, of its device time and arrival; None while unheard."""
        self._at_s = at_s
        self._meter.add(meter_s, at_s)
        now_s = meter_s + self._meter.offset_s - self._arrival.offset_s - DELAY_S
        while self._coming and self._coming[0][0] <= now_s:
            self._count = self._coming.popleft()[1]
        return None if self._count is None or self.unheard else self._count / self.pulses_per_turn

    @property
    def silent_s(self) -> float:
        """Seconds since its newest line; 0 before any."""
        return 0.0 if self._heard_at_s is None else max(self._at_s - self._heard_at_s, 0.0)

    @property
    def unheard(self) -> bool:
        """Whether what the handle does is not known now."""
        return self.silent_s > UNHEARD_S

    @property
    def gone(self) -> bool:
        """Whether it has been unheard for so long that its count is not waited for."""
        return self.silent_s > GONE_S

    @property
    def trouble(self) -> str | None:
        """What is to be said of it now, None where all is well."""
        found = self._troubled()
        return None if found is None else found[1]

    @property
    def sign(self) -> str | None:
        """The same in a few words, to stand on a screen."""
        found = self._troubled()
        return None if found is None else found[0]

    def _troubled(self) -> tuple[str, str] | None:
        if not self.heard:
            return None
        if self.unheard:
            why = f"the crank sender has been silent for {self.silent_s:.1f} s: its battery, or out of reach"
            return "crank sender silent", why
        lines = len(self._recent)
        lost = sum(lost for lost, _ in self._recent)
        late = sum(late for _, late in self._recent)
        if lines == RECENT_LINES and lost > MANY_LOST * (lines + lost):
            share = f"{lost / (lines + lost):.0%}"
            return f"crank sender: {share} lost", f"{share} of the crank sender's lines are lost: bring it nearer"
        if lines == RECENT_LINES and late > MANY_LATE * lines:
            share = f"{late / lines:.0%}"
            return (
                f"crank sender: {share} late",
                f"{share} of the crank sender's lines come more than {LATE_S:g} s late",
            )
        return ("crank sender: battery low", "the crank sender's battery is low") if self.battery_low else None
