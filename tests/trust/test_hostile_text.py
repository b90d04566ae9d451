"""Names, reasons and file names that hold terminal escapes never reach a terminal as such."""

from __future__ import annotations

import contextlib
import io
import json
import sys
import unicodedata
from binascii import crc_hqx
from pathlib import Path

import pytest

from tests.trust.targets import header_line
from winding_coach.cli import main
from winding_coach.cli.output.plain import PlainStream, plain
from winding_coach.meter.frames import FrameParser, Hello, encode_hello

BAD = "\x1b[2J\x1b]0;owned\x07\x9b31m\u202e\r\x00\ud800"
TYPED = BAD[:-2]
"""No command line can hold the last two."""


def drives(text: str) -> set[str]:
    """The characters of a text that a terminal would obey."""
    return {c for c in text if c not in "\n\t" and unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")}


@pytest.fixture
def folder(home: Path) -> Path:
    """A home with a trace that has escapes wherever a trace has words."""
    header = json.loads(header_line())
    header["motor"]["name"] = header["person"] = header["model"]["name"] = header["meter"] = f"th-07{BAD}"
    header["calibration"]["remarks"] = header["software"] = header["plan"]["rests_on"] = BAD
    header["plan"]["limits"] = [BAD]
    rows = [[0.0, "link", "up", BAD], [0.5, "link", "down", f"gone{BAD}"], [1.0, "time"], [1.1, "key", "quit"]]
    (home / "traces").mkdir(parents=True)
    summary = {"event": "summary", "at_s": 1.1, "outcome": "stopped"}
    lines = [json.dumps(row) for row in (header, *rows, summary)]
    (home / "traces" / "2026-01-02-100000-a.wind.jsonl").write_text("\n".join(lines) + "\n")
    (home / "traces" / "2026-01-02-100001-\x1b[31m\x9b.wind.jsonl").write_text("no trace\n")
    return home


@pytest.mark.parametrize(
    "words",
    [
        ("replay", "TRACE", "--headless", "--speed", "max"),
        ("replay", "TRACE", "--headless", "--speed", "max", "--json"),
        ("replay", "TRACE", "--check"),
        ("review", "TRACE"),
        ("review", "TRACE", "--json"),
        ("shelf", "winds"),
        ("shelf", "winds", "--json"),
        ("shelf", "rebuild", "--records"),
        ("advise",),
        ("replay", f"no{TYPED}"),
        ("plan", f"--{TYPED}"),
        (TYPED,),
        ("plan", "--loop", TYPED, "--mass", "1 g"),
        ("wind", "--headless", "--calibration", TYPED, "--loop", "30 cm", "--mass", "1 g"),
    ],
)
def test_nothing_that_drives_a_terminal_is_printed(
    folder: Path, words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    trace = str(folder / "traces" / "2026-01-02-100000-a.wind.jsonl")
    typed = [trace if word == "TRACE" else word for word in words]
    with contextlib.suppress(SystemExit):
        main([*typed, "--home", str(folder)])
    said = capsys.readouterr()
    assert said.out + said.err
    assert drives(said.out + said.err) == set()


def test_a_json_line_keeps_its_meaning() -> None:
    line = json.dumps({"name": BAD}, ensure_ascii=False)
    assert json.loads(plain(line)) == {"name": BAD}
    assert plain("Grüße, 0.44 mN·m\t½ ✓\n") == "Grüße, 0.44 mN·m\t½ ✓\n"


def test_the_streams_are_put_back_and_are_otherwise_themselves(capsys: pytest.CaptureFixture[str]) -> None:
    before = sys.stdout, sys.stderr
    with pytest.raises(SystemExit):
        main(["plan", "--help"])
    assert (sys.stdout, sys.stderr) == before
    capsys.readouterr()
    stream = PlainStream(io.StringIO())
    stream.writelines(["a\x1b", "b"])
    assert stream.getvalue() == "a\\u001bb"
    assert not stream.isatty()


def test_a_meter_cannot_send_any_in_its_hello() -> None:
    """The protocol's fields are printable ASCII; a line with anything else is none."""
    good = encode_hello(Hello(1, (("board", "uno"),)))
    (hello,) = FrameParser().feed(good)
    assert isinstance(hello, Hello)
    for bad in (0x1B, 0x07, 0x9B, 0x00, 0x7F):
        body = good[1:-7].replace(b"uno", bytes([0x75, bad, 0x6F]))
        line = b"$%b*%04X\r\n" % (body, crc_hqx(body, 0xFFFF))
        assert FrameParser().feed(line) == []
