"""Seasons from the index: who gets better is found, who does not is not; scatter of strips against textbook figures."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy.stats import t

from winding_coach.review.season.table import FIGURES, NOBODY, person_season, season_of, shown
from winding_coach.review.wind.scatter import densities_of
from winding_coach.shelf.records import Flight, Wind

WIND = Wind(
    id="0",
    started="2026-02-01T10:00:00+00:00",
    trace="a.wind.jsonl",
    outcome="done",
    person="Wren",
    mass_kg=1.40e-3,
    orings_kg=0.08e-3,
    breaking_turns=1600.0,
    target_peak_torque_Nm=6.8e-3,
    target_launch_torque_Nm=3.5e-3,
    peak_torque_Nm=6.8e-3,
    peak_turns=1280.0,
    launch_torque_Nm=3.5e-3,
    launch_turns=1240.0,
    energy_stored_J=11.88,
    stalled_s=2.0,
    time_in_rate_band=0.7,
)


def winds(person: str, count: int, rise: float, seed: int = 3) -> list[tuple[Wind, Flight | None]]:
    """A person's winds, the newest first, whose time in the band rises by so much a wind."""
    rng = np.random.default_rng(seed)
    start = datetime(2026, 2, 1, 10, tzinfo=UTC)
    made: list[tuple[Wind, Flight | None]] = []
    for n in range(count):
        wind = replace(
            WIND,
            id=f"{person}-{n}",
            person=person or None,
            started=(start + timedelta(days=n)).isoformat(),
            time_in_rate_band=0.5 + rise * n + 0.05 * float(rng.normal()),
            outcome="broken" if n == 4 else "done",
            simulated=n < 2,
        )
        flight = Flight(f"f{n}", wind.id, wind.started, 300.0, 124.0) if n % 2 else None
        made.append((wind, flight))
    return made[::-1]


def test_who_gets_better_is_told_and_who_does_not_is_not() -> None:
    seasons = season_of([*winds("Wren", 40, 0.005), *winds("Pip", 30, 0.0, seed=5), *winds("", 3, 0.0)])
    assert [one.name for one in seasons] == ["Wren", "Pip", NOBODY]
    wren, pip, nobody = (one.course("time_in_rate_band") for one in seasons)
    assert wren.trend is not None
    assert wren.trend.low < 0.005 < wren.trend.high
    assert (wren.verdict, pip.verdict, nobody.verdict) == ("better", "", "")
    assert "rises, better: +" in wren.words
    assert pip.told == "no trend"
    assert (nobody.change, nobody.interval, nobody.words) == ("–", "–", "too few winds")
    assert seasons[0].broken == 1
    assert seasons[0].flights == 20
    assert seasons[0].simulated == 2
    assert sum(count for _, count in seasons[0].weeks) == 40
    assert (seasons[0].first, seasons[0].last) == ("2026-02-01", "2026-03-12")


def test_more_stalls_are_worse_and_a_share_of_turns_is_neither() -> None:
    pairs = [
        (replace(wind, stalled_s=float(n), peak_turns=1000.0 + 10 * n), flight)
        for n, (wind, flight) in enumerate(winds("Wren", 12, 0.0)[::-1])
    ]
    season = person_season("Wren", pairs)
    assert season.course("stalled_s").verdict == "worse"
    assert season.course("share_of_breaking_turns").verdict == ""
    assert "rises: +" in season.course("share_of_breaking_turns").words


def test_figures_by_hand() -> None:
    flight = Flight("f", "0", WIND.started, 301.0, 124.0)
    found = {figure.key: shown(figure, figure.of(WIND, flight)) for figure in FIGURES}
    by_hand = {
        "time_in_rate_band": "70%",
        "stalled_s": "2.0",
        "peak_off": "0%",
        "launch_off": "0%",
        "share_of_breaking_turns": "80%",
        "energy_stored_J_per_g": "9.00",
        "flight_s": "301",
        "turns_left_share": "10%",
    }
    assert {key: found[key] for key in by_hand} == by_hand
    blank = Wind("0", WIND.started, "x", "open")
    assert {figure.of(blank, None) for figure in FIGURES} == {None}
    assert figure_of(replace(WIND, mass_kg=0.08e-3), "energy_stored_J_per_g") is None
    assert shown(FIGURES[0], None) == "–"


def figure_of(wind: Wind, key: str) -> float | None:
    return next(figure for figure in FIGURES if figure.key == key).of(wind, None)


def test_only_the_trends_that_are_asked_for_are_worked_out() -> None:
    season = season_of(winds("Wren", 10, 0.01), frozenset({"time_in_rate_band"}))[0]
    assert season.course("time_in_rate_band").trend is not None
    assert season.course("stalled_s").trend is None
    kept = json.loads(json.dumps(season.as_json(), allow_nan=False))
    assert kept["person"] == "Wren"
    assert kept["figures"][1]["slope_per_wind"] is None
    assert kept["figures"][0]["slope_low"] <= kept["figures"][0]["slope_per_wind"]


def test_figures_that_never_change_have_a_change_of_nothing() -> None:
    course = person_season("Wren", winds("Wren", 8, 0.0)[::-1]).course("peak_off")
    assert (course.change, course.interval) == ("+0", "+0 to +0")


def test_strips_scatter_by_student_and_by_lehr() -> None:
    values = [2.20e-3, 2.23e-3, 2.18e-3, 2.21e-3]
    found = densities_of(values)
    assert found is not None
    low, high = t.interval(0.95, 3, loc=np.mean(values), scale=np.std(values, ddof=1) / 2.0)
    assert [found.low, found.high] == pytest.approx([low, high])
    # Lehr (1992): sixteen in each group tell one standard deviation apart (5 % two-sided, power 80 %); from memory.
    assert found.strips_to_tell(found.sd) == 16
    assert found.strips_to_tell(100.0 * found.sd) == 2
    assert densities_of(values[:1]) is None
