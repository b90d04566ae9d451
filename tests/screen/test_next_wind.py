"""The next wind from the finished screen: one key, who is due in rows, what was typed in, refused or taken."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

from tests.screen.views import Still, shown, state
from winding_coach.screen.after import After, Answer, Asked
from winding_coach.screen.app import CoachApp

ROWS = [f"th-{number:02d}  Pip  wind 1 to 80%  (new)" for number in range(1, 9)]


class Upcoming:
    """Takes `2`, refuses all else."""

    def __init__(self, rows: Sequence[str] = ROWS) -> None:
        self.typed: list[str] = []
        self._rows = rows

    def rows(self) -> Sequence[str]:
        return self._rows

    def choose(self, line: str) -> Answer:
        self.typed.append(line)
        return Answer(Asked("next", "th-02", "Pip")) if line == "2" else Answer(None, "There is no such row.")


def after_keys(looked: Still, after: After, *presses: str, size: tuple[int, int] = (80, 24)) -> str:
    seen: list[str] = []

    async def run() -> None:
        app = CoachApp(looked, after=after)
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await pilot.press(*presses)
            await pilot.pause()
            seen.append(shown(app) if app.is_running else "left")

    asyncio.run(run())
    return seen[0]


def test_one_key_a_row_and_enter_go_on_to_the_next_wind() -> None:
    for key in ("n", "enter", "space"):
        after = After(upcoming=Upcoming())
        assert after_keys(state("done"), after, key, "2", "enter") == "left"
        assert after.asked == Asked("next", "th-02", "Pip")


def test_what_cannot_be_is_said_and_typed_again() -> None:
    upcoming = Upcoming()
    text = after_keys(state("done"), After(upcoming=upcoming), "n", "9", "enter")
    assert "There is no such row." in text
    after = After(upcoming=upcoming)
    assert after_keys(state("done"), after, "n", "9", "enter", "2", "enter") == "left"
    assert upcoming.typed == ["9", "9", "2"]


def test_all_rows_and_the_hint_fit_a_terminal_of_80_by_24() -> None:
    text = after_keys(state("done"), After(upcoming=Upcoming()), "n")
    assert all(row in text for row in ROWS)
    assert "scan the motor's label" in text
    assert "'motor add'" in after_keys(state("done"), After(upcoming=Upcoming([])), "n")


def test_escape_stays_and_nothing_happens_before_the_end() -> None:
    after = After(upcoming=Upcoming())
    assert "n next wind" in after_keys(state("done"), after, "n", "escape")
    assert after.asked is None
    looked = state("walk-in")
    assert "next wind" not in after_keys(looked, after, "n", "d")
    assert looked.pressed == ["next"]
    assert after.asked is None


def test_after_the_flight_the_next_wind_opens_by_itself_and_says_what_was_kept() -> None:
    after = After(flight=lambda line: (True, f"Kept {line}."), upcoming=Upcoming())
    text = after_keys(state("done"), after, "f", *"6:52", "enter")
    assert "Kept 6:52." in text
    assert ROWS[0] in text


def test_the_motor_is_let_down_by_one_key_unless_it_broke() -> None:
    after = After(lets_down=True)
    assert after_keys(state("done"), after, "d") == "left"
    assert after.asked == Asked("let_down")
    after = After(lets_down=True)
    assert after_keys(state("broken"), after, "d") != "left"
    assert after.asked is None


def test_when_it_is_let_down_the_flight_is_asked_for_without_a_key() -> None:
    kept: list[str] = []

    def keep(line: str) -> tuple[bool, str]:
        kept.append(line)
        return True, "Kept."

    found: list[str] = []

    def finding() -> str:
        found.append("once")
        return "118 ± 3 turns were left."

    looked = state("done")
    looked.finished = True
    after = After(flight=keep, upcoming=Upcoming(), found=finding)
    text = after_keys(looked, after, "wait:100", *"6:52", "enter")
    assert kept == ["6:52"]
    assert found == ["once"]
    assert ROWS[0] in text
