"""Some seconds of a meter on a port: what it sent, without coaching."""

from __future__ import annotations

from typing import TYPE_CHECKING

from winding_coach.app.problem import Problem

if TYPE_CHECKING:
    from winding_coach.meter.commissioning.checking import Arrivals
    from winding_coach.meter.reader import MeterReader, TorqueSample

PATIENCE_S = 3.0
"""A board that restarts when its port opens needs a moment before its first line."""


def listen(
    port: str,
    seconds: float,
    reader: MeterReader,
    arrivals: Arrivals | None = None,
    crank_port: str | None = None,
) -> tuple[list[TorqueSample], int]:
    """Return what a meter sent in so many seconds from its first byte, and how many bytes that were.

    arrivals: is given each piece with its time. crank_port: of a crank sender, whose lines are joined.

    Raises:
        Problem: the port cannot be opened, or was lost.
    """
    from winding_coach.base.inputs import BytesArrived, LinkDown, LinkUp
    from winding_coach.live.sources.serial_port import SerialSource

    source = SerialSource(port, crank_port=crank_port)
    samples: list[TorqueSample] = []
    received, begun = 0, None
    try:
        while True:
            event = source.read(0.1)
            if isinstance(event, LinkUp):
                begun = event.at_s
                reader.link_up()
            elif isinstance(event, LinkDown):
                if begun is not None and not received:
                    break  # It was silent for so long that it would be opened again.
                raise Problem(f"The meter cannot be checked: {event.reason}.")
            elif isinstance(event, BytesArrived):
                if not received:
                    begun = event.at_s
                received += len(event.data)
                found = reader.feed(event.data, event.at_s)
                samples += found
                if arrivals is not None:
                    arrivals.take(event.at_s, event.data, found, reader.hello)
            if begun is not None and event.at_s - begun >= seconds + (0.0 if received else PATIENCE_S):
                break
    finally:
        source.close()
    return samples, received
