"""A port for several winds: it is opened once, and what came between two winds is no part of the second."""

from __future__ import annotations

import time
from functools import partial

import pytest

from tests.sources.helpers import FakeClock, FakeWire, at_once
from winding_coach.base.inputs import BytesArrived, LinkDown, LinkUp
from winding_coach.live.sources.kept import KeptPort
from winding_coach.live.sources.serial_port import SerialSource
from winding_coach.live.sources.wires import Wire

PATIENCE_S = 10.0


class Opened:
    """Counts how often a port is opened, and gives its wire."""

    def __init__(self) -> None:
        self.clock = FakeClock()
        self.wires: list[FakeWire] = []

    def wire(self, _name: str) -> Wire:
        self.wires.append(FakeWire(self.clock))
        return self.wires[-1]

    def port(self) -> KeptPort:
        return KeptPort(
            "/dev/meter",
            partial(
                SerialSource,
                clock=self.clock,
                sleep=self.clock.sleep,
                open_wire=self.wire,
                list_ports=list,
                start=at_once,
            ),
        )


def first_of(source: SerialSource, kind: type[LinkUp] | type[BytesArrived] | type[LinkDown]) -> object:
    for _ in range(200):
        event = source.read(0.1)
        if isinstance(event, kind):
            return event
    raise AssertionError(kind)


@pytest.fixture
def opened() -> Opened:
    return Opened()


def test_the_second_wind_has_the_port_of_the_first(opened: Opened) -> None:
    port = opened.port()
    first = port.source()
    assert isinstance(first_of(first, LinkUp), LinkUp)
    first.close()
    assert port.is_open
    second = port.source()
    up = first_of(second, LinkUp)
    assert isinstance(up, LinkUp)
    assert (up.port, len(opened.wires), opened.wires[0].closed) == ("/dev/meter", 1, 0)
    assert opened.wires[0].sent.count(b"?") == 2, "the meter says hello to each wind"
    second.close()
    port.close()
    assert opened.wires[0].closed == 1


def test_what_came_between_two_winds_is_read_away(opened: Opened) -> None:
    port = opened.port()
    first = port.source()
    first_of(first, LinkUp)
    first.close()
    wire = opened.wires[0]
    wire.gives.append(b"old line\n")
    deadline = time.monotonic() + PATIENCE_S
    while wire.gives and time.monotonic() < deadline:
        time.sleep(0.001)
    second = port.source()
    first_of(second, LinkUp)
    wire.gives.append(b"new line\n")
    arrived = first_of(second, BytesArrived)
    assert isinstance(arrived, BytesArrived)
    assert arrived.data == b"new line\n"
    second.close()
    port.close()


def test_a_port_that_was_lost_between_two_winds_is_opened_again(opened: Opened) -> None:
    port = opened.port()
    first = port.source()
    first_of(first, LinkUp)
    first.close()
    opened.wires[0].gives.append(OSError("gone"))
    deadline = time.monotonic() + PATIENCE_S
    while port.is_open and time.monotonic() < deadline:
        time.sleep(0.001)
    second = port.source()
    first_of(second, LinkUp)
    assert (len(opened.wires), opened.wires[0].closed) == (2, 1)
    second.close()
    port.close()


def test_a_wind_that_never_began_keeps_the_port_for_the_next(opened: Opened) -> None:
    port = opened.port()
    first = port.source()
    first_of(first, LinkUp)
    first.close()
    port.source().close()
    assert port.is_open
    port.close()
    port.close()
    assert opened.wires[0].closed == 1
