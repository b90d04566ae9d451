"""Make one file of what helps to find a fault of the program, to send with a report of it.

It holds versions of the program, of Python and of the libraries, what the terminal is, how much data there is, and the
last fault. What can name people is put in only if you say so: it asks, or --with names it.

examples:
  winding-coach report-fault
  winding-coach report-fault fault.zip --with settings,trace
  winding-coach wind --log wind.log    and then    winding-coach report-fault --with log=wind.log
"""

from __future__ import annotations

import argparse
import importlib.metadata
import io
import json
import os
import platform
import shutil
import sys
import zipfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from winding_coach import __version__
from winding_coach.app.fault import FAULT_FILE
from winding_coach.app.home import CALIBRATION_FILE, SETTINGS_FILE, Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.writing import write_whole
from winding_coach.base.units import counted
from winding_coach.cli.args.common import add_common_arguments, folder_from
from winding_coach.cli.commands.watch import newest_trace
from winding_coach.shelf.store import SHELF_FILE
from winding_coach.traces.rows import TraceError

ASKED = {
    "settings": "your settings (they can hold nicknames and names of ports)",
    "calibration": "the meter's calibration (it can hold the meter's name)",
    "trace": "the newest wind's trace (it holds the nickname, the motor, and every reading)",
}
"""What can tell of people, and how it is asked for."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `report-fault`."""
    parser.add_argument("file", nargs="?", metavar="FILE", help="new file (winding-coach-fault-DATE-TIME.zip, here)")
    parser.add_argument(
        "--with",
        dest="wanted",
        metavar="PARTS",
        help="what else goes in, unasked, with commas between: settings, calibration, trace, log=FILE; or nothing",
    )
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Write the file."""
    home = Home(folder_from(args), {})
    to = Path(args.file or f"winding-coach-fault-{datetime.now():%Y-%m-%d-%H%M%S}.zip")
    if to.suffix.lower() != ".zip":
        raise UsageProblem(f"FILE: '{to}' must end in .zip.")
    there = {name: path for name, path in _parts(home) if path.is_file()}
    wanted = _named(args.wanted, there) if args.wanted is not None else _asked(there)
    inside = {"about.json": json.dumps(about(home), ensure_ascii=False, indent=1).encode("utf-8")}
    try:
        if (home.folder / FAULT_FILE).is_file():
            inside[FAULT_FILE] = without_paths((home.folder / FAULT_FILE).read_bytes(), home.folder)
        for name, path in wanted.items():
            inside[f"{name}/{path.name}"] = path.read_bytes()
    except OSError as error:
        raise Problem(f"'{error.filename}' cannot be read ({error.strerror}): leave it out with --with.") from None
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        for name, content in inside.items():
            file.writestr(name, content)
    write_whole(to, packed.getvalue(), "report", mode=0o600)
    print(f"{to}: {counted(len(inside), 'file')} ({', '.join(inside)}). Look through it before you send it.")
    if FAULT_FILE not in inside:
        print("No fault of the program is kept here: say in your report what you did, what came, and what should have.")
    return 0


def about(home: Home) -> dict[str, object]:
    """Return what tells of the program and the computer, and of no one."""
    names = sorted({"pyserial", "numpy", "scipy", "textual", "rich", "platformdirs", *_EXTRAS})
    versions = {name: _version_of(name) for name in names}
    size = shutil.get_terminal_size()
    traces = list(home.traces.iterdir()) if home.traces.is_dir() else []
    return {
        "made": datetime.now().astimezone().isoformat(timespec="seconds"),
        "winding-coach": __version__,
        "python": sys.version,
        "platform": platform.platform(),
        "machine": platform.machine(),
        "libraries": {name: version for name, version in versions.items() if version is not None},
        "terminal": {
            "TERM": os.environ.get("TERM"),
            "COLORTERM": os.environ.get("COLORTERM"),
            "columns": size.columns,
            "lines": size.lines,
            "encoding": sys.stdout.encoding,
        },
        "data": {
            "traces": len(traces),
            "shelf_bytes": _size_of(home.folder / SHELF_FILE),
            "settings": (home.folder / SETTINGS_FILE).is_file(),
            "calibration": (home.folder / CALIBRATION_FILE).is_file(),
        },
    }


_EXTRAS = ("resvg-py", "miniaudio", "pyarrow", "segno", "shtab")


def _version_of(name: str) -> str | None:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return None


def _size_of(path: Path) -> int | None:
    try:
        return path.stat().st_size
    except OSError:
        return None


def _parts(home: Home) -> Iterator[tuple[str, Path]]:
    yield "settings", home.folder / SETTINGS_FILE
    yield "calibration", home.folder / CALIBRATION_FILE
    try:
        yield "trace", newest_trace(home.traces)
    except TraceError:
        return


def without_paths(text: bytes, folder: Path) -> bytes:
    """Return a text without the names of this user's folders."""
    for path, shown in ((folder, b"DATA"), (Path.home(), b"HOME")):
        text = text.replace(os.fsencode(path), shown)
    return text


def _named(words: str, there: dict[str, Path]) -> dict[str, Path]:
    """Return the parts that `--with` names."""
    wanted: dict[str, Path] = {}
    for word in filter(None, (one.strip() for one in words.split(","))):
        name, is_named, path = word.partition("=")
        if name == "log" and is_named:
            wanted["log"] = Path(path).expanduser()
        elif word in there:
            wanted[word] = there[word]
        elif word in ASKED:
            raise Problem(f"--with: there is no {word} in the folder of the data: leave it out, or name its --home.")
        elif word != "nothing":
            raise UsageProblem(f"--with: '{word}' is not one of {', '.join(ASKED)}, log=FILE or nothing.")
    return wanted


def _asked(there: dict[str, Path]) -> dict[str, Path]:
    """Return the parts that someone at a terminal says yes to; elsewhere none."""
    if not sys.stdin.isatty():
        return {}
    wanted = {}
    for name, path in there.items():
        print(f"Put in {ASKED[name]}? y or n (n): ", end="", flush=True)
        if sys.stdin.readline().strip().lower() in ("y", "yes"):
            wanted[name] = path
    return wanted
