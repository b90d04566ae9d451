"""Errors of real ports in plain words, and the list of ports as pyserial gives it."""

from __future__ import annotations

import errno
import os
import termios
from pathlib import Path

import pytest
import serial
from serial.tools.list_ports_common import ListPortInfo

from tests.sources.helpers import pty
from winding_coach.live.sources.ports import Port, error_number, list_ports, plain_reason
from winding_coach.live.sources.wires import open_wire


def refusal(name: str) -> Exception:
    """What opening a port really raises."""
    with pytest.raises(Exception) as caught:  # noqa: PT011 - which one it is differs from system to system
        open_wire(name)
    assert isinstance(caught.value, Exception)
    return caught.value


def reason(name: str) -> str:
    return plain_reason(name, refusal(name), opening=True)


def test_ports_that_cannot_be_opened_say_why(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no port")
    assert reason("/dev/no-such") == "there is no port /dev/no-such: plug the meter in or name another"
    assert reason(str(tmp_path / "file")) == f"{tmp_path / 'file'} is not a serial port"
    assert reason(str(tmp_path / "file" / "x")).startswith("there is no port")
    assert reason(str(tmp_path)) == f"{tmp_path} is not a serial port"
    assert "write socket://HOST:PORT" in reason("socket://nothing")
    assert "write socket://HOST:PORT" in reason("socket://host:99999")
    assert "is no address that is known" in reason("gopher://host:1")


def test_a_port_in_use_says_so() -> None:
    with pty() as port:
        holder = serial.Serial(port.device, exclusive=True)
        try:
            assert reason(port.device) == f"{port.device} is in use by another program: close that first"
        finally:
            holder.close()
        open_wire(port.device).close()


def test_a_device_whose_far_end_is_gone_says_so() -> None:
    with pty() as port:
        slave = os.open(port.device, os.O_RDWR | os.O_NOCTTY)
        try:
            port.hang_up()
            assert "nothing is at the other end" in reason(port.device) or "there is no port" in reason(port.device)
        finally:
            os.close(slave)


@pytest.mark.parametrize(
    ("error", "opening", "says"),
    [
        (PermissionError(errno.EACCES, "Permission denied"), True, "join the group dialout, then log in again"),
        (PermissionError(errno.EPERM, "Not permitted"), True, "join the group dialout"),
        (
            serial.SerialException("Could not configure port: (5, 'Input/output error')"),
            True,
            "nothing is at the other",
        ),
        (termios.error(5, "Input/output error"), True, "nothing is at the other end"),
        (termios.error(5, "Input/output error"), False, "the meter was unplugged"),
        (serial.SerialException("read failed: [Errno 5] Input/output error"), False, "the meter was unplugged"),
        (OSError(errno.EIO, "Input/output error"), False, "the meter was unplugged"),
        (serial.SerialException("device reports readiness to read but returned no data (…)"), False, "was unplugged"),
        (
            serial.SerialException("could not open port 'COM9': FileNotFoundError(2, 'No such', None, 2)"),
            True,
            "there is no port COM3",
        ),
        (
            serial.SerialException("could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)"),
            True,
            "COM3 is in use by another program",
        ),
        (
            serial.SerialException("ClearCommError failed (PermissionError(13, 'not recognized', None, 22))"),
            False,
            "the meter was unplugged",
        ),
        (ConnectionRefusedError(errno.ECONNREFUSED, "refused"), True, "nothing answers at COM3"),
        (TimeoutError("timed out"), True, "check the network"),
        (ConnectionResetError("closed"), False, "the other end closed the connection"),
        (OSError(-2, "Name or service not known"), True, "no computer of the name"),
        (RuntimeError("a\x1b[2Jb" + 200 * "x"), True, "COM3 gives an error (a?[2Jbxxx"),
    ],
)
def test_errors_in_plain_words(error: Exception, opening: bool, says: str) -> None:
    words = plain_reason("COM3", error, opening=opening)
    assert says in words
    assert words.isprintable()
    assert len(words) < 140


def test_the_group_named_is_the_device_s_own(tmp_path: Path) -> None:
    import grp

    device = tmp_path / "device"
    device.write_text("")
    words = plain_reason(str(device), PermissionError(errno.EACCES, "no"), opening=True)
    assert f"join the group {grp.getgrgid(device.stat().st_gid).gr_name}," in words


def test_an_error_without_a_number_has_none() -> None:
    assert error_number(ValueError("neither")) is None


def test_ports_with_a_usb_identity_come_first(monkeypatch: pytest.MonkeyPatch) -> None:
    phantom, numbered, plain = ListPortInfo("/dev/ttyS0"), ListPortInfo("/dev/ttyUSB1"), ListPortInfo("/dev/ttyUSB0")
    numbered.vid, numbered.pid, numbered.serial_number = 0x2341, 0x43, "85"
    numbered.description, numbered.location = "a board", "1-2"
    plain.vid, plain.pid, plain.serial_number = 0x1A86, 0x7523, ""
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [phantom, numbered, plain])
    assert list_ports() == [
        Port("/dev/ttyUSB0", "", (0x1A86, 0x7523, None)),
        Port("/dev/ttyUSB1", "a board", (0x2341, 0x43, "85"), "1-2"),
        Port("/dev/ttyS0"),
    ]
    assert [port.likely for port in list_ports()] == [True, True, False]
