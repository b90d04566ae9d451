"""A crank sender's lines in; each way in which they break the protocol out, named. Pure."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from winding_coach.meter.frames import BATTERY_LOW, LINE_DROPPED, U16, U32, CrankLine, Hello, parse_body

EVERY_S, SLACK_S = 0.2, 0.15
"""A sender's line comes at each count and each 0.1 s; twice that is allowed, and radio delays."""
RATE_MOST = 60.0
CLOCK_OFF, CLOCK_SLACK_S, SHORTEST_CLOCK_S = 0.03, 0.3, 2.0
AGE_SLACK_MS = 2
_WHOLE = re.compile(rb"-?(0|[1-9][0-9]*)")
_HEX = re.compile(rb"[0-9A-F]{2}")

Tell = Callable[[str, bytes], None]


def number_faults(name: str, text: bytes, low: int, high: int) -> Iterator[str]:
    if _WHOLE.fullmatch(text) is None or text == b"-0":
        yield f"{name} is no plain whole number (no '+', spaces, points or leading zeros)."
    elif not low <= int(text[:20]) <= high:
        yield f"{name} is out of its range, {low} to {high}."


def crank_faults(fields: list[bytes]) -> Iterator[str]:
    """Yield what is wrong with the fields of a sender's line."""
    if len(fields) < 5:
        yield "A crank sender's line has fewer than its five fields: seq, t_us, count, age, flags."
        return
    seq, t_us, count, age, flags, *more = fields
    yield from number_faults("seq", seq, 0, U16 - 1)
    yield from number_faults("t_us", t_us, 0, U32 - 1)
    yield from number_faults("count", count, 0, U16 - 1)
    if age:
        yield from number_faults("age", age, 0, U16 - 1)
    if _HEX.fullmatch(flags) is None:
        yield "flags is not two upper-case hexadecimal digits."
    elif int(flags, 16) & ~(LINE_DROPPED | BATTERY_LOW):
        yield "flags of a crank sender holds a bit that has no meaning there: leave it 0."
    hello = parse_body(b",".join([b"H,1", *more]))
    if not isinstance(hello, Hello):
        yield "A field after the flags is not key=value."
    elif hello.pulses_per_turn is None:
        yield "ppr= of a crank sender is not a whole number from 1 to 1000."
    elif hello.channels not in ("", "c", "q"):
        yield "ch= of a crank sender is neither c nor q."


class SenderConformance:
    """`take` each good line in order; `end` when no more comes. Both say faults by the function that they are given."""

    def __init__(self) -> None:
        self.lines = 0
        self.counts = 0
        self._before: CrankLine | None = None
        self._began: tuple[float, int] | None = None
        self._at_s = 0.0
        self._passed_us = 0

    def take(self, at_s: float, crank: CrankLine, line: bytes, tell: Tell) -> None:
        """Take a line that came at a time."""
        self.lines += 1
        before, self._before = self._before, crank
        silent_s, self._at_s = at_s - self._at_s, at_s
        if before is None:
            self._began = at_s, crank.t_us
            return
        step, step_us = (crank.seq - before.seq) % U16, (crank.t_us - before.t_us) % U32
        if step == 0 or step > U16 // 2:
            tell("seq of the crank sender does not count up by one a line.", line)
        elif step > 1 and not crank.flags & LINE_DROPPED:
            tell("Lines of the crank sender are missing: they are lost on the way, or it does not say so.", line)
        if step_us == 0 or step_us > U32 // 2:
            tell("t_us of the crank sender does not advance.", line)
            return
        self._passed_us += step_us
        if step == 1 and silent_s > EVERY_S + SLACK_S:
            tell("More than 0.2 s passed without a line of the crank sender: send one each 0.1 s.", line)
        self._count(before, crank, step_us, line, tell)

    def _count(self, before: CrankLine, crank: CrankLine, step_us: int, line: bytes, tell: Tell) -> None:
        change = (crank.crank - before.crank) % U16
        back = change > U16 // 2
        self.counts += U16 - change if back else change
        if back and not crank.two_sensors:
            tell("count of the crank sender goes down, and it does not say ch=q.", line)
        if change and (crank.age_ms is None or crank.age_ms > step_us / 1000 + AGE_SLACK_MS):
            tell("age of the crank sender is from before the line that had another count.", line)
        if not change and before.age_ms is not None and crank.age_ms is not None and crank.age_ms < U16 - 1:
            grown = crank.age_ms - before.age_ms
            if abs(grown - step_us / 1000) > AGE_SLACK_MS:
                tell("age of the crank sender does not grow with its t_us: it is ms since the newest count.", line)

    def end(self, at_s: float, tell: Tell) -> None:
        """No more is to come."""
        assert self._began is not None
        span_s = self._at_s - self._began[0]
        if span_s < SHORTEST_CLOCK_S:
            tell("Too few lines came to judge the crank sender.", b"")
            return
        ratio = self._passed_us / 1e6 / span_s
        if 0.7e-3 < ratio < 1.4e-3:
            tell("t_us of the crank sender counts milliseconds: send microseconds.", b"")
        elif abs(ratio - 1.0) > CLOCK_OFF + CLOCK_SLACK_S / span_s:
            tell(f"t_us of the crank sender makes {ratio:.2f} s of each second.", b"")
        if (self.lines - 1) / span_s > RATE_MOST:
            tell("More than 50 lines/s of the crank sender came: leave 20 ms between them.", b"")
