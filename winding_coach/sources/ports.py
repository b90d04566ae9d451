"""Serial ports as the system lists them: which may be a meter, and what an error of one means in plain words."""

from __future__ import annotations

import errno
import os
import re
from dataclasses import dataclass
from typing import TypeAlias

Usb: TypeAlias = tuple[int, int, str | None]
"""Vendor, product, serial number (None where the device has none)."""


@dataclass(frozen=True, slots=True)
class Port:
    """A port of this computer. usb: None where it has no identity. location: which socket of the computer."""

    device: str
    description: str = ""
    usb: Usb | None = None
    location: str | None = None

    @property
    def likely(self) -> bool:
        """Whether a meter may be there: phantom ports of the board have no USB identity."""
        return self.usb is not None


def list_ports() -> list[Port]:
    """Return the serial ports of this computer, those with a USB identity first."""
    from serial.tools import list_ports as system

    ports = []
    for found in system.comports():
        usb = None if found.vid is None else (found.vid, found.pid or 0, found.serial_number or None)
        description = "" if found.description in (None, "n/a") else found.description
        ports.append(Port(found.device, description, usb, found.location))
    return sorted(ports, key=lambda port: (not port.likely, port.device))


ABSENT = frozenset(
    {errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.EIO, errno.ECONNREFUSED, errno.EHOSTUNREACH, errno.ENETUNREACH}
)
"""Errors of opening that only say that nothing is there."""

_IN_USE = "{port} is in use by another program: close that first"
_NO_PERMISSION = "no permission to open {port}: join the group {group}, then log in again"
_NOT_SERIAL = "{port} is not a serial port"
_NOT_THERE = "there is no port {port}: plug the meter in or name another"
_OPENING = {
    errno.ENOENT: _NOT_THERE,
    errno.ENOTDIR: _NOT_THERE,
    errno.ENXIO: "nothing is at the other end of {port}",
    errno.ENODEV: "nothing is at the other end of {port}",
    errno.EIO: "nothing is at the other end of {port}",
    errno.EACCES: _NO_PERMISSION,
    errno.EPERM: _NO_PERMISSION,
    errno.EBUSY: _IN_USE,
    errno.EAGAIN: _IN_USE,
    errno.ECONNREFUSED: "nothing answers at {port}",
    errno.EHOSTUNREACH: "nothing answers at {port}: check the network",
    errno.ENETUNREACH: "nothing answers at {port}: check the network",
    errno.ETIMEDOUT: "nothing answers at {port}: check the network",
    errno.ENOTTY: _NOT_SERIAL,
    errno.EINVAL: _NOT_SERIAL,
    errno.EISDIR: _NOT_SERIAL,
}
_UNPLUGGED = "the meter was unplugged"
_READING = {
    errno.EIO: _UNPLUGGED,
    errno.ENXIO: _UNPLUGGED,
    errno.ENODEV: _UNPLUGGED,
    errno.EBADF: _UNPLUGGED,
    errno.ECONNRESET: "the other end closed the connection",
    errno.EPIPE: "the other end closed the connection",
    errno.ETIMEDOUT: "the other end no longer answers",
}
_NUMBER = re.compile(r"\[Errno (\d+)\]|\((\d+), ")
"""An error's number inside of a message: pyserial often keeps only the words of the error that it met."""
_BY_WORDS = (
    ("returned no data", _UNPLUGGED),
    ("device disconnected", _UNPLUGGED),
    ("clearcommerror failed", _UNPLUGGED),
    ("filenotfounderror", _NOT_THERE),
    ("permissionerror", _IN_USE),
    ("access is denied", _IN_USE),
    ("name or service not known", "there is no computer of the name in {port}: check its spelling"),
    ("name resolution", "there is no computer of the name in {port}: check its spelling"),
    ("timed out", "nothing answers at {port}: check the network"),
    ("invalid url", "{port} is no address that is known: write socket://HOST:PORT, or a device's name"),
)
"""Where there is no number: words of pyserial, of its Windows part, and of the system's resolver."""


def error_number(error: BaseException) -> int | None:
    """Return the system's number of an error, None where it has none."""
    number = getattr(error, "errno", None)
    if isinstance(number, int) and number > 0:
        return number
    if error.args and isinstance(error.args[0], int) and error.args[0] > 0:
        # termios.error has the number as its first argument, and is no OSError.
        return error.args[0]
    if isinstance(error, ConnectionResetError):
        return errno.ECONNRESET
    found = _NUMBER.search(str(error))
    return None if found is None else int(found[1] or found[2])


def plain_reason(port: str, error: BaseException, *, opening: bool) -> str:
    """Return what went wrong with a port, in words that say what to do; printable whatever the error holds."""
    table = _OPENING if opening else _READING | {errno.EACCES: _NO_PERMISSION}
    number = error_number(error)
    text = str(error)
    words = None if number is None else table.get(number)
    if words is None:
        words = next((plain for part, plain in _BY_WORDS if part in text.lower()), None)
    if words is None:
        words = "{port} gives an error ({text})"
    short = text if len(text) <= 80 else text[:79] + "…"
    said = words.format(port=port, group=_group(port) if "{group}" in words else "", text=short)
    return "".join(c if c.isprintable() else "?" for c in said)


def _group(port: str) -> str:
    """The group that owns the device, `dialout` where that cannot be told."""
    try:
        import grp

        return grp.getgrgid(os.stat(port).st_gid).gr_name
    except (ImportError, OSError, KeyError):
        return "dialout"
