"""Wrapping counters of the meter to ones that do not: device seconds, crank turns, lost lines, restarts. Pure."""

from __future__ import annotations

from winding_coach.base.values import value
from winding_coach.meter.frames import SETTLING, U16, U32, Sample

CLOCK_BACK_US = U32 // 2
MOST_LINES_PER_S = 2000
SEQ_SLACK = 16
CRANK_JUMP = 64
"""More turns of the crank than this between two lines is a counter that began anew, not a hand."""
MOST_JUMP = U16 // 4
SHORTEST_WRAP_US, LONGEST_WRAP_STEP_US = 2**20, 700_000
MAX_REV_PER_S, SPARE_TURNS = 6.0, 2.0
"""Nor is what no hand does in the time between them; assumed."""
STANDS_AFTER = 8
"""So many lines in a row with the clock or the line number of the one before: it stands still."""
AFTER_RESTART_S = 0.05
"""The device's clock says nothing of the time a restart took; the coach's clock does. A small step keeps order."""


@value(frozen=True, slots=True)
class Unwrapped:
    """device_s: never goes back, across restarts too. crank: pulses since the first line. lost: lines missing."""

    device_s: float
    crank: int | None
    lost: int
    restarted: bool


class DeviceClock:
    """Takes the samples of one meter in the order they came."""

    def __init__(self) -> None:
        self._before: Sample | None = None
        self._device_us = 0
        self._crank: int | None = None
        self._crank_before: int | None = None
        self._new_link = False
        self.found_wrap_us: int | None = None
        """Where t_us started again without being declared, and the lines went on; None while it has not."""
        self._standing_run = 0
        self.standing: str | None = None
        """What of the meter's line stands still ("clock", "line number" or both), None if nothing does."""

    def link_up(self) -> None:
        """The link is new: lines may be missing, and the meter may have restarted meanwhile."""
        self._new_link = True

    def add(
        self, sample: Sample, *, quadrature: bool, pulses_per_turn: int = 1, wrap_us: int = U32
    ) -> Unwrapped | None:
        """Return the sample's unwrapped figures, None for a line that came twice. wrap_us: where t_us starts again."""
        before, self._before = self._before, sample
        if before is None:
            self._crank_before = sample.crank
            self._crank = None if sample.crank is None else 0
            return Unwrapped(0.0, self._crank, 0, False)
        step_seq = (sample.seq - before.seq) % U16
        if sample.t_us < before.t_us:
            found = wrap_found(before, sample, step_seq)
            if found is not None and found != wrap_us:
                self.found_wrap_us = wrap_us = found
        step_us = (sample.t_us - before.t_us) % wrap_us
        if step_us and step_seq:
            self._standing_run, self.standing = 0, None
        else:
            self._watch(step_us, step_seq)
            if step_us == 0 and step_seq == 0:
                return None
        restarted = (
            step_us >= (CLOCK_BACK_US if wrap_us == U32 else min(CLOCK_BACK_US, wrap_us // 2))
            or step_seq == 0
            # Only a start is followed by settling lines: it tells a restart just before the clock's wrap from the wrap.
            or (sample.flags & SETTLING) > (before.flags & SETTLING)
            or (sample.t_us < before.t_us and not _wrapped(before, sample, wrap_us))
            # More lines than any meter sends in that time: the sequence went back.
            or step_seq - SEQ_SLACK > step_us * MOST_LINES_PER_S / 1e6
        )
        # A clock that jumps back while lines and pulses go on is no start: the count stays what it was.
        goes_on = restarted and _goes_on(before, sample, step_seq)
        if restarted:
            self._device_us += int(AFTER_RESTART_S * 1e6)
            lost = max(step_seq - 1, 0) if goes_on else sample.seq
        else:
            self._device_us += step_us
            lost = step_seq - 1
        if self._new_link:
            # What was missed while the link was down is a gap, not lost lines.
            lost, self._new_link = 0, False
        if sample.crank is not None and (restarted or sample.crank != self._crank_before or self._crank is None):
            turns = CRANK_JUMP if restarted else min(MAX_REV_PER_S * step_us / 1e6 + SPARE_TURNS, CRANK_JUMP)
            self._count(sample.crank, restarted and not goes_on, quadrature, min(turns * pulses_per_turn, MOST_JUMP))
        return Unwrapped(self._device_us / 1e6, self._crank, lost, restarted)

    def _watch(self, step_us: int, step_seq: int) -> None:
        """Notice a clock or a line number that stands still."""
        stands = [name for name, step in (("clock", step_us), ("line number", step_seq)) if step == 0]
        self._standing_run += 1
        self.standing = " and ".join(stands) if self._standing_run >= STANDS_AFTER else None

    def _count(self, crank: int, restarted: bool, quadrature: bool, most: float) -> None:
        if self._crank is None or self._crank_before is None:
            self._crank, self._crank_before = self._crank or 0, crank
            return
        change = crank if restarted else (crank - self._crank_before) % U16
        self._crank_before = crank
        if change >= U16 // 2:
            change -= U16
        if abs(change) > most or (change < 0 and not quadrature):
            change = 0
        self._crank += change


def _goes_on(before: Sample, now: Sample, step_seq: int) -> bool:
    """Whether line number and crank go on from a line well after the start: only the clock began elsewhere."""
    if before.seq <= SEQ_SLACK or step_seq > SEQ_SLACK or now.flags & SETTLING & ~before.flags:
        return False
    if now.crank is None or before.crank is None:
        return True
    return abs((now.crank - before.crank + U16 // 2) % U16 - U16 // 2) <= MAX_REV_PER_S


def _wrapped(before: Sample, now: Sample, wrap_us: int) -> bool:
    """Whether a smaller t_us is the wrap of the counter: it was near its end and is near its beginning."""
    minute_us = min(60_000_000, wrap_us // 4)
    return before.t_us > wrap_us - minute_us and now.t_us < minute_us


def wrap_found(before: Sample, now: Sample, step_seq: int) -> int | None:
    """Return the power of two below 2^32 at which t_us started again while the lines went on; None where it did not.

    A meter that restarts begins its sequence again; one whose clock is shorter than 32 bits does not.
    """
    if now.t_us >= before.t_us or not 0 < step_seq <= SEQ_SLACK or now.flags & SETTLING & ~before.flags:
        return None
    wrap_us = 1 << before.t_us.bit_length()
    step_us = now.t_us + wrap_us - before.t_us
    return wrap_us if SHORTEST_WRAP_US <= wrap_us < U32 and step_us <= LONGEST_WRAP_STEP_US * step_seq else None
