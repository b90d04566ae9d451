"""Systems that these tests do not run on, as far as they can be put in the place of this one: see trust.md."""

from __future__ import annotations

import ast
import errno
import os
import runpy
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.traces.test_files import HEADER
from winding_coach.app.batches import batch_file
from winding_coach.app.home import Home
from winding_coach.app.problem import UsageProblem
from winding_coach.base import private, system
from winding_coach.cli.output import headless
from winding_coach.live.sources.ports import Port, plain_reason
from winding_coach.sound.speaker import COMMANDS
from winding_coach.traces import files

ROOT = Path(__file__).parents[2] / "winding_coach"
POSIX_ONLY = {"termios", "fcntl", "pty", "tty", "grp", "pwd", "resource"}
WINDOWS_ONLY = {"msvcrt", "winreg", "winsound", "_winapi"}

WITHOUT_POSIX = f"""
import os, sys
for name in {sorted(POSIX_ONLY)!r}:
    sys.modules[name] = None
for name in ("openpty", "ttyname", "set_blocking"):
    if hasattr(os, name):
        delattr(os, name)
import pkgutil, importlib
import winding_coach
for found in pkgutil.walk_packages(winding_coach.__path__, "winding_coach."):
    if not found.name.endswith("__main__"):
        importlib.import_module(found.name)
from winding_coach.cli import main
figures = ["--loop", "30 cm", "--mass", "1.4 g", "--orings", "0.08 g", "--hooks", "22 cm", "--home", sys.argv[1]]
assert main(["plan", *figures, "--json"]) == 0
assert main(["wind", "--headless", "--port", "sim", "--sim-script", "good", "--sim-speed", "5", *figures]) == 0
assert main(["meter", "emulate", "--link", "port", "--until-stdin-closes"]) == 1
assert main(["meter", "emulate", "--until-stdin-closes"]) == 0
assert main(["motor", "add", "th-07", *figures[:6], "--home", sys.argv[1]]) == 0
assert main(["shelf", "check", "--home", sys.argv[1]]) == 0
print("all done")
"""


def test_everything_is_there_without_the_modules_of_posix(home: Path) -> None:
    """Each module is imported; plan and shelf work; a whole wind is coached over a local socket; a link to a device,
    which needs a pseudo-terminal, is refused in a sentence."""
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT_POSIX, str(home)], capture_output=True, text=True, stdin=subprocess.DEVNULL
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.endswith("all done\n")
    assert "Ready to launch" in done.stdout
    assert "socket://127.0.0.1:" in done.stdout
    assert done.stderr.count("no pseudo-terminals, so there can be no --link") == 1
    assert "Traceback" not in done.stderr


def test_no_module_needs_another_system_when_it_is_imported() -> None:
    """What only some systems have is imported where it is used, and there it may be missing."""
    for path in ROOT.rglob("*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            names = [one.name for one in node.names] if isinstance(node, ast.Import) else []
            names += [str(node.module)] if isinstance(node, ast.ImportFrom) else []
            assert not {name.split(".")[0] for name in names} & (POSIX_ONLY | WINDOWS_ONLY), path


@pytest.mark.parametrize(
    ("text", "opening", "says"),
    [
        ("could not open port 'COM5': PermissionError(13, 'Access is denied.', None, 5)", True, "in use"),
        (
            "could not open port 'COM9': FileNotFoundError(2, 'The system cannot find the file.', None, 2)",
            True,
            "no port",
        ),
        ("ClearCommError failed (PermissionError(13, 'Access is denied.', None, 5))", False, "unplugged"),
        ("ClearCommError failed (OSError(22, 'The parameter is incorrect.', None, 87))", False, "unplugged"),
        ("GetOverlappedResult failed (PermissionError(13, 'Access is denied.', None, 5))", False, "unplugged"),
        ("device reports readiness to read but returned no data (device disconnected?)", False, "unplugged"),
    ],
)
def test_what_pyserial_says_on_windows_in_plain_words(text: str, opening: bool, says: str) -> None:
    """The sentences are pyserial 3.5's `serialwin32` and `serialposix`; those of ClearCommError as its issues 446, 474
    and 575 quote them."""
    assert says in plain_reason("COM5", OSError(text), opening=opening)


@pytest.mark.parametrize(
    ("port", "likely"),
    [
        (Port("COM3", "USB Serial Port (COM3)", (0x0403, 0x6001, "A1")), True),
        (Port("COM1", "Communications Port (COM1)"), False),
        (Port("/dev/cu.usbmodem1101", "Board", (0x2341, 0x0043, "55"), "1-1"), True),
        (Port("/dev/cu.Bluetooth-Incoming-Port"), False),
        (Port("/dev/ttyACM0", "Board", (0x2341, 0x0043, "55"), "1-1:1.0"), True),
        (Port("/dev/ttyS0"), False),
    ],
)
def test_a_meter_is_looked_for_where_usb_is(port: Port, likely: bool) -> None:
    assert port.likely is likely


def test_signals_are_taken_as_far_as_the_system_has_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows takes these three (library reference, `signal.signal`); the last is there alone."""
    taken: dict[int, object] = {}
    monkeypatch.setattr(signal, "signal", lambda number, handler: taken.__setitem__(number, handler))
    monkeypatch.setattr(signal, "SIGBREAK", 21, raising=False)
    pressed: list[str] = []
    headless.close_on_signals(pressed.append)
    assert set(taken) == {signal.SIGINT, signal.SIGTERM, signal.SIGHUP, 21}
    for handler in taken.values():
        handler(0, None)  # type: ignore[operator]
    assert pressed == ["quit"] * 4


def test_a_trace_has_the_same_bytes_everywhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without O_BINARY Windows would write other line ends, and count bytes that were never given to it."""
    monkeypatch.setattr(os, "O_BINARY", os.O_CLOEXEC, raising=False)
    monkeypatch.setattr(system, "BINARY", runpy.run_path(str(system.__file__))["BINARY"])
    namespace = runpy.run_path(str(files.__file__))
    assert namespace["BINARY"] == os.O_CLOEXEC
    asked: list[int] = []
    real = os.open

    def noted(path: Path, flags: int, mode: int) -> int:
        asked.append(flags)
        return real(path, flags, mode)

    monkeypatch.setattr(os, "open", noted)
    namespace["TraceWriter"](tmp_path, HEADER).close()
    assert asked[0] & os.O_CLOEXEC


class OpenElsewhere:
    """`os.replace` as Windows has it while somebody has the file open, for so many tries."""

    def __init__(self, tries: int, winerror: int | None = 32) -> None:
        self.left, self.winerror, self.waited_s = tries, winerror, 0.0
        self.real = os.replace

    def __call__(self, fresh: Path, path: Path) -> None:
        if self.left > 0:
            self.left -= 1
            error = PermissionError(errno.EACCES, "in use", str(path))
            error.winerror = self.winerror  # type: ignore[attr-defined]
            raise error
        self.real(fresh, path)

    def sleep(self, seconds: float) -> None:
        self.waited_s += seconds


@pytest.mark.parametrize(("tries", "held"), [(0, "new"), (4, "new"), (99, "old")])
def test_a_file_that_is_open_elsewhere_is_replaced_when_it_is_let_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tries: int, held: str
) -> None:
    """A scanner that looks into a file for a moment; one that keeps it. Either way it holds the old text or the new."""
    path = tmp_path / "settings.json"
    path.write_text("old")
    windows = OpenElsewhere(tries)
    monkeypatch.setattr(os, "replace", windows)
    monkeypatch.setattr(system.put_in_place, "__defaults__", (windows.sleep,))
    if held == "new":
        private.write_private(path, "new")
    else:
        with pytest.raises(PermissionError):
            private.write_private(path, "new")
    assert path.read_text() == held
    assert list(tmp_path.iterdir()) == [path]
    assert windows.waited_s <= 1.0


def test_what_may_not_be_written_is_not_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    refused = OpenElsewhere(99, winerror=None)
    monkeypatch.setattr(os, "replace", refused)
    monkeypatch.setattr(system.put_in_place, "__defaults__", (refused.sleep,))
    with pytest.raises(PermissionError):
        private.write_private(tmp_path / "a", "new")
    assert refused.waited_s == 0.0


def test_a_mac_is_asked_to_empty_the_drive_s_memory_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import fcntl

    asked: list[int] = []
    synced: list[int] = []
    monkeypatch.setattr(fcntl, "F_FULLFSYNC", 51, raising=False)
    monkeypatch.setattr(fcntl, "fcntl", lambda file, command: asked.append(command))
    monkeypatch.setattr(os, "fsync", synced.append)
    private.write_private(tmp_path / "a", "new")
    assert asked == [51]
    assert not synced

    def cannot(file: int, command: int) -> None:
        raise OSError(errno.ENOTSUP, "not on this file system")

    monkeypatch.setattr(fcntl, "fcntl", cannot)
    private.write_private(tmp_path / "a", "newer")
    assert len(synced) == 1


@pytest.mark.parametrize("name", ["CON", "nul", "aux.old", "com1", "LPT9.x", "a:b", "a/b", "a\\b", "..", "x.", "x "])
def test_a_batch_is_not_named_what_some_system_cannot_keep(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageProblem, match="cannot name a batch"):
        batch_file(name, Home(tmp_path, {}))


def test_speech_is_a_command_with_its_words_on_standard_input() -> None:
    for command in COMMANDS.values():
        assert not any("{" in word for word in command)
    assert set(COMMANDS) == {"darwin", "win32", "linux"}


def test_errors_of_other_numbers_have_words_too() -> None:
    assert "gives an error" in plain_reason("x", OSError(errno.EXDEV, "odd"), opening=True)
