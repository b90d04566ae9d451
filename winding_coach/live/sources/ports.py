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
_OPENING_BY_WORDS = (
    ("filenotfounderror(", _NOT_THERE),
    ("permissionerror(", _IN_USE),
    ("name or service not known", "there is no computer of the name in {port}: check its spelling"),
    ("name resolution", "there is no computer of the name in {port}: check its spelling"),
    ("timed out", "nothing answers at {port}: check the network"),
    ("invalid url", "{port} is no address that is known: write socket://HOST:PORT, or a device's name"),
)
_READING_BY_WORDS = (
    ("returned no data", _UNPLUGGED),
    ("device disconnected", _UNPLUGGED),
    ("clearcommerror failed", _UNPLUGGED),
    ("getoverlappedresult failed", _UNPLUGGED),
    ("readfile failed", _UNPLUGGED),
)
"""Words of pyserial, of the system's resolver, and of pyserial's Windows part, where an error of permission means a
port that someone else has open, or that is gone."""


def error_number(error: BaseException) -> int | None:
    """Return the system's number of an error, None where it has none."""
    number = _own_number(error)
    if number is not None:
        return number
    found = _NUMBER.search(str(error))
    return None if found is None else int(found[1] or found[2])


def _own_number(error: BaseException) -> int | None:
    if isinstance(error, ConnectionResetError):
        return errno.ECONNRESET
    # termios.error has the number as its first argument, and is no OSError.
    for number in (getattr(error, "errno", None), *error.args[:1]):
        if isinstance(number, int) and number > 0:
            return number
    return None


def plain_reason(port: str, error: BaseException, *, opening: bool) -> str:
    """Return what went wrong with a port, in words that say what to do; printable whatever the error holds."""
    table, by_words = (_OPENING, _OPENING_BY_WORDS) if opening else (_READING, _READING_BY_WORDS)
    text = str(error)
    # The error's own number is surest; words come before a number in the text, which may be of another system.
    words = table.get(_own_number(error) or 0)
    words = words or next((plain for part, plain in by_words if part in text.lower()), None)
    words = words or table.get(error_number(error) or 0, "{port} gives an error ({text})")
    short = text if len(text) <= 80 else text[:79] + "…"
    said = words.format(port=port, group=_group(port) if "{group}" in words else "", text=short)
    return "".join(c if c.isprintable() else "?" for c in said)


def _group(port: str) -> str:
    """The group that owns the device, `dialout` where that is not known."""
    try:
        import grp

        return grp.getgrgid(os.stat(port).st_gid).gr_name
    except (ImportError, OSError, KeyError):
        return "dialout"


def port_is_there(name: str) -> bool:
    """Whether a named device is there now: a file of the system's, or one that it lists."""
    if name.startswith("/"):
        return os.path.exists(name)
    try:
        return any(port.device.casefold() == name.casefold() for port in list_ports())
    except Exception:  # A system that cannot list its ports may have it all the same.
        return True
