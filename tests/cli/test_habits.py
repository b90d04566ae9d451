"""What the coach learnt of a person: kept by nickname, read at the next wind, and with the trace for its replay."""

from __future__ import annotations

from pathlib import Path

from tests.coach.test_lead import wound
from tests.scenario import SETTINGS
from winding_coach.app.habits import HABITS_FILE, KEPT, habits_of, keep_habits
from winding_coach.coach.person import UNKNOWN, Habits, habits_from


def test_each_person_has_habits_of_their_own_and_old_winds_are_forgotten(tmp_path: Path) -> None:
    for number in range(KEPT + 2):
        keep_habits(tmp_path, "Wren", Habits(pace=0.5 + 0.1 * number, stops_s=1.5))
    keep_habits(tmp_path, None, Habits(pace=2.0))
    wren = habits_of(tmp_path, "Wren")
    assert wren.winds == KEPT
    assert 0.9 < wren.pace < 1.1, "the last winds count most"
    assert wren.stops_s == 1.5
    assert habits_of(tmp_path, None).pace == 2.0
    assert habits_of(tmp_path, "Pip") == UNKNOWN


def test_a_spoilt_file_is_as_good_as_none(tmp_path: Path) -> None:
    for text in ("", "[]", '{"format": "other"}', '{"format": "winding-coach habits", "version": 1, "people": 3}'):
        (tmp_path / HABITS_FILE).write_text(text)
        assert habits_of(tmp_path, "Wren") == UNKNOWN
    keep_habits(tmp_path, "Wren", Habits(pace=1.5))
    assert habits_of(tmp_path, "Wren").pace == 1.5


def test_values_that_cannot_be_are_not_taken_over() -> None:
    assert habits_from({"pace": 40.0, "reaction_s": "soon", "steps": 1, "winds": True}).pace == 1.0
    assert habits_from(Habits(pace=1.4, steps=True, stride_m=0.3, winds=2).as_json()) == Habits(
        pace=1.4, steps=True, stride_m=0.3, winds=2
    )


def test_a_wind_teaches_how_long_this_person_takes_to_stop() -> None:
    coach, _ = wound("c", 1)
    assert coach.habits.stops_s is not None
    assert 0.2 < coach.habits.stops_s < 4.0
    assert coach.settings == SETTINGS, "what was learnt is no setting of this wind"
