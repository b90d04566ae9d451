"""Eyes, hands, ratings, bystanders, children, the adult in charge: said wherever somebody is about to wind or load."""

from __future__ import annotations

from pathlib import Path

import pytest

from winding_coach.cli import main
from winding_coach.cli.output.headless import BEFORE_YOU_START
from winding_coach.screen.wording import CAUTION_LINE, CHECK_FOOT, CHECK_WORDS

ROOT = Path(__file__).parents[2]
SAID = {
    "eyes": ("eye protection",),
    "ratings": ("rated for", "ratings", "rating"),
    "bystanders": ("bystanders", "bystander"),
    "children": ("children",),
    "who decides": ("local rules",),
    "the adult": ("adult in charge",),
}


def missing(text: str) -> list[str]:
    """What a text does not say of it."""
    text = " ".join(text.lower().replace(">", " ").split())
    return [what for what, words in SAID.items() if not any(word in text for word in words)]


@pytest.mark.parametrize("words", [("wind",), ("practice",), ("meter", "calibrate"), ()])
def test_the_help_of_what_loads_a_motor_or_a_meter(words: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main([*words, "--help"])
    assert missing(capsys.readouterr().out) == []


@pytest.mark.parametrize(
    "page", ["README.md", "docs/guides/safety.md", "docs/guides/meter-build.md", "docs/guides/screen.md"]
)
def test_the_pages_that_lead_to_a_wound_motor(page: str) -> None:
    assert missing((ROOT / page).read_text(encoding="utf-8")) == []


def test_the_screen_before_the_first_turn() -> None:
    assert missing(" ".join((*CHECK_WORDS.values(), CHECK_FOOT))) == []
    assert "Eye protection" in CAUTION_LINE


def test_a_wind_without_a_screen_says_them_first() -> None:
    """It is offered for screen readers, and said nothing of eyes and ratings."""
    assert missing(BEFORE_YOU_START) == []
