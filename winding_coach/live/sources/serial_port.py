"""A meter on a serial port, `socket://` URL or pseudo-terminal: bytes as they come, and the link as a value.

A lost link is no error: LinkDown with a plain reason, TimePassed while it is tried again with a growing, capped
pause, LinkUp when it is back. Loss is seen by exception and by silence. What is too old to count as now, or more than
any meter sends, is left out and said: Skipped.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from winding_coach.base.inputs import BytesArrived, Input, LinkDown, LinkUp, Skipped, TimePassed
from winding_coach.live.sources.backlog import LATE_S, MANY_BYTES, NEWEST_BYTES, STOPPED_S, Backlog
from winding_coach.live.sources.clock import Clock, Keys, Sleep, WindClock, awake_or_not, started_now
from winding_coach.live.sources.connecting import Attempt, Found, Known, NotFound, Wanted, ask, connect, in_thread
from winding_coach.live.sources.crank_link import CrankLink, JoinedWire
from winding_coach.live.sources.ports import Port, list_ports, plain_reason
from winding_coach.live.sources.wires import Wire, open_wire

FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.25, 2.0
CONNECTING_POLL_S = 0.01
PAUSING_POLL_S = 0.05
SHORTEST_SLEEP_S = 1e-3
"""A sleep too short to change the clock's figure would be slept for good."""
ASK_AFTER_SILENT_S = 2.0
REOPEN_AFTER_SILENT_S = 6.0
"""A port that stays open and says nothing, even when asked, is closed and opened again."""


DRAIN_S, DRAIN_BYTES = 0.2, 2**20
"""Reading a backlog away ends after this: a flood has no end."""
FLOOD_SAID_EVERY_S = 1.0
STOPPED = "this program was paused for {seconds:.0f} s: what the meter sent meanwhile is left out"
LATE = "lines came {seconds:.1f} s late: the old ones are left out"
FLOOD = "more came than any meter sends: the rest is left out"


class SerialSource:
    """Inputs from a meter. `port` is `auto`, a device or a URL; it is opened while `read` goes on."""

    def __init__(
        self,
        port: str = "auto",
        *,
        clock: Clock = awake_or_not,
        sleep: Sleep = time.sleep,
        open_wire: Callable[[str], Wire] = open_wire,
        list_ports: Callable[[], list[Port]] = list_ports,
        start: Callable[[Callable[[], None]], None] = in_thread,
        link: Found | None = None,
        known: Known | None = None,
        keep: Callable[[Found], None] | None = None,
        crank_port: str | None = None,
        crank: CrankLink | None = None,
        speed: float = 1.0,
    ) -> None:
        """start: runs what may block (finding and opening the port); a test may run it at once. link: a port that is
        open already. known: the meter to find again. keep: takes the open port at the end, instead of its closing.
        crank_port: of a crank sender, whose lines are joined; crank: or the link to one, which is not closed here.
        speed: of a simulated meter; the wind's time passes as its time does, so that a second of its hands is one of
        the coach."""
        self.started = started_now()
        self._port = port
        self._keys = Keys()
        self._raw_clock = clock
        self._clock = WindClock(clock if speed == 1.0 else lambda: speed * clock())
        self._slack = max(speed, 1.0)
        self._sleep = sleep
        self._crank = None if crank_port is None else CrankLink(crank_port, open_wire)
        crank = crank or self._crank
        self._open_wire = open_wire if crank is None else _joined(open_wire, crank)
        self._list_ports = list_ports
        self._start = start
        self._wire: Wire | None = None
        self._name = port
        self._known: Known | None = known
        self._keep = keep
        self._taken_over = link
        self._heard = b""
        self._heard_at_s = 0.0
        self._asked = False
        self._attempt: Attempt | None = None
        self._pause_s = FIRST_PAUSE_S
        self._try_at_s = 0.0
        self._reason: str | None = None
        self._backlog = Backlog()
        self._looked_s = 0.0
        self._flooded = 0
        self._flood_said_s = -FLOOD_SAID_EVERY_S

    def press(self, name: str) -> None:
        """Queue a key, from any thread."""
        self._keys.press(name)

    def close(self) -> None:
        """Close the port, or hand it on; and what is being opened."""
        open_now, self._taken_over = self._taken_over, None
        if self._wire is not None:
            open_now, self._wire = Found(self._wire, self._name, self._known), None
        if open_now is not None and self._keep is not None:
            self._keep(open_now)
        elif open_now is not None:
            open_now.wire.close()
        if self._crank is not None:
            self._crank.close()
        self._let_go()

    def _let_go(self) -> None:
        wire, self._wire = self._wire, None
        attempt, self._attempt = self._attempt, None
        if wire is not None:
            wire.close()
        if attempt is not None:
            attempt.abandon()

    def read(self, timeout_s: float) -> Input:
        """Return the next input. Never raises for a port's troubles."""
        end_s = self._clock.now() + timeout_s
        while True:
            now_s = self._clock.now()
            key = self._keys.take(now_s)
            if key is not None:
                return key
            taken, self._taken_over = self._taken_over, None
            if taken is not None:
                ask(taken.wire)
                return self._opened(taken)
            found = self._connect(now_s) if self._wire is None else self._look(self._wire)
            if found is not None:
                return found
            now_s = self._clock.now()
            if now_s >= end_s:
                return TimePassed(now_s)
            if self._wire is None:
                poll_s = PAUSING_POLL_S if self._attempt is None else CONNECTING_POLL_S
                self._sleep(max(min(poll_s, end_s - now_s), SHORTEST_SLEEP_S))

    # -- an open port

    def _look(self, wire: Wire) -> Input | None:
        data, self._heard = self._heard, b""
        if data:
            return self._passed(self._clock.now(), data)
        try:
            data = wire.receive()
        except Exception as error:  # pyserial lets OSError, termios.error and TypeError of a lost port through.
            return self._lost(plain_reason(self._name, error, opening=False))
        now_s = self._clock.now()
        stood_s, self._looked_s = now_s - self._looked_s, now_s
        if stood_s > STOPPED_S * self._slack:
            data += self._drained(wire, data)
            self._backlog.late_s(now_s, data)
            self._heard_at_s = self._clock.now()
            return Skipped(self._heard_at_s, len(data), STOPPED.format(seconds=stood_s))
        if data:
            self._heard_at_s = now_s
            self._asked = False
            return self._judged(wire, now_s, data)
        silent_s = now_s - self._heard_at_s
        if silent_s >= REOPEN_AFTER_SILENT_S * self._slack:
            return self._lost(f"no data for {silent_s:.0f} seconds, even when asked: opening {self._name} again")
        if silent_s >= ASK_AFTER_SILENT_S * self._slack and not self._asked:
            self._asked = True
            ask(wire)
        return None

    def _judged(self, wire: Wire, now_s: float, data: bytes) -> Input | None:
        """Return bytes that came just now as an input, or that some of them are left out."""
        late_s = self._backlog.late_s(now_s, data)
        if late_s is not None and late_s > LATE_S * self._slack and len(data) > MANY_BYTES:
            more = self._drained(wire, data)
            self._backlog.late_s(self._clock.now(), more)
            data += more
            self._heard = data[-NEWEST_BYTES:]
            return Skipped(self._clock.now(), max(len(data) - NEWEST_BYTES, 0), LATE.format(seconds=late_s))
        if self._backlog.passes(now_s, len(data), lines=late_s is not None):
            if not self._flooded:
                return BytesArrived(now_s, data)
            self._heard = data
        else:
            self._flooded += len(data)
            if now_s - self._flood_said_s < FLOOD_SAID_EVERY_S:
                return None
        self._flood_said_s = now_s
        count, self._flooded = self._flooded, 0
        return Skipped(now_s, count, FLOOD)

    def _passed(self, now_s: float, data: bytes) -> Input:
        self._looked_s = now_s
        return BytesArrived(now_s, data)

    def _drained(self, wire: Wire, data: bytes) -> bytes:
        """Return what waits behind these bytes."""
        more = b""
        begun_s = self._clock.now()
        while len(data) > MANY_BYTES and len(more) < DRAIN_BYTES and self._clock.now() - begun_s < DRAIN_S:
            try:
                data = wire.receive()
            except Exception:  # Lost just now: the next look says so.
                break
            more += data
        self._looked_s = self._clock.now()
        return more

    def _lost(self, reason: str) -> Input:
        self._let_go()
        now_s = self._clock.now()
        self._pause_s = FIRST_PAUSE_S
        self._try_at_s = now_s + self._pause_s
        self._reason = reason
        return LinkDown(now_s, reason)

    # -- no port

    def _connect(self, now_s: float) -> Input | None:
        if self._attempt is None:
            if now_s < self._try_at_s:
                return None
            self._attempt = Attempt(self._work, self._start)
        result = self._attempt.result
        if result is None:
            return None
        self._attempt = None
        if isinstance(result, NotFound):
            return self._not_yet(result)
        return self._opened(result)

    def _opened(self, found: Found) -> Input:
        self._wire, self._name, self._known, self._heard = found.wire, found.name, found.known, found.heard
        self._reason = None
        self._pause_s = FIRST_PAUSE_S
        self._heard_at_s = self._looked_s = self._clock.now()
        self._asked = False
        self._backlog, self._flooded = Backlog(), 0
        self._backlog.late_s(self._heard_at_s, self._heard)
        return LinkUp(self._heard_at_s, self._name)

    def _work(self, stopped: Callable[[], bool]) -> Found | NotFound:
        return connect(
            Wanted(self._port, self._known),
            open_wire=self._open_wire,
            list_ports=self._list_ports,
            clock=self._raw_clock,
            stopped=stopped,
        )

    def _not_yet(self, result: NotFound) -> Input | None:
        now_s = self._clock.now()
        self._try_at_s = now_s + self._pause_s
        self._pause_s = min(2 * self._pause_s, LONGEST_PAUSE_S)
        if result.reason == self._reason or (result.absent and self._reason is not None):
            return None
        self._reason = result.reason
        return LinkDown(now_s, result.reason)


def _joined(open_wire: Callable[[str], Wire], crank: CrankLink) -> Callable[[str], Wire]:
    return lambda name: JoinedWire(open_wire(name), crank)
