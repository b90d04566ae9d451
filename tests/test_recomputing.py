"""Every wind coached again: on several processes, kept as it goes, gone on with where it was broken off."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.test_indexing import make_trace
from winding_coach.base.wind_values import VALUES, WindValue, from_json
from winding_coach.keeping.indexing import look
from winding_coach.keeping.recomputing import again_of, coach_id, left_to_do, recompute
from winding_coach.shelf.records import Again
from winding_coach.shelf.store import Shelf
from winding_coach.traces.files import read_trace

pytestmark = pytest.mark.usefixtures("hurried_disk")
RECORDING = Path(__file__).parents[1] / "recordings" / "good-wind.wind.jsonl.gz"


def test_several_processes_go_on_where_it_was_broken_off(tmp_path: Path) -> None:
    folder = tmp_path / "traces"
    for number in range(1, 7):
        make_trace(folder, number)

    def broken_off(_: Again) -> None:
        raise KeyboardInterrupt

    with Shelf(tmp_path / "shelf.sqlite") as shelf:
        look(folder, shelf)
        winds = shelf.winds()
        assert left_to_do(shelf, "a", winds) == winds
        with pytest.raises(KeyboardInterrupt):
            recompute(folder, shelf, winds, "a", processes=2, told=broken_off)
        assert len(shelf.again()) == 1
        todo = left_to_do(shelf, "a", winds)
        assert len(todo) == 5
        told: list[Again] = []
        assert recompute(folder, shelf, todo, "a", processes=1, told=told.append) == 5
        assert {again.wind for again in told} == {wind.id for wind in todo}
        assert left_to_do(shelf, "a", winds) == []
        assert left_to_do(shelf, "b", winds) == winds
        with (folder / winds[0].trace).open("a") as opened:
            opened.write('{"event":"summary","outcome":"done"}\n')
        look(folder, shelf)
        assert left_to_do(shelf, "a", shelf.winds()) == [shelf.winds()[0]]


def test_the_present_coach_makes_of_a_recording_what_it_says_live() -> None:
    again = again_of(RECORDING, "w", "s", "c")
    assert (again.wind, again.trace_sha256, again.coach, again.trouble) == ("w", "s", "c", None)
    said = read_trace(RECORDING).summary
    assert said is not None
    assert (again.outcome, again.peak_turns) == (said["outcome"], said["peak_turns"])
    assert again.peak_torque_Nm == pytest.approx(said["peak_torque_mNm"] * 1e-3, abs=1e-7)
    assert [value.name for value in VALUES if value.of(again) is None] == [], "in a good wind every value is known"
    assert all(abs(now - then) <= value.within for value, then, now in _both(said, again))


def _both(said: dict[str, Any], again: Again) -> Iterator[tuple[WindValue, float, float]]:
    """Each value that the recording has, then and now."""
    then = from_json(said)
    for value in VALUES:
        now = value.of(again)
        if then[value.name] is not None and now is not None:
            yield value, then[value.name], now


def test_a_trace_that_makes_trouble_is_told_with_the_rest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.wind.jsonl"
    assert "no trace" in str(again_of(path, "w", None, "c").trouble)
    monkeypatch.setattr("winding_coach.keeping.recomputing.summary_again", lambda _: 1 / 0)
    assert "stumbled" in str(again_of(make_trace(tmp_path), "w", None, "c").trouble)


def test_the_coach_has_one_name_as_long_as_its_code_is_the_same() -> None:
    assert coach_id() == coach_id()
    assert len(coach_id().split("-")[1]) == 12
