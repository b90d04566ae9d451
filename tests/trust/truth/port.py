"""The program's own reader on a wire of ours, with our clock: what it makes of the bytes is what the coach gets."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from tests.trust.truth.sender import Sent
from winding_coach.base.inputs import BytesArrived, Input, TimePassed
from winding_coach.live.sources.serial_port import SerialSource

HOLDS_BYTES = 4095
"""What a terminal keeps while nobody reads: the oldest."""


class Port:
    """`arrive` puts lines on the wire, `inputs` gives what the reader makes of them."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._wire = _Wire()
        self._sent: dict[bytes, Sent] = {}
        self._source = SerialSource(
            "socket://meter",
            clock=clock,
            sleep=lambda seconds: None,
            open_wire=lambda name: self._wire,
            list_ports=list,
            start=lambda work: work(),
        )

    def arrive(self, lines: list[Sent], *, nobody_reads: bool = False) -> None:
        """Put lines on the wire."""
        for one in lines:
            if nobody_reads and len(self._wire.waiting) + len(one.data) > HOLDS_BYTES:
                continue
            self._wire.waiting += one.data
            self._sent[one.data.split(b"\r\n")[-2]] = one

    def press(self, key: str) -> None:
        """Press a key."""
        self._source.press(key)

    def inputs(self) -> Iterator[Input]:
        """Give the inputs of now; the last says that time has passed, if nothing came."""
        came = False
        for _ in range(20):
            event = self._source.read(0.0)
            if isinstance(event, TimePassed):
                break
            came = True
            yield event
        if not came:
            yield event

    def lines_in(self, event: Input) -> list[Sent]:
        """Return the lines that an input holds, in order."""
        if not isinstance(event, BytesArrived):
            return []
        found = (self._sent.get(line) for line in event.data.split(b"\r\n"))
        return [one for one in found if one is not None]


class _Wire:
    """Bytes that wait to be read."""

    def __init__(self) -> None:
        self.waiting = b""

    def receive(self) -> bytes:
        """Return what waits."""
        data, self.waiting = self.waiting, b""
        return data

    def send(self, data: bytes) -> None:
        """Take what is asked; hellos come by themselves."""

    def close(self) -> None:
        """Let go."""
