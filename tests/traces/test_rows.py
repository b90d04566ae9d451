"""Inputs to rows and back."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from winding_coach.base.inputs import (
    KEYS,
    BytesArrived,
    Ended,
    Input,
    KeyPressed,
    LinkDown,
    LinkUp,
    Skipped,
    TimePassed,
)
from winding_coach.traces.rows import TraceError, dump, input_from, input_row, is_input, load

TIMES = st.floats(0, 1e8).map(lambda s: round(s, 6))
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)
INPUTS: st.SearchStrategy[Input] = st.one_of(
    st.builds(BytesArrived, TIMES, st.binary(max_size=80)),
    st.builds(TimePassed, TIMES),
    st.builds(KeyPressed, TIMES, st.sampled_from(KEYS)),
    st.builds(LinkUp, TIMES, TEXTS),
    st.builds(LinkDown, TIMES, TEXTS),
    st.builds(Skipped, TIMES, st.integers(0, 2**53), TEXTS),
)


@given(INPUTS)
def test_every_input_survives_its_row(event: Input) -> None:
    row = input_row(event)
    assert row is not None
    assert "\n" not in row
    assert input_from(load(row)) == event


def test_the_rows_of_the_contract() -> None:
    assert input_row(BytesArrived(1.5, b"\x00$\xff")) == '{"at_s":1.5,"in":"bytes","data":"\\u0000$ÿ"}'
    assert input_row(TimePassed(2.0)) == '{"at_s":2.0,"in":"time"}'
    assert input_row(KeyPressed(2.0, "tare")) == '{"at_s":2.0,"in":"key","name":"tare"}'
    assert input_row(LinkUp(2.0, "p")) == '{"at_s":2.0,"in":"link","state":"up","port":"p"}'
    assert input_row(LinkDown(2.0, "gone")) == '{"at_s":2.0,"in":"link","state":"down","reason":"gone"}'
    assert input_row(Skipped(2.0, 7, "late")) == '{"at_s":2.0,"in":"left_out","bytes":7,"reason":"late"}'
    assert input_row(Ended(3.0)) is None


@pytest.mark.parametrize(
    ("row", "event"),
    [
        ('[1.5,"rx","\\u0000$ÿ"]', BytesArrived(1.5, b"\x00$\xff")),
        ('[2.0,"time"]', TimePassed(2.0)),
        ('[2.0,"key","tare"]', KeyPressed(2.0, "tare")),
        ('[2.0,"link","up","p"]', LinkUp(2.0, "p")),
        ('[2.0,"link","down","gone"]', LinkDown(2.0, "gone")),
        ('[2.0,"skip",7,"late"]', Skipped(2.0, 7, "late")),
    ],
)
def test_the_rows_of_versions_one_and_two_are_read(row: str, event: Input) -> None:
    assert input_from(load(row)) == event


def test_a_key_that_a_later_version_adds_is_passed_over() -> None:
    assert input_from(load('{"at_s":1,"in":"time","battery":3.1}')) == TimePassed(1.0)


@pytest.mark.parametrize(
    "row",
    [
        "[]",
        "[1]",
        '["1","time"]',
        '[true,"time"]',
        '[-1,"time"]',
        '[1e400,"time"]',
        f'[{10**400},"time"]',
        '[1,"rx"]',
        '[1,"rx",5]',
        '[1,"rx","\u0100"]',
        '[1,"key","fly"]',
        '[1,"link","sideways","x"]',
        '[1,"link","up"]',
        '[1,["rx"],"x"]',
        '[1,"time","x"]',
        "{}",
        '{"at_s":1}',
        '{"in":"time"}',
        '{"at_s":true,"in":"time"}',
        '{"at_s":-1,"in":"time"}',
        '{"at_s":1e400,"in":"time"}',
        f'{{"at_s":{10**400},"in":"time"}}',
        '{"at_s":1,"in":"bytes"}',
        '{"at_s":1,"in":"bytes","data":5}',
        '{"at_s":1,"in":"bytes","data":"\u0100"}',
        '{"at_s":1,"in":"key","name":"fly"}',
        '{"at_s":1,"in":"link","state":"sideways","port":"x"}',
        '{"at_s":1,"in":"link","state":"up"}',
        '{"at_s":1,"in":["bytes"],"data":"x"}',
        '{"at_s":1,"in":"left_out","bytes":true,"reason":"x"}',
        '{"at_s":1,"in":"left_out","bytes":-1,"reason":"x"}',
        '{"at_s":1,"in":"left_out","bytes":1e300,"reason":"x"}',
    ],
)
def test_what_is_no_input_is_refused(row: str) -> None:
    with pytest.raises(TraceError):
        input_from(load(row))


@pytest.mark.parametrize("line", ["", "{", "NaN", "[Infinity]", "[" * 100_000, "'x'", '{"a":1}x'])
def test_what_is_no_json_is_refused(line: str) -> None:
    with pytest.raises(TraceError):
        load(line)


@given(st.text(max_size=60))
def test_no_text_raises_anything_else(text: str) -> None:
    try:
        found = load(text)
    except TraceError:
        return
    if is_input(found):
        try:
            assert input_row(input_from(found)) is not None
        except TraceError:
            return


def test_figures_that_are_not_finite_are_never_written() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        dump({"torque": float("nan")})
    assert json.loads(dump({"torque": None})) == {"torque": None}
