"""Practice from the side: where things stand, drawn to scale; and the key that shows it in a small window."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, replace

import pytest

from tests.screen.views import shown, state, walk_in
from winding_coach.screen.app import CoachApp
from winding_coach.screen.remark import Remark
from winding_coach.screen.sheet import Sheet
from winding_coach.screen.side import MARGIN, draw_side, strand
from winding_coach.simulator.bench import Truth


@dataclass
class Seen:
    distance_m: float = 1.31
    turns: float = 980.0
    crank_rev_per_s: float = 1.2
    knotted: float = 0.3
    hooked: bool = True
    broken: bool = False
    doing: str = "cranking"


def lines(seen: Seen) -> list[str]:
    sheet = Sheet(116, 5)
    draw_side(sheet, 0, 0, 116, seen, walk_in().view)
    return sheet.lines()


def test_the_picture_is_to_scale() -> None:
    near, far = lines(Seen(0.5)), lines(Seen(1.5))

    def hand(drawn: list[str]) -> int:
        return drawn[2].index("/|>") - MARGIN

    assert hand(far) == pytest.approx(3 * hand(near), abs=2)
    assert far[4].index("◆") - MARGIN == pytest.approx(hand(far) * 1.22 / 1.5, abs=1)
    assert far[4].index("┴1.5") - MARGIN == pytest.approx(hand(far), abs=1)


def test_knots_take_their_share_and_begin_in_the_middle() -> None:
    assert strand(20, 0.0, 0.0) == "─" * 20
    assert strand(20, 0.9, 0.3).count("8") == 6
    assert strand(20, 0.9, 0.3) == "≈" * 7 + "8" * 6 + "≈" * 7
    assert strand(20, 0.3, 0.0) == "~" * 20
    assert strand(-3, 0.3, 0.5) == ""
    assert strand(5, 1.0, 2.0) == "88888"


def test_what_the_hands_do_is_said_and_seen() -> None:
    assert "1.31 m, cranking 1.2 turns/s" in lines(Seen())[0]
    assert "/|>" in lines(Seen())[2]
    assert "<|\\" in lines(replace(Seen(), crank_rev_per_s=-0.9, doing="backing off"))[2]
    assert "1.31 m, standing" in lines(replace(Seen(), crank_rev_per_s=0.0, doing="standing"))[0]
    assert "broken" in lines(replace(Seen(), broken=True))[2]
    assert "8" not in lines(replace(Seen(), hooked=False))[2]


def test_a_simulated_bench_is_something_to_look_at() -> None:
    truth = Truth(1.0, 100.0, 1.0, 1.2, 1e-3, 1.0, 0.2, 0.0, False, True, "cranking")
    sheet = Sheet(116, 5)
    draw_side(sheet, 0, 0, 116, truth, walk_in().view)
    assert "1.20 m, cranking 1.0 turns/s" in sheet.lines()[0]


@pytest.mark.parametrize(
    ("size", "key", "seen"), [((120, 40), "u", True), ((80, 24), "u", False), ((80, 24), "v", True)]
)
def test_it_shares_the_chart_s_room_or_takes_it_by_key(size: tuple[int, int], key: str, seen: bool) -> None:
    async def run() -> str:
        app = CoachApp(walk_in(), lambda _: None, aside=Seen)
        async with app.run_test(size=size) as pilot:
            await pilot.press(key)
            await pilot.pause()
            return shown(app)

    assert ("meter ┌─┐" in asyncio.run(run())) is seen


def test_what_a_lesson_asks_is_not_hidden_by_the_list_for_a_real_motor() -> None:
    """A newcomer saw eye protection and knots, and nothing of what the lesson wanted."""

    async def shown_with(notice: tuple[str, ...]) -> str:
        app = CoachApp(
            state("stretch-out"), lambda _: None, aside=Seen, note=lambda: Remark("Lesson 1: Crank.", notice)
        )
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            return shown(app)

    text = asyncio.run(shown_with(("Up starts the crank.",)))
    assert "Up starts the crank." in text
    assert "Before you start" not in text
    assert "Before you start" in asyncio.run(shown_with(())), "the list comes back once the lesson has begun"
