"""Looks at this computer for what a wind needs. Each look gives findings in words and never raises for them."""

from __future__ import annotations

import importlib.util
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from winding_coach import __version__
from winding_coach.app.home import CALIBRATION_FILE
from winding_coach.app.problem import Problem
from winding_coach.base.system import onto_disk

if TYPE_CHECKING:
    from winding_coach.live.sources.ports import Port

FEW_BYTES = 50_000_000
"""A season of winds takes about this much."""
EXTRAS = {
    "plots": ("resvg_py", "PNG pictures of winds"),
    "sound": ("miniaudio", "tone and cues on a sound card"),
    "parquet": ("pyarrow", "export as Parquet"),
    "completion": ("shtab", "completion by the shell"),
}
"""Module that each optional part needs, and what it is for."""
SMALLEST = (60, 18)
"""Columns and rows below which the screen shows plain lines only."""


@dataclass(frozen=True, slots=True)
class Finding:
    """state: works, mend (it stands in the way) or without (one can do without). do: what to do, or empty."""

    name: str
    state: Literal["works", "mend", "without"]
    found: str
    do: str = ""


def findings_at(folder: Path, spoilt_settings: str | None, meter: str, seconds: float) -> list[Finding]:
    """Return everything that is found, in the order in which a wind needs it."""
    found = [program(), data_folder(folder)]
    if spoilt_settings is not None:
        what, _, do = spoilt_settings.partition(": ")
        found.append(Finding("settings", "mend", what, do))
    found += shelf(folder)
    found += [terminal(), simulated_meter(), *meters(meter, seconds), calibration(folder), sound(), *extras()]
    return found


def program() -> Finding:
    """What runs."""
    python = ".".join(map(str, sys.version_info[:3]))
    return Finding("program", "works", f"winding-coach {__version__} on Python {python}, {sys.platform}")


def data_folder(folder: Path) -> Finding:
    """Whether something can be written where the data live."""
    above = next((one for one in (folder, *folder.parents) if one.exists()), folder)
    try:
        if folder.exists():
            with tempfile.NamedTemporaryFile(dir=folder, prefix=".ready-") as file:
                file.write(b"ready\n")
                file.flush()
                onto_disk(file.fileno())
        elif not (above.is_dir() and os.access(above, os.W_OK | os.X_OK)):
            raise PermissionError(13, "Permission denied")
        free = shutil.disk_usage(above).free
    except OSError as error:
        return Finding(
            "data folder",
            "mend",
            f"nothing can be written to {folder} ({error.strerror})",
            "check its permissions, or name another with --home or WINDING_COACH_HOME",
        )
    room = f"{free / 1e9:.1f} GB free"
    if free < FEW_BYTES:
        return Finding("data folder", "mend", f"{folder}: only {room}", "make room, or name another with --home")
    return Finding("data folder", "works", f"{folder}: {room}{'' if folder.exists() else ', made with the first wind'}")


def shelf(folder: Path) -> Iterator[Finding]:
    """Whether the shelf can be read, where there is one."""
    from winding_coach.app.home import Home
    from winding_coach.app.shelving import shelf_at, shelf_file
    from winding_coach.shelf.records import Motor
    from winding_coach.shelf.store import WindFilter

    home = Home(folder, {})
    if not shelf_file(home).exists():
        return
    try:
        with shelf_at(home, reading=True) as opened:
            motors, winds = len(opened.all(Motor)), len(opened.winds(WindFilter()))
    except Problem as problem:
        yield Finding("shelf", "mend", str(problem), "winding-coach shelf check")
    else:
        yield Finding("shelf", "works", f"{motors} motor{'s' * (motors != 1)}, {winds} wind{'s' * (winds != 1)}")


def terminal() -> Finding:
    """What the screen can draw here."""
    from winding_coach.screen.terminal import drawing, is_terminal

    if not is_terminal():
        return Finding("terminal", "without", "no terminal here", "add --headless to wind without a screen")
    size = shutil.get_terminal_size()
    draws = drawing()
    kind = draws.palette.name
    words = f"{size.columns}x{size.lines}, {kind}, {'ASCII only' if draws.ascii_only else 'UTF-8'}"
    if size.columns < SMALLEST[0] or size.lines < SMALLEST[1]:
        return Finding(
            "terminal",
            "mend",
            f"{words}: no room for large letters",
            f"make the window {SMALLEST[0]}x{SMALLEST[1]} at least, or its letters smaller",
        )
    if draws.ascii_only:
        return Finding("terminal", "works", words, "for finer drawing: a terminal with UTF-8, as in LANG=C.UTF-8")
    return Finding("terminal", "works", words)


def simulated_meter() -> Finding:
    """Whether `wind --port sim` and `meter emulate` can be used."""
    if hasattr(os, "openpty"):
        with suppress(OSError):
            for end in os.openpty():
                os.close(end)
            return Finding("simulation", "works", "practice, and a simulated meter for wind --port sim")
    return Finding("simulation", "works", "practice, and a simulated meter on a local socket for wind --port sim")


def meters(wanted: str, seconds: float) -> Iterator[Finding]:
    """The ports, whether they may be opened, and what sends from there."""
    from winding_coach.live.sources.ports import list_ports

    ports = list_ports()
    likely = [port for port in ports if port.likely]
    refused = [finding for port in likely if (finding := permission(port)) is not None]
    if likely and not refused:
        names = ", ".join(f"{port.device} {port.description}".strip() for port in likely)
        yield Finding("ports", "works", names)
    yield from refused
    if wanted == "none":
        return
    if wanted == "auto":
        if not likely:
            others = f" (without one: {', '.join(port.device for port in ports[:3])})" if ports else ""
            yield Finding(
                "meter",
                "without",
                f"no port with a USB identity{others}",
                "plug the meter in, with a lead that carries data; practice and plan need none",
            )
        if not likely or refused:
            return
        wanted = likely[0].device
    yield heard(wanted, seconds)


def permission(port: Port) -> Finding | None:
    """What keeps this user from a port, None if nothing does."""
    from winding_coach.live.sources.ports import plain_reason

    device = Path(port.device)
    if not device.exists() or os.access(device, os.R_OK | os.W_OK):
        return None
    reason = plain_reason(port.device, PermissionError(13, "Permission denied"), opening=True)
    found, _, do = reason.partition(": ")
    group = group_of(device)
    if group is not None and waits_for_login(group):
        return Finding("ports", "mend", f"{found}, though you are in the group {group}", "log out and in again")
    more = f" (sudo usermod -aG {group} $USER)" if group is not None and sys.platform == "linux" else ""
    return Finding("ports", "mend", found, do.replace(", then", f"{more}, then", 1))


def group_of(device: Path) -> str | None:
    """The name of the group that owns a device."""
    try:
        import grp

        return grp.getgrgid(device.stat().st_gid).gr_name
    except (ImportError, OSError, KeyError):
        return None


def waits_for_login(group: str) -> bool:
    """Whether this user was put into the group since this login began."""
    try:
        import grp
        import pwd

        entry = grp.getgrnam(group)
        return pwd.getpwuid(os.getuid()).pw_name in entry.gr_mem and entry.gr_gid not in os.getgroups()
    except (ImportError, KeyError):
        return False


def heard(port: str, seconds: float) -> Finding:
    """What a meter sends in some seconds."""
    from winding_coach.app.listening import listen
    from winding_coach.meter.calibration import SIMULATED
    from winding_coach.meter.commissioning.checking import check_meter
    from winding_coach.meter.reader import MeterReader

    reader = MeterReader(SIMULATED)
    try:
        samples, received = listen(port, seconds, reader)
    except Problem as problem:
        return Finding("meter", "mend", f"{port}: {problem}", "winding-coach meter list")
    found = check_meter(reader, samples, received, seconds)
    if not found.samples:
        said = "sends nothing" if not received else "sends, but not the meter's lines"
        return Finding("meter", "mend", f"{port} {said}", f"winding-coach meter check {port}")
    rate = "" if found.rate_hz is None else f", {found.rate_hz:.0f} lines/s"
    bad = found.lost_lines + found.bad_lines
    board = "" if found.board is None else f" ({found.board})"
    words = f"{port}{board}{rate}{f', {bad} lost or damaged' if bad else ''}"
    return Finding("meter", "works", words, f"winding-coach meter check {port} shows why" if bad else "")


def calibration(folder: Path) -> Finding:
    """Whether a wind would find a calibration that is still good."""
    from winding_coach.app.calibrations import expired
    from winding_coach.meter.calibration import Calibration, CalibrationError

    file = folder / CALIBRATION_FILE
    again = 'winding-coach meter calibrate auto --arm "30 mm" --rating "29 mN.m"'
    try:
        text = file.read_text(encoding="utf-8")
        kept = Calibration.from_json(text)
    except FileNotFoundError:
        return Finding("calibration", "without", "none yet", again)
    except (OSError, UnicodeDecodeError, CalibrationError) as error:
        return Finding("calibration", "mend", f"{file} cannot be used: {error}", again)
    old = expired(kept)
    if old is not None:
        return Finding("calibration", "mend", old, again)
    return Finding("calibration", "works", f"of {kept.meter or 'a meter'}, made {str(kept.made)[:10]}")


def sound() -> Finding:
    """What can be heard here."""
    from winding_coach.sound.device import NoSoundError, open_card
    from winding_coach.sound.speaker import speech_command

    speech = speech_command()
    spoken = "no speech command" if speech is None else f"speech by {Path(speech[0]).name}"
    try:
        import numpy as np

        open_card(lambda frames: np.zeros(frames, dtype=np.int16)).close()
    except NoSoundError as error:
        reason, _, do = str(error).partition(": ")
        words = f"{reason[0].lower()}{reason[1:].rstrip('.')}; {spoken}"
        return Finding("sound", "without", words, do or "the terminal's bell is used instead: --sound bell")
    return Finding("sound", "works", f"a sound card; {spoken}")


def extras() -> Iterator[Finding]:
    """The optional parts, each a line."""
    missing = [name for name, (module, _) in EXTRAS.items() if importlib.util.find_spec(module) is None]
    there = [f"{name} ({job})" for name, (_, job) in EXTRAS.items() if name not in missing]
    if there:
        yield Finding("extras", "works", ", ".join(there))
    if missing:
        jobs = ", ".join(f"{name} ({EXTRAS[name][1]})" for name in missing)
        yield Finding("extras", "without", jobs, f"pip install 'winding-coach[{','.join(missing)}]'")
