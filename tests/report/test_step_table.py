"""The steps of a walk-in as a table, a picture and one sentence."""

from __future__ import annotations

from winding_coach.coach.steps_seen import SeenStep
from winding_coach.report.step_table import MOST_ROWS, sentence, steps_section


def step(at_s: float, depth: float, *, turned: bool | None = True) -> SeenStep:
    return SeenStep(at_s, depth, 2.5, turned, 1.2, 1.05)


def test_without_steps_there_is_nothing_to_tell() -> None:
    assert steps_section((), 70.0) is None


def test_each_step_has_its_row_and_its_mark() -> None:
    section = steps_section((step(71.0, 0.05), step(80.0, 0.3), step(90.0, 0.2, turned=False)), 70.0)
    assert section is not None
    assert section.table is not None
    assert section.table.rows[1] == ("10 s", "30%", "2.5 s", "15 cm", "turned", "too long")
    assert [row[-1] for row in section.table.rows] == ["good", "too long", "crank stopped"]
    assert [(mark.x, round(mark.y), mark.shape) for mark in section.charts[0].marks] == [
        (1.0, 5, "dot"),
        (10.0, 30, "dot"),
        (20.0, 20, "triangle"),
    ]


def test_the_sentence_says_what_to_do() -> None:
    assert sentence([step(1.0, 0.05)]).endswith("None was too long.")
    assert "shorter steps" in sentence([step(1.0, 0.05), step(2.0, 0.4)])
    assert "keep it turning" in sentence([step(1.0, 0.2, turned=False), step(2.0, 0.4)])


def test_a_long_walk_of_many_small_steps_keeps_the_deepest_in_order() -> None:
    section = steps_section([step(float(n), 0.05 + 0.001 * n) for n in range(100)], 0.0)
    assert section is not None
    assert section.table is not None
    rows = section.table.rows
    assert len(rows) == MOST_ROWS
    assert [row[0] for row in rows] == [f"{n} s" for n in range(70, 100)]
