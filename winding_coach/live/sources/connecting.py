"""A port's name in, an open meter out: which port, opening it, asking it. All that may block; runs in a thread.

`auto` takes only a port that answers as a meter; a meter that was open before is known again by its USB identity.
"""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable
from dataclasses import dataclass

from winding_coach.live.sources.clock import Clock
from winding_coach.live.sources.ports import ABSENT, Port, Usb, error_number, plain_reason
from winding_coach.live.sources.wires import Wire
from winding_coach.meter.frames import PROTOCOL, FrameParser, Hello, Sample

ASK = b"?"
ANSWER_WITHIN_S = 3.0
"""A board that restarts when its port opens needs about two seconds to its first line."""
SOMETHING_ELSE = "speaks something else: it is no meter, or not at this speed"
ASK_EVERY_S = 0.5
"""Asked again, as a board's loader swallows what comes while it boots."""


@dataclass(frozen=True, slots=True)
class Known:
    """A meter that was open, to be known again. others: places of ports of the same identity that were beside it."""

    usb: Usb
    location: str | None
    others: frozenset[str]

    def again(self, ports: list[Port]) -> list[Port]:
        """Return the ports where it may be, the likeliest first: under any name, never one of its twins."""
        # A board with two ports gives both the same identity; the part after the colon tells them apart.
        same = [p for p in ports if p.usb == self.usb and _interface(p.location) == _interface(self.location)]
        if self.usb[2] is not None:
            return same
        here = [port for port in same if port.location == self.location and self.location is not None]
        return here or [port for port in same if _place(port) not in self.others]


@dataclass(frozen=True, slots=True)
class Wanted:
    """port: as named, or `auto`. known: the meter to find again, None for the first time or without identity."""

    port: str
    known: Known | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """An open meter. heard: what it said while it was asked; the first bytes of the link."""

    wire: Wire
    name: str
    known: Known | None
    heard: bytes = b""


@dataclass(frozen=True, slots=True)
class NotFound:
    """reason: in plain words. absent: nothing is there, which is no news after a meter was unplugged."""

    reason: str
    absent: bool


def candidates(wanted: Wanted, ports: list[Port]) -> list[str] | NotFound:
    """Return the names to try, in order, of the ports that the system lists."""
    known = wanted.known
    if known is not None:
        again = known.again(ports)
        if again:
            return [again[0].device]
        if wanted.port == "auto":
            return NotFound("the meter is not plugged in: connect it again", absent=True)
        device = os.path.realpath(wanted.port)
        if any(port.device == device for port in ports):
            return NotFound(f"another device is at {wanted.port} now: plug the meter in", absent=False)
        return [wanted.port]
    if wanted.port != "auto":
        return [wanted.port]
    names = [port.device for port in ports if port.likely] or [port.device for port in ports]
    return names or NotFound("no meter is plugged in: connect it by USB", absent=True)


def connect(
    wanted: Wanted,
    *,
    open_wire: Callable[[str], Wire],
    list_ports: Callable[[], list[Port]],
    clock: Clock,
    stopped: Callable[[], bool],
) -> Found | NotFound:
    """Open the wanted port and send `?`; `auto` without a known meter asks each and takes the first that answers."""
    ports = [] if "://" in wanted.port else _listed(list_ports)
    names = candidates(wanted, ports)
    if isinstance(names, NotFound):
        return names
    asking = wanted.port == "auto" and wanted.known is None
    troubles: list[NotFound] = []
    for name in names:
        if stopped():
            break
        try:
            wire = open_wire(name)
        except Exception as error:  # URL handlers raise what they like; none of it may end a wind.
            reason = plain_reason(name, error, opening=True)
            troubles.append(NotFound(reason, absent=error_number(error) in ABSENT))
            continue
        if asking:
            heard = answer(wire, clock, stopped)
            if not isinstance(heard, bytes):
                wire.close()
                troubles.append(NotFound(f"{name} {heard.reason}", heard.absent))
                continue
            return Found(wire, name, _known(name, ports), heard)
        ask(wire)
        return Found(wire, name, wanted.known or _known(name, ports))
    return NotFound("; ".join(trouble.reason for trouble in troubles), all(trouble.absent for trouble in troubles))


def _listed(list_ports: Callable[[], list[Port]]) -> list[Port]:
    try:
        return list_ports()
    except Exception:  # A system that cannot list its ports may still open one by name.
        return []


def ask(wire: Wire) -> None:
    """Ask a meter what it is. A port that cannot be written to may still speak."""
    with contextlib.suppress(OSError, ValueError):
        wire.send(ASK)


def answer(wire: Wire, clock: Clock, stopped: Callable[[], bool]) -> bytes | NotFound:
    """Return what a port says until it has said hello by protocol 1; NotFound if it is no meter."""
    parser = FrameParser()
    heard = b""
    samples = 0
    begun = clock()
    next_ask = begun
    while (now := clock()) < begun + ANSWER_WITHIN_S and not stopped():
        if now >= next_ask:
            next_ask = now + ASK_EVERY_S
            ask(wire)
        try:
            data = wire.receive()
        except Exception:
            return NotFound("went away while it was asked", absent=True)
        heard += data
        for frame in parser.feed(data):
            samples += isinstance(frame, Sample)
            if isinstance(frame, Hello):
                if frame.proto == PROTOCOL:
                    return heard
                return NotFound(f"speaks protocol {frame.proto}: this program knows {PROTOCOL}", absent=False)
    if samples:
        # Lines with a good check sum are a meter's, even where it never says hello.
        return heard
    return NotFound(SOMETHING_ELSE if heard else "sends nothing, even when asked", absent=False)


def _known(name: str, ports: list[Port]) -> Known | None:
    device = os.path.realpath(name)
    found = next((port for port in ports if port.device in (name, device)), None)
    if found is None or found.usb is None:
        return None
    twins = frozenset(_place(port) for port in ports if port.usb == found.usb and port is not found)
    return Known(found.usb, found.location, twins)


def _place(port: Port) -> str:
    return port.location or port.device


def _interface(location: str | None) -> str:
    return (location or "").partition(":")[2]


class Attempt:
    """One try to connect, while the loop goes on: opening can take seconds, and a person must be able to quit."""

    def __init__(
        self, work: Callable[[Callable[[], bool]], Found | NotFound], start: Callable[[Callable[[], None]], None]
    ) -> None:
        """work: is told by a function whether it is still wanted. start: runs something, in a thread as a rule."""
        self._work = work
        self._abandoned = threading.Event()
        self._lock = threading.Lock()
        self._result: Found | NotFound | None = None
        start(self._run)

    def _run(self) -> None:
        result = self._work(self._abandoned.is_set)
        with self._lock:
            self._result = result
        if self._abandoned.is_set():
            self.abandon()

    @property
    def result(self) -> Found | NotFound | None:
        """What came of it, None while it is under way."""
        with self._lock:
            return self._result

    def abandon(self) -> None:
        """It is wanted no more: whatever it opened, or still opens, is closed."""
        self._abandoned.set()
        with self._lock:
            if isinstance(self._result, Found):
                self._result.wire.close()


def in_thread(work: Callable[[], None]) -> None:
    """Start work in a thread that keeps no program from ending."""
    threading.Thread(target=work, name="opening a port", daemon=True).start()
