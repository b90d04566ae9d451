"""What is printed on a terminal keeps within its width, and stays as it is everywhere else."""

from __future__ import annotations

import io

import pytest

from winding_coach.cli.output.plain import PlainStream, filled

SENTENCE = "On the shelf as wind 788fd911, simulated. What happened in it: winding-coach review 788fd911"


class Terminal(io.StringIO):
    """A stream that says it is one."""

    def isatty(self) -> bool:
        return True


def test_a_sentence_is_broken_between_words_and_nothing_is_lost() -> None:
    """`What happened in it: winding-coach rev` was the end of the line, `iew 788fd911` the next."""
    broken = filled(SENTENCE, 80)
    assert max(map(len, broken.split("\n"))) <= 80
    assert broken.split() == SENTENCE.split()
    refused = filled(f"winding-coach flight: {SENTENCE}", 80).split("\n")
    assert len(refused) == 2
    indented = filled(f"    {SENTENCE}", 40).split("\n")
    assert all(line.startswith("    ") and len(line) <= 40 for line in indented)


@pytest.mark.parametrize(
    "line",
    [
        '{"event":"reading", "text": "' + "a word " * 20 + '"}',
        "name" + " " * 90 + "value",
        "winding-coach " + "x " * 60,
    ],
)
def test_objects_tables_and_commands_stay_on_their_line(line: str) -> None:
    assert filled(f"{line}\n", 80) == f"{line}\n"


def test_only_a_terminal_breaks_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    for stream, lines in ((Terminal(), 2), (io.StringIO(), 1)):
        print(SENTENCE, file=PlainStream(stream))
        assert stream.getvalue().count("\n") == lines
