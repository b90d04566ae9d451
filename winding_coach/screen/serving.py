"""The page for browsers: one process serves any number of them, read-only. Nothing is asked from outside."""

from __future__ import annotations

import hmac
import json
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from socket import AF_INET, AF_INET6
from typing import Any

from winding_coach.coach.view import CoachView
from winding_coach.screen.looking import Looked
from winding_coach.screen.page import page_object
from winding_coach.sound.hearing import AudioState, CueSelector

LOOPBACK = ("127.0.0.1", "localhost", "::1")
SIGN_OF_LIFE_S = 2.0
SECURITY = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline';"
    " connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


class PageServer(ThreadingHTTPServer):
    """Serves `/` (the page) and `/look` (what it shows)."""

    daemon_threads = True

    def __init__(
        self,
        looked: Looked,
        host: str,
        port: int,
        *,
        token: str | None = None,
        queue: Callable[[], tuple[str, ...]] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """Bind the address; port 0 takes a free one, see `port`. token: the page is only at `/TOKEN/`, None: at `/`.
        queue: who is next.

        Raises:
            OSError: the address cannot be had.
        """
        self.address_family = AF_INET6 if ":" in host else AF_INET
        self.looked = looked
        self.local = host in LOOPBACK
        self.root = "/" if token is None else f"/{token}/"
        self.page = files("winding_coach.screen").joinpath("page.html").read_bytes()
        self._clock, self._queue = clock, queue
        self._newest: tuple[CoachView, float] | None = None
        self._ear, self._lock = CueSelector(), threading.Lock()
        super().__init__((host, port), _Handler)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that leaves is no error, and the terminal is for the address."""

    @property
    def port(self) -> int:
        """The port that is served."""
        return int(self.server_address[1])

    def seen(self) -> bytes:
        """Return what there is to see now, as JSON; a view that is no more renewed is not live."""
        looked = self.looked
        view, now_s = looked.view, self._clock()
        if self._newest is None or self._newest[0] is not view:
            self._newest = (view, now_s)
        if now_s - self._newest[1] > SIGN_OF_LIFE_S:
            view = replace(view, stale=True)
        shown = page_object(
            view, looked.curve.points(), looked.trace_name, looked.trouble, self._queue() if self._queue else ()
        )
        with self._lock:
            shown["sound"] = sound_object(self._ear.hear(view))
        return json.dumps(shown, ensure_ascii=False, allow_nan=False).encode("utf-8")


def sound_object(hearing: AudioState) -> dict[str, Any]:
    """Return what is to be heard as an object: the tone's pitch and pulses (null: silence), the cue that begins."""
    tone, cue = hearing.tone, hearing.cue
    return {
        "pitch_hz": None if tone is None else round(tone.pitch_hz, 1),
        "pulses_per_s": 0.0 if tone is None else tone.pulses_per_s,
        "cue": None if cue is None else cue.cue.name.lower(),
        "cue_at_s": None if cue is None else round(cue.at_s, 3),
    }


class _Handler(BaseHTTPRequestHandler):
    """Answers GET; says nothing on the terminal."""

    server: PageServer
    server_version = "winding-coach"
    sys_version = ""
    timeout = 10

    def do_GET(self) -> None:
        """Serve the page or what it shows."""
        name = self.headers.get("Host", "").rpartition(":")[0].strip("[]") or self.headers.get("Host", "")
        if self.server.local and name not in LOOPBACK:
            self._answer(403, "text/plain", b"This page is served on this computer only.\n")
        elif hmac.compare_digest(self.path.encode(), self.server.root.encode()):
            self._answer(200, "text/html", self.server.page)
        elif hmac.compare_digest(self.path.encode(), f"{self.server.root}look".encode()):
            self._answer(200, "application/json", self.server.seen())
        else:
            self._answer(404, "text/plain", b"There is nothing here: take the whole address, as it was printed.\n")

    def _answer(self, status: int, kind: str, body: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Type", f"{kind}; charset=utf-8")
        self.send_header("Content-Length", str(len(body)))
        for name, value in SECURITY.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:
        """Not a word: the terminal is for the address."""
