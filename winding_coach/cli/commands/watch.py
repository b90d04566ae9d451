"""A second screen, read-only: follows the wind that is being written, in this terminal or in browsers.

examples:
  winding-coach watch
  winding-coach watch --serve
  winding-coach watch --serve 0.0.0.0:8270 --show-code    (phones on the network that read the code can look)
"""

from __future__ import annotations

import argparse
import secrets
import threading
import time
from collections.abc import Callable
from pathlib import Path

from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.queue_seen import QueueSeen
from winding_coach.base.units import UnitSystem
from winding_coach.cli.args.common import add_common_arguments, home_from, units_asked_for, units_from
from winding_coach.cli.args.settings import drawn_from, eyes_from
from winding_coach.coach.curve import Curve
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.keeping.replaying import settings_of
from winding_coach.live.session import Session
from winding_coach.live.sources.follow import FollowSource
from winding_coach.traces.files import SUFFIX, Trace
from winding_coach.traces.rows import TraceError

LOOK_FOR_NEW_S = 1.0
CLOCKS_AGREE_NS = 10_000_000_000
"""A file may be so much newer than now: the clock of a disk in the network."""
USUAL_ADDRESS = "127.0.0.1:8270"
TOKEN_BYTES = 9
"""Twelve letters: too many to guess, few enough to type."""
LOOPBACK = ("127.0.0.1", "localhost", "::1")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `watch`."""
    parser.add_argument(
        "trace", metavar="TRACE", nargs="?", help="the trace to follow (the newest, and those after it)"
    )
    parser.add_argument(
        "--serve",
        metavar="HOST:PORT",
        nargs="?",
        const=USUAL_ADDRESS,
        help=f"a page for browsers instead of this terminal (on {USUAL_ADDRESS}: this computer only)",
    )
    parser.add_argument(
        "--show-code", action="store_true", help="with --serve: its address as a code for a phone's camera"
    )
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Watch until the person leaves."""
    home = home_from(args)
    address = None if args.serve is None else _address(args.serve)
    if args.show_code and address is None:
        raise UsageProblem("--show-code goes with --serve, as in: watch --serve 0.0.0.0:8270 --show-code")
    named = None if args.trace is None else Path(args.trace)
    try:
        watched = Watched(
            lambda: named or newest_trace(home.traces), units_asked_for(args, home), fixed=named is not None
        )
    except TraceError as error:
        raise Problem(str(error)) from None
    queue = QueueSeen(home, units_from(args, home))
    if address is not None:
        return _serve(watched, *address, queue, show_code=args.show_code)
    from winding_coach.screen.terminal import is_terminal
    from winding_coach.screen.watch_app import run_watch

    if not is_terminal():
        watched.stop()
        raise UsageProblem("The screen needs a terminal: use --serve for a page, or replay --headless.")
    queue.start()
    run_watch(watched, eyes_from(home), drawn_from(home), queue)
    queue.stop()
    return 0


def newest_trace(folder: Path) -> Path:
    """Return the trace of the folder that was written to last; one from the future was, before the clock was set back.

    Raises:
        TraceError: there is none.
    """
    try:
        latest_ns = time.time_ns() + CLOCKS_AGREE_NS
        written = {path: path.stat().st_mtime_ns for path in folder.glob(f"*{SUFFIX}")}
        return max(written, key=lambda path: (written[path] <= latest_ns, written[path]))
    except (ValueError, OSError):
        raise TraceError(f"There is no trace to watch in '{folder}' yet: start a wind, or name a trace.") from None


class Watched:
    """The wind that is followed, then the next one; one `winding_coach.screen.looking.Looked`."""

    replaying = False

    def __init__(
        self,
        which: Callable[[], Path],
        units: UnitSystem | None = None,
        *,
        fixed: bool,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """which: the trace to follow now. fixed: it stays the same one.

        Raises:
            TraceError: it cannot be followed.
        """
        self._which, self._units, self._fixed, self._clock = which, units, fixed, clock
        self._path, self._source, self._session = self._follow(which())
        self._looked_s = clock()
        self._lock = threading.Lock()

    def _follow(self, path: Path) -> tuple[Path, FollowSource, Session]:
        source = FollowSource(path)
        try:
            settings = settings_of(Trace(path, source.header), units=self._units)
        except TraceError:
            source.close()
            raise
        return path, source, Session(source, Coach(settings))

    @property
    def view(self) -> CoachView:
        """The newest view; once a wind is over, that of the next as soon as there is one."""
        with self._lock:
            now = self._clock()
            if not self._fixed and self._session.finished and now - self._looked_s >= LOOK_FOR_NEW_S:
                self._looked_s = now
                self._next()
            return self._session.view

    def _next(self) -> None:
        try:
            path = self._which()
            if path != self._path:
                self._path, self._source, self._session = self._follow(path)
                self._session.start()
        except TraceError:
            pass  # Its first line may not be written yet: looked for again.

    @property
    def curve(self) -> Curve:
        """The chart's data."""
        return self._session.curve

    @property
    def trace_name(self) -> str | None:
        """The trace that is followed."""
        return self._path.name

    @property
    def trouble(self) -> str | None:
        """What is wrong with the loop."""
        return self._session.trouble

    @property
    def finished(self) -> bool:
        """Whether the wind is over."""
        return self._session.finished

    def press(self, key_name: str) -> None:
        """Nothing is passed on."""

    def start(self) -> None:
        """Start to follow."""
        self._session.start()

    def stop(self) -> None:
        """End it, whether or not it was started."""
        self._session.stop()
        self._source.close()


def _address(typed: str) -> tuple[str, int]:
    host, _, port = typed.rpartition(":")
    if not port.isdecimal() or not 0 <= int(port) <= 65535:
        raise UsageProblem(f"--serve: '{typed}' is no address: type HOST:PORT, as in {USUAL_ADDRESS}.")
    return host.strip("[]") or "127.0.0.1", int(port)


def _serve(watched: Watched, host: str, port: int, queue: QueueSeen, *, show_code: bool) -> int:
    from winding_coach.app.phone import code_lines, reachable_at
    from winding_coach.screen.serving import PageServer

    local = host in LOOPBACK
    # Beyond this computer the address itself is the key: who was not shown it finds nothing.
    token = None if local else secrets.token_urlsafe(TOKEN_BYTES)
    try:
        server = PageServer(watched, host, port, token=token, queue=queue)
    except (OSError, OverflowError, UnicodeError) as error:
        watched.stop()
        raise Problem(
            f"No page can be served on {host}:{port} ({error}): name another with --serve HOST:PORT."
        ) from None
    reached = host if local else reachable_at(host)
    shown = f"[{reached}]" if ":" in reached else reached
    address = f"http://{shown}:{server.port}{server.root}"
    print(f"{address} shows {watched.trace_name}; Ctrl-C ends it.", flush=True)
    if not local:
        print(
            "Anyone with this address on this network can see torque, turns, advice, the names of the trace and its"
            " motor, and the nicknames of those who are next; they cannot change anything.",
            flush=True,
        )
    if show_code:
        print("\n".join(code_lines(address)), flush=True)
    watched.start()
    queue.start()
    try:
        server.serve_forever()
    finally:
        queue.stop()
        server.server_close()
        watched.stop()
    return 0
