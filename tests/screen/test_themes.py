"""Contrast by WCAG 2.2's own formula, for every role of every palette."""

from __future__ import annotations

import pytest

from winding_coach.screen.themes import PALETTES, Palette, contrast, pairs, relative_luminance, styles, theme

MARKS = {"track", "plan", "plan band", "other", "other band", "goal band", "wind band"}
"""Lines and marks that no text is written in: 3:1 (success criterion 1.4.11)."""
TINTS = {"band edge", "band under"}
"""The band is a tint that carries no meaning alone: its middle is the dotted line."""
NAMES = [palette.name for palette in PALETTES]


def test_the_formula_gives_the_published_ratios() -> None:
    # WCAG 2.2, "contrast ratio": black on white 21:1; #767676 is the lightest grey that passes on white (4.54:1).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54222, abs=1e-5)
    assert contrast("#777777", "#ffffff") < 4.5
    assert relative_luminance("#ffffff") == pytest.approx(1.0)


@pytest.mark.parametrize("palette", PALETTES, ids=NAMES)
def test_every_text_and_mark_keeps_its_contrast(palette: Palette) -> None:
    for role, (ink, ground) in pairs(palette).items():
        if role in TINTS:
            continue
        least = 3.0 if role in MARKS else 7.0 if palette.name == "contrast" else 4.5
        assert contrast(ink, ground) >= least, role


@pytest.mark.parametrize("palette", PALETTES, ids=NAMES)
def test_every_role_has_a_style_and_the_theme_the_same_ground(palette: Palette) -> None:
    for role, style in styles(palette).items():
        assert style.color is not None, role
        assert style.bgcolor is not None, role
    assert theme(palette).background == palette.ground
    assert theme(palette).dark is palette.dark


def test_alarms_differ_from_each_other_and_from_the_ground_in_lightness_too() -> None:
    for palette in PALETTES[:2]:
        lights = [relative_luminance(level[1]) for level in (palette.caution, palette.warning, palette.danger)]
        assert lights == sorted(lights, reverse=True)
        for _, ground in (palette.caution, palette.warning, palette.danger):
            assert contrast(ground, palette.ground) > 1.3


def test_no_alarm_turns_grey_where_bold_means_bright() -> None:
    for palette in PALETTES:
        for role, style in styles(palette).items():
            black = style.color is not None and style.color.name == "#000000"
            assert not (black and style.bold), f"{palette.name}: {role}"
    assert styles(PALETTES[0])["warning"].bold
