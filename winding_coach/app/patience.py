"""Work on the shelf in a thread of its own: a disk that does not answer is said within two seconds, and given up."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import TypeVar

from winding_coach.base.errors import CoachError

T = TypeVar("T")

SAID_AFTER_S, GIVES_UP_AFTER_S = 2.0, 60.0
BLOCKED = "The shelf's disk does not answer; it is waited for, a minute at most."
GIVEN_UP = "The shelf's disk does not answer: the wind is in its trace, and the next start logs it."


class GivenUpError(CoachError):
    """The work is not done yet; it goes on by itself, and no one waits."""


def patiently(
    work: Callable[[], T],
    say: Callable[[str], None],
    *,
    said_after_s: float = SAID_AFTER_S,
    gives_up_after_s: float = GIVES_UP_AFTER_S,
) -> T:
    """Return what `work` returns, or raise what it raises; say so where that takes longer than two seconds.

    Raises:
        GivenUpError: it took longer still.
    """
    done: queue.Queue[tuple[T | None, BaseException | None]] = queue.Queue(maxsize=1)

    def run() -> None:
        try:
            done.put((work(), None))
        except BaseException as failure:  # It is raised where it is waited for.
            done.put((None, failure))

    threading.Thread(target=run, name="shelf", daemon=True).start()
    try:
        found, failure = done.get(timeout=said_after_s)
    except queue.Empty:
        say(BLOCKED)
        try:
            found, failure = done.get(timeout=gives_up_after_s)
        except queue.Empty:
            raise GivenUpError(GIVEN_UP) from None
    if failure is not None:
        raise failure
    return found  # type: ignore[return-value]
