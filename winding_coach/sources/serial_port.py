"""A meter on a serial port, `socket://` URL or pseudo-terminal: bytes as they come, and the link as a value.

A lost link is no error: LinkDown with a plain reason, TimePassed while it is tried again with a growing, capped
pause, LinkUp when it is back. Loss is seen by exception and by silence.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from typing import Protocol

from winding_coach.inputs import BytesArrived, Input, LinkDown, LinkUp, TimePassed
from winding_coach.sources.clock import Clock, Keys, Sleep, WindClock, started_now
from winding_coach.sources.ports import BAUD, Port, list_ports, plain_reason

POLL_S = 0.05
"""A key or a stop is noticed within this."""
FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.25, 2.0
ASK_AFTER_SILENT_S = 2.0
REOPEN_AFTER_SILENT_S = 6.0
"""A port that stays open and says nothing, even when asked, is closed and opened again."""
ASK = b"?"


class SerialLike(Protocol):
    """What is used of a pyserial port."""

    @property
    def in_waiting(self) -> int: ...

    def read(self, size: int = 1, /) -> bytes: ...

    def write(self, data: bytes, /) -> int | None: ...

    def close(self) -> None: ...


def open_port(name: str) -> SerialLike:
    """Open a device or URL for a meter.

    Raises:
        OSError, ValueError: as pyserial does.
    """
    import serial

    if "://" in name:
        url_port: SerialLike = serial.serial_for_url(name, baudrate=BAUD, timeout=POLL_S)
        return url_port
    # exclusive keeps a second program out; DTR stays at its default, or boards would reset or stay silent.
    return serial.Serial(name, baudrate=BAUD, timeout=POLL_S, write_timeout=0.2, exclusive=True)


class SerialSource:
    """Inputs from a meter. `port` is `auto`, a device or a URL; it is opened in `read`, in the loop's thread."""

    def __init__(
        self,
        port: str = "auto",
        *,
        clock: Clock = time.monotonic,
        sleep: Sleep = time.sleep,
        open_port: Callable[[str], SerialLike] = open_port,
        list_ports: Callable[[], list[Port]] = list_ports,
    ) -> None:
        self.started = started_now()
        self._wanted = port
        self._keys = Keys()
        self._clock = WindClock(clock)
        self._sleep = sleep
        self._open_port = open_port
        self._list_ports = list_ports
        self._port: SerialLike | None = None
        self._name = port
        self._usb: tuple[int, int, str | None] | None = None
        self._pause_s = FIRST_PAUSE_S
        self._try_at_s = 0.0
        self._reason: str | None = None
        self._heard_at_s = 0.0
        self._asked = False
        self._tried: set[str] = set()

    def press(self, name: str) -> None:
        """Queue a key, from any thread."""
        self._keys.press(name)

    def close(self) -> None:
        """Close the port."""
        port, self._port = self._port, None
        if port is not None:
            # Where it is gone already there is nothing left to let go of.
            with contextlib.suppress(OSError):
                port.close()

    def read(self, timeout_s: float) -> Input:
        """Return the next input. Never raises for a port's troubles."""
        end_s = self._clock.now() + timeout_s
        while True:
            now_s = self._clock.now()
            key = self._keys.take(now_s)
            if key is not None:
                return key
            found = self._look(now_s) if self._port is not None else self._connect(now_s)
            if found is not None:
                return found
            now_s = self._clock.now()
            if now_s >= end_s:
                return TimePassed(now_s)
            if self._port is None:
                self._sleep(min(POLL_S, max(end_s - now_s, 0.0)))

    # -- an open port

    def _look(self, now_s: float) -> Input | None:
        port = self._port
        assert port is not None
        try:
            data = port.read(max(1, port.in_waiting))
            if data:
                # The rest of a line that arrived while its first byte was waited for: one input, not two.
                data += port.read(port.in_waiting)
                self._heard_at_s = self._clock.now()
                self._asked = False
                return BytesArrived(self._heard_at_s, bytes(data))
            silent_s = now_s - self._heard_at_s
            if silent_s >= REOPEN_AFTER_SILENT_S:
                return self._lost(f"no data for {silent_s:.0f} seconds: opening {self._name} again")
            if silent_s >= ASK_AFTER_SILENT_S and not self._asked:
                self._asked = True
                port.write(ASK)
        except (OSError, ValueError) as error:
            return self._lost(plain_reason(self._name, error))
        return None

    def _lost(self, reason: str) -> Input:
        self.close()
        now_s = self._clock.now()
        self._pause_s = FIRST_PAUSE_S
        self._try_at_s = now_s + self._pause_s
        self._reason = reason
        return LinkDown(now_s, reason)

    # -- no port

    def _connect(self, now_s: float) -> Input | None:
        if now_s < self._try_at_s:
            return None
        name = self._choose()
        if name is None:
            return self._not_yet(now_s, "no meter is plugged in: connect it by USB")
        try:
            port = self._open_port(name)
            # A port that cannot be written to may still speak.
            with contextlib.suppress(OSError, ValueError):
                port.write(ASK)
        except (OSError, ValueError) as error:
            self._tried.add(name)
            return self._not_yet(now_s, plain_reason(name, error))
        self._port = port
        self._name = name
        self._usb = next((found.usb for found in self._list_ports() if found.device == name), None)
        self._tried.add(name)
        self._reason = None
        self._pause_s = FIRST_PAUSE_S
        self._heard_at_s = self._clock.now()
        self._asked = False
        return LinkUp(self._heard_at_s, name)

    def _not_yet(self, now_s: float, reason: str) -> Input | None:
        self._try_at_s = now_s + self._pause_s
        self._pause_s = min(2 * self._pause_s, LONGEST_PAUSE_S)
        if reason == self._reason:
            return None
        self._reason = reason
        return LinkDown(now_s, reason)

    def _choose(self) -> str | None:
        """The port to try: the one named, else the same USB device under any name, else each in its turn."""
        if self._wanted != "auto" and self._usb is None:
            return self._wanted
        ports = self._list_ports()
        if self._usb is not None:
            again = [port.device for port in ports if port.usb == self._usb]
            if again:
                return again[0]
            if self._wanted != "auto":
                return self._wanted
        names = [port.device for port in ports if port.likely]
        untried = [name for name in names if name not in self._tried]
        if not untried:
            self._tried.clear()
            untried = names
        return untried[0] if untried else None
