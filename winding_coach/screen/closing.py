"""A screen that is asked to end, or whose terminal hangs up: the wind is closed and saved all the same."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from winding_coach.base.system import ended_by

LEAVES_WITHIN_S = 3.0
"""A terminal that takes nothing more keeps a program from leaving its screen; then it ends without."""
SIGNALS = ("SIGTERM", "SIGHUP", "SIGBREAK")


@contextmanager
def closed_by_signals(stop: Callable[[], None], leave: Callable[[], object]) -> Iterator[None]:
    """Let signals to end close the wind. stop: closes and saves it, in a second or so. leave: leaves the screen."""
    left = threading.Event()

    def close() -> None:
        stop()
        if not left.wait(LEAVES_WITHIN_S):
            os._exit(1)  # The wind is saved; the shelf logs it at the next start.

    def handle(_number: int, _frame: Any) -> None:
        threading.Thread(target=close, name="closing by a signal", daemon=True).start()
        leave()

    with ended_by(handle, SIGNALS):
        try:
            yield
        finally:
            left.set()
