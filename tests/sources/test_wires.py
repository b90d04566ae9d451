"""Real pseudo-terminals and loopback connections as wires."""

from __future__ import annotations

import errno
import os
import socket
from collections.abc import Iterator

import pytest
import serial

from tests.sources.helpers import HELLO, eventually, line, pty
from winding_coach.live.sources.ports import plain_reason
from winding_coach.live.sources.wires import SerialWire, SocketWire, Wire, open_wire


def all_of(wire: Wire, length: int) -> bytes:
    got = b""

    def enough() -> bool:
        nonlocal got
        got += wire.receive()
        return len(got) >= length

    eventually(enough)
    return got


@pytest.fixture
def server() -> Iterator[socket.socket]:
    """A listening socket of this computer only."""
    listening = socket.create_server(("127.0.0.1", 0))
    listening.settimeout(10)
    yield listening
    listening.close()


def url(server: socket.socket) -> str:
    return f"socket://127.0.0.1:{server.getsockname()[1]}"


def test_a_pseudo_terminal_carries_every_byte_both_ways() -> None:
    every = bytes(range(256))
    with pty() as port:
        wire = open_wire(port.device)
        assert isinstance(wire, SerialWire)
        assert wire.receive() == b""
        port.send(every)
        assert all_of(wire, 256) == every, "raw: no byte is eaten or changed by the terminal's own habits"
        wire.send(b"?")
        eventually(lambda: port.received() == b"?")
        wire.close()
        wire.close()


def test_what_is_waiting_comes_in_one_piece() -> None:
    with pty() as port:
        wire = open_wire(port.device)
        port.send(line(0) + line(1) + line(2))
        assert wire.receive() == line(0) + line(1) + line(2)
        wire.close()


def test_hanging_up_is_an_error_and_not_silence() -> None:
    with pty() as port:
        wire = open_wire(port.device)
        port.hang_up()
        with pytest.raises(OSError, match=r".") as caught:
            wire.receive()
        assert plain_reason(port.device, caught.value, opening=False) == "the meter was unplugged"
        wire.close()


class Failing:
    """A port that is lost between its first byte and the rest."""

    def __init__(self) -> None:
        self.looks = 0

    @property
    def in_waiting(self) -> int:
        self.looks += 1
        if self.looks > 1:
            raise OSError(errno.EIO, "gone")
        return 0

    def read(self, size: int = 1, /) -> bytes:
        return b"$"

    def write(self, data: bytes, /) -> int | None:
        return len(data)

    def close(self) -> None:
        raise OSError(errno.EIO, "gone")


def test_bytes_before_the_loss_are_kept_and_the_loss_shows_at_the_next_look() -> None:
    wire = SerialWire(Failing())
    assert wire.receive() == b"$"
    with pytest.raises(OSError, match="gone"):
        wire.receive()
    wire.close()


def test_a_connection_carries_all_from_its_first_byte(server: socket.socket) -> None:
    wire = open_wire(url(server))
    assert isinstance(wire, SocketWire)
    far, _ = server.accept()
    with far:
        assert wire.receive() == b""
        far.sendall(HELLO + line(0))
        assert all_of(wire, len(HELLO + line(0))) == HELLO + line(0)
        wire.send(b"?")
        assert far.recv(10) == b"?"
    with pytest.raises(ConnectionError, match="closed the connection"):
        eventually(lambda: bool(wire.receive()))
    wire.close()


def test_bytes_sent_before_the_connection_was_taken_up_are_not_dropped(server: socket.socket) -> None:
    wire = open_wire(url(server))
    far, _ = server.accept()
    with far:
        far.sendall(HELLO)
        far.sendall(line(0))
        assert all_of(wire, len(HELLO + line(0))) == HELLO + line(0)
    wire.close()


def test_other_addresses_go_to_pyserial() -> None:
    wire = open_wire("loop://")
    wire.send(line(0))
    assert wire.receive() == line(0)
    wire.close()


def test_pyserial_is_asked_for_115200_8n1_alone_on_the_port_with_dtr_at_its_default() -> None:
    with pty() as port:
        wire = open_wire(port.device)
        assert isinstance(wire, SerialWire)
        opened = wire._port
        assert isinstance(opened, serial.Serial)
        settings = opened.get_settings()
        assert (settings["baudrate"], settings["bytesize"], settings["parity"], settings["stopbits"]) == (
            115200,
            8,
            "N",
            1,
        )
        assert opened.exclusive
        assert opened.dtr
        assert opened.timeout is not None
        assert opened.timeout <= 0.05
        wire.close()


def test_opening_leaves_no_handle_when_it_fails() -> None:
    before = len(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else 0
    for _ in range(5):
        with pytest.raises(OSError, match="no-such"):
            open_wire("/dev/no-such")
    assert (len(os.listdir("/proc/self/fd")) if before else 0) == before
