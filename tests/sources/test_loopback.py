"""The simulated meter's socket on this computer: it loses what nobody reads, and comes back where it was."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from tests.sources.helpers import eventually
from winding_coach.live.sources.loopback import LoopbackPort


@pytest.fixture
def port() -> Iterator[LoopbackPort]:
    made = LoopbackPort()
    yield made
    made.unplug()


@contextmanager
def reader(port: LoopbackPort) -> Iterator[socket.socket]:
    host, _, number = port.device.removeprefix("socket://").partition(":")
    with socket.create_connection((host, int(number)), 5.0) as opened:
        eventually(lambda: port.has_reader)
        yield opened


def test_it_listens_on_this_computer_only(port: LoopbackPort) -> None:
    assert port._listener is not None
    assert port._listener.getsockname()[0] == "127.0.0.1"


def test_what_nobody_reads_is_lost_as_on_a_real_port(port: LoopbackPort) -> None:
    port.send(b"early\n")
    with reader(port) as opened:
        port.send(b"late\n")
        assert opened.recv(64) == b"late\n"


def test_a_reader_that_does_not_read_never_blocks_it(port: LoopbackPort) -> None:
    with reader(port):
        for _ in range(2000):
            port.send(bytes(10_000))


def test_it_hears_what_is_sent_and_that_the_reader_left(port: LoopbackPort) -> None:
    with reader(port) as opened:
        opened.sendall(b"?\n")
        got: list[bytes] = []
        eventually(lambda: bool(got.append(port.received()) or b"".join(got)))  # type: ignore[func-returns-value]
        assert b"".join(got) == b"?\n"

    def left() -> bool:
        port.received()
        return not port.has_reader

    eventually(left)
    port.send(b"to nobody\n")


def test_a_new_reader_takes_the_place_of_an_old_one(port: LoopbackPort) -> None:
    with reader(port) as first, reader(port) as second:
        port.send(b"hello\n")
        assert second.recv(64) == b"hello\n"
        assert first.recv(64) == b""


def test_unplugged_it_is_gone_and_plugged_in_it_is_where_it_was(port: LoopbackPort) -> None:
    device = port.device
    with reader(port) as opened:
        port.unplug()
        assert opened.recv(64) == b""
    assert (port.plugged, port.has_reader, port.received()) == (False, False, b"")
    with pytest.raises(ConnectionRefusedError), reader(port):
        pass
    port.plug()
    assert port.device == device
    with reader(port) as opened:
        port.send(b"again\n")
        assert opened.recv(64) == b"again\n"
