"""In which order, by which worker and whether traced: what makes the whole suite short. No test depends on it.

Whoever waits (a real port, a terminal that takes nothing) leaves the processor to others, so such files go to workers
of their own, one more for each core. What takes long goes first, so that no worker is left with it at the end.
Coverage is traced where a test works in this process on what its lines are for: whole winds over a port run in other
processes, and whole winds in this one run the same lines as the rooms' own tests, three times as slowly.
"""

from __future__ import annotations

WAITING: tuple[tuple[str, ...], ...] = (
    (
        "tests/trust/test_blocked.py",
        "tests/cli/test_unwind.py",
        "tests/cli/test_weights.py",
        "tests/sources/test_simulated.py",
    ),
    (
        "tests/cli/test_link.py",
        "tests/cli/test_coaching.py",
        "tests/cli/test_crank_sender.py",
        "tests/test_terminal.py",
        "tests/cli/test_first_steps.py",
        "tests/cli/test_screens.py",
        "tests/cli/test_meter.py",
        "tests/cli/test_ready.py",
        "tests/trust/test_platforms.py",
        "tests/cli/test_from_shelf.py",
        "tests/trust/test_killed.py",
    ),
)
"""Files whose tests mostly wait, one tuple for each worker that takes them."""

TOGETHER = ("tests/firmware/", "tests/coach/", "tests/review/", "tests/screen/", "tests/report/")
"""Folders in which the tests of a file go to one worker: they share winds, or firmware, that are made once a worker."""

LONG = (
    "tests/firmware/",
    "tests/trust/test_truth.py",
    "tests/trust/test_safety.py",
    "tests/walkers/test_winding.py",
    "tests/coach/test_dead_crank.py",
    "tests/coach/test_winds.py",
    "tests/cli/test_lesson.py",
    "tests/coach/test_untrue.py",
    "tests/review/",
    "tests/signals/",
    "tests/trust/",
    "tests/cli/test_calibrate.py",
    "tests/bench/",
    "tests/coach/",
    "tests/cli/test_review.py",
    "tests/simulator/",
    "tests/docs/",
    "tests/cli/",
)
"""What takes the processor longest, first; the rest after it as it stands."""

UNTRACED = (
    "tests/bench/",
    "tests/walkers/",
    "tests/firmware/",
    "tests/docs/",
    "tests/test_terminal.py",
)
"""Their lines are covered by the tests of the rooms; what they test is the whole."""


SAMPLED = (
    "tests/trust/",
    "tests/coach/test_dead_crank.py",
    "tests/coach/test_lead.py",
    "tests/coach/test_untrue.py",
    "tests/review/test_record.py",
)
"""Whole winds, many of a kind: of the cases of one test only the first is traced."""


def worker_of(file: str) -> str | None:
    """Return a name for the tests that one worker takes with those of this file, None where each may go anywhere."""
    waiting = next((f"waits-{number}" for number, files in enumerate(WAITING) if file in files), None)
    return file if waiting is None and file.startswith(TOGETHER) else waiting


def place_of(file: str) -> int:
    """Return where a file comes in the order."""
    return next((place for place, name in enumerate(LONG) if file.startswith(name)), len(LONG))


def traced(file: str, *, first: bool = True) -> bool:
    """Return whether the lines that a file's test runs are counted; first: of its cases."""
    sampled = file.startswith(SAMPLED) and not first
    return not sampled and not file.startswith(UNTRACED) and not any(file in files for files in WAITING)
