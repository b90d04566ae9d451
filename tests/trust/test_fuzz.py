"""Any bytes into everything that reads bytes: only the documented errors. What a fuzzer found stands below as cases.

Guided by coverage and for as long as wanted: `python -m tests.bench.fuzz TARGET`.
"""

from __future__ import annotations

import argparse
import contextlib
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.trust.targets import TARGETS, edited, good_shelf, header_line, seeds
from winding_coach.app.problem import Problem
from winding_coach.cli.commands import import_
from winding_coach.keeping.replaying import settings_of
from winding_coach.rubber.batch_json import batch_from_json_dict
from winding_coach.rubber.figures import FiguresError
from winding_coach.traces.files import read_trace
from winding_coach.traces.rows import TraceError

EXAMPLES = {"shelf": 25, "trace": 60, "coach": 60, "batch": 60}


@pytest.mark.parametrize("name", TARGETS)
def test_any_bytes_give_the_documented_errors_only(name: str) -> None:
    kinds = st.sampled_from([b"", b"j", b"r", b"b", b"e", b"z", b"w", b"d", b"u"])
    spoilt = st.tuples(st.sampled_from(seeds(name)), st.integers(0, 400), st.binary(max_size=4))
    anything = st.one_of(
        st.builds(lambda kind, rest: kind + rest, kinds, st.binary(max_size=80)),
        spoilt.map(lambda drawn: drawn[0][: drawn[1]] + drawn[2] + drawn[0][drawn[1] :]),
    )

    @settings(max_examples=EXAMPLES.get(name, 120), deadline=None)
    @given(anything)
    def try_it(data: bytes) -> None:
        TARGETS[name](data)

    for seed in seeds(name):
        TARGETS[name](seed)
    try_it()


def with_plan(tmp_path: Path, **changed: float) -> Path:
    """A trace whose plan has some figures changed."""
    header = json.loads(header_line())
    header["plan"] |= changed
    path = tmp_path / "changed.wind.jsonl"
    path.write_text(json.dumps(header) + "\n")
    return path


@pytest.mark.parametrize(
    "changed",
    [
        {"linear_density_kg_per_m": 1e-300},
        {"stretched_turns": 5e-324},
        {"peak_torque_Nm": 0.0},
        {"breaking_turns": 1e308, "target_turns": 1e307},
        {"stretch_distance_m": 1e200},
    ],
)
def test_an_absurd_plan_is_refused_not_divided_by(tmp_path: Path, changed: dict[str, float]) -> None:
    """Found by the fuzzer: ZeroDivisionError from the plan's tables."""
    with pytest.raises(TraceError, match=r"cannot be (coached again|used)"):
        settings_of(read_trace(with_plan(tmp_path, **changed)))


def test_a_whole_number_of_four_hundred_digits_is_no_figure(tmp_path: Path) -> None:
    """Found by the fuzzer: OverflowError, as Python's whole numbers have no end."""
    path = tmp_path / "long.wind.jsonl"
    path.write_bytes(header_line().replace(b'"share":0.8', b'"share":1' + b"0" * 400))
    assert b"0" * 400 in path.read_bytes()
    with pytest.raises(TraceError, match="share"):
        read_trace(path)
    with pytest.raises(FiguresError, match="not a number"):
        batch_from_json_dict({"format": "winding-coach batch", "version": 1, "torque_scales": [10**400]})


def test_a_shelf_whose_text_is_damaged_is_refused(tmp_path: Path) -> None:
    """Found by the fuzzer: SQLite's own words about a damaged file could not be decoded."""
    folder = tmp_path / "theirs"
    folder.mkdir()
    file = good_shelf()
    at = file.index(b"CREATE TABLE")
    for place in range(at, at + 40):
        (folder / "shelf.sqlite").write_bytes(file[:place] + b"\xce" + file[place + 1 :])
        args = argparse.Namespace(folder=str(folder), home=str(tmp_path / "own"), units=None, json=True, prefix=None)
        args.dry_run = True
        with contextlib.suppress(Problem):
            import_.run(args)


def test_edits_reach_every_value_of_a_file() -> None:
    good = '{"a": 1, "b": {"c": [2, 3]}}'
    assert edited(good, b"") == json.dumps(json.loads(good)).encode()
    assert len({edited(good, bytes([0, place, 250])) for place in range(5)}) == 5
