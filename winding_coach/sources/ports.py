"""Serial ports as the system lists them: which may be a meter, and what an error of one means in plain words."""

from __future__ import annotations

import errno
from dataclasses import dataclass

BAUD = 115_200


@dataclass(frozen=True, slots=True)
class Port:
    """A port of this computer. usb: (vendor, product, serial number) where it has an identity, else None."""

    device: str
    description: str = ""
    usb: tuple[int, int, str | None] | None = None

    @property
    def likely(self) -> bool:
        """Whether a meter may be there: phantom ports of the board have no USB identity."""
        return self.usb is not None


def list_ports() -> list[Port]:
    """Return the serial ports of this computer, those with a USB identity first."""
    from serial.tools import list_ports as system

    ports = []
    for found in system.comports():
        usb = None if found.vid is None else (found.vid, found.pid or 0, found.serial_number)
        description = "" if found.description in (None, "n/a") else found.description
        ports.append(Port(found.device, description, usb))
    return sorted(ports, key=lambda port: (not port.likely, port.device))


_PLAIN = {
    errno.ENOENT: "there is no port {port}: plug the meter in or name another",
    errno.ENXIO: "nothing is at the other end of {port}",
    errno.ENODEV: "the device behind {port} is gone",
    errno.EACCES: "no permission to open {port}: join the group that owns it (often dialout), then log in again",
    errno.EPERM: "no permission to open {port}: join the group that owns it (often dialout), then log in again",
    errno.EBUSY: "{port} is in use by another program: close that first",
    errno.EAGAIN: "{port} is in use by another program: close that first",
    errno.EIO: "the meter was unplugged",
    errno.ECONNREFUSED: "nothing answers at {port}",
    errno.ENOTTY: "{port} is not a serial port",
    errno.EINVAL: "{port} is not a serial port",
    errno.EISDIR: "{port} is a folder, not a serial port",
}


def plain_reason(port: str, error: BaseException) -> str:
    """Return what went wrong with a port, in words that say what to do."""
    number = getattr(error, "errno", None)
    if number in _PLAIN:
        return _PLAIN[number].format(port=port)
    text = str(error).lower()
    if "exclusively lock" in text:
        return _PLAIN[errno.EBUSY].format(port=port)
    if "disconnected" in text or "returned no data" in text or "socket disconnected" in text:
        return _PLAIN[errno.EIO]
    if "refused" in text:
        return _PLAIN[errno.ECONNREFUSED].format(port=port)
    if "filenotfounderror" in text or "cannot find" in text:
        return _PLAIN[errno.ENOENT].format(port=port)
    if "invalid url" in text or "unknown protocol" in text or "could not open port" in text:
        return f"{port} cannot be opened: check its name"
    return f"{port} gives an error ({str(error)[:80]})"
