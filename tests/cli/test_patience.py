"""A shelf on a disk that does not answer: said within two seconds, given up, and never in the way of a wind."""

from __future__ import annotations

import functools
import threading
from pathlib import Path

import pytest

from winding_coach.app import patience
from winding_coach.app.home import Home
from winding_coach.app.patience import BLOCKED, GivenUpError, patiently
from winding_coach.app.problem import Problem
from winding_coach.cli.commands import flight
from winding_coach.cli.commands.flight import keeper


def test_what_is_done_at_once_is_returned_without_a_word() -> None:
    said: list[str] = []
    assert patiently(lambda: 7, said.append) == 7
    assert said == []


def test_what_the_work_raises_is_raised_where_it_is_waited_for() -> None:
    def fails() -> None:
        raise Problem("The shelf is full.")

    with pytest.raises(Problem, match="full"):
        patiently(fails, print)


def test_a_blocked_shelf_is_said_within_two_seconds_and_given_up() -> None:
    assert patience.SAID_AFTER_S <= 2.0
    goes_on = threading.Event()
    said: list[str] = []
    try:
        with pytest.raises(GivenUpError, match="the next start logs it"):
            patiently(goes_on.wait, said.append, said_after_s=0.0, gives_up_after_s=0.0)
        assert said == [BLOCKED]
    finally:
        goes_on.set()


def test_a_disk_that_answers_after_it_was_said_is_waited_for() -> None:
    goes_on = threading.Event()
    assert patiently(goes_on.wait, lambda _: goes_on.set(), said_after_s=0.0) is True


def test_the_finished_screen_does_not_stand_still_with_the_shelf(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    goes_on = threading.Event()
    monkeypatch.setattr(flight, "log_line", lambda *_: goes_on.wait())
    monkeypatch.setattr(flight, "patiently", functools.partial(patiently, said_after_s=0.0))
    try:
        kept, said = keeper(Home(home, {}), "w", "metric")("6:52 180")
        assert not kept
        assert "does not answer" in said
    finally:
        goes_on.set()
