"""What a fuzzer may throw bytes at: each target takes any bytes and fails on anything but the documented errors.

`test_fuzz.py` runs them under hypothesis; `python -m tests.bench.fuzz` runs them guided by coverage.
"""

from __future__ import annotations

import argparse
import contextlib
import copy
import gzip
import io
import json
import math
import os
import tempfile
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

from tests.scenario import SETTINGS
from winding_coach.app.batches import load_batch
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem
from winding_coach.base.inputs import BytesArrived
from winding_coach.base.units import UNITS, QuantityError, parse_quantity
from winding_coach.cli.args.common import home_from, units_from
from winding_coach.cli.args.settings import FILLED_IN, drawn_from, eyes_from, fill_in
from winding_coach.cli.commands import import_
from winding_coach.keeping.replaying import said_again, settings_of
from winding_coach.meter.calibration import SIMULATED, Calibration, CalibrationError
from winding_coach.meter.commissioning.conforming import Conformance
from winding_coach.meter.frames import RAW_MAX, RAW_MIN, U16, U32, FrameParser, Hello, Sample, _line
from winding_coach.meter.reader import MeterReader
from winding_coach.rubber.batch import fitted
from winding_coach.rubber.figures import FiguresError
from winding_coach.shelf.records import Batch, Motor, Person
from winding_coach.shelf.store import SHELF_FILE, Shelf
from winding_coach.traces.files import Trace, read_trace
from winding_coach.traces.header import Header
from winding_coach.traces.rows import TraceError, dump

MOST_INPUTS = 40
"""So many inputs of a trace are coached again: the fuzzer is after the reader, not after the coach's speed."""


@lru_cache(maxsize=1)
def scratch() -> Path:
    """A folder for files, in memory where there is such a place."""
    memory = Path("/dev/shm")
    return Path(tempfile.mkdtemp(prefix="fuzz-", dir=memory if memory.is_dir() else None))


@lru_cache(maxsize=1)
def header_line() -> bytes:
    """A whole first line of a trace."""
    from datetime import UTC, datetime

    header = Header(
        id="0",
        started=datetime(2026, 1, 2, 10, 0, tzinfo=UTC),
        calibration=SIMULATED,
        motor=SETTINGS.motor,
        winder=SETTINGS.winder,
        model=SETTINGS.model,
        plan=SETTINGS.plan,
    )
    return dump(header.as_json()).encode() + b"\n"


EDITED = (
    '[0.1,"rx","$D"]',
    '[1,"time"]',
    '{"event":""}',
    '{"at_s":0.1,"in":"bytes","data":"$D"}',
    '{"at_s":1,"in":"link","state":"up","port":""}',
)
"""Rows of every kind, old and new, that a fuzzer changes."""


def with_sums(data: bytes) -> bytes:
    """Bytes taken as the bodies of lines, one a line, each with the check sum that makes it count."""
    lines = []
    for body in data.split(b"\n"):
        with contextlib.suppress(ValueError):
            lines.append(_line(body.decode("ascii")))
    return b"".join(lines)


NASTY: tuple[object, ...] = (
    *(None, True, False, 0, -0.0, 1, -1, 2, 0.5, 1e-300, 1e308, -1e308, 5e-324, 10**400, -(10**30), 2**31, 2**63),
    *(math.nan, math.inf, -math.inf, "", "x", "\x1b[31m", "\ud800", "9" * 5000, "1e999", "\u202e", "nan", "3 m"),
    *([], {}, [[]], [1e308] * 3, {"a": {"a": []}}, [None], "metric", "inch", "2026-10-25T02:30:00+02:00"),
)
"""Values that a file may hold where a sensible one is meant."""


def _places(value: object, here: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [*([here] if here else []), *(place for key, one in inner for place in _places(one, (*here, key)))]


def edited(good: str, data: bytes) -> bytes:
    """A good JSON text with some of its values replaced, as the bytes say: two choose the place, one the value.

    A fuzzer that is guided by coverage cannot see into the JSON parser, which is not Python.
    """
    value = json.loads(good)
    for at in range(0, min(len(data) - 2, 60), 3):
        places = _places(value)
        if not places:
            break
        *way, last = places[(data[at] << 8 | data[at + 1]) % len(places)]
        inner = value
        for key in way:
            inner = inner[key]
        choice = data[at + 2]
        if choice >= 250:
            del inner[last]
        elif choice >= 200 and isinstance(inner[last], (int, float)):
            with contextlib.suppress(OverflowError):
                inner[last] *= (choice - 200) / 5 - 3
        else:
            inner[last] = copy.deepcopy(NASTY[choice % len(NASTY)])
    return json.dumps(value).encode()


def frames(data: bytes) -> None:
    """The line parser: never raises, however the bytes are cut; what it gives is within the protocol's ranges."""
    for stream in (data, with_sums(data)):
        whole, cut = FrameParser(), FrameParser()
        found = whole.feed(stream)
        step = 1 + (data[0] if data else 0) % 17
        pieces = [frame for at in range(0, len(stream), step) for frame in cut.feed(stream[at : at + step])]
        assert pieces == found
        assert cut.bad_lines == whole.bad_lines
        for frame in found:
            if isinstance(frame, Sample):
                assert 0 <= frame.seq < U16
                assert 0 <= frame.t_us < U32
                assert frame.raw is None or RAW_MIN <= frame.raw <= RAW_MAX
            else:
                assert isinstance(frame, Hello)
                assert frame.rate_hz is None or frame.rate_hz >= 0
                assert isinstance(frame.channels, str)
        reader = MeterReader(SIMULATED)
        last = 0.0
        for sample in reader.feed(stream):
            assert sample.device_s >= last
            last = sample.device_s
            assert sample.torque_Nm is None or math.isfinite(sample.torque_Nm)
        judged = Conformance()
        judged.asked(0.5)
        judged.feed(1.0, stream)
        judged.end(9.0)
        assert all(fault.words.isprintable() for fault in judged.faults)


def trace(data: bytes) -> None:
    """The trace reader, and the coach over what it read: only `TraceError`."""
    kind, rest = data[:1], data[1:]
    if kind == b"r":
        rest = header_line() + rest
    elif kind == b"z":
        packed = gzip.compress(header_line() + rest, 1)
        rest = packed[: len(packed) - len(rest) % 9]
    elif kind == b"j":
        rest = edited(header_line().decode(), rest) + b'\n[0.1,"time"]\n[0.2,"key","next"]\n'
    elif kind == b"e":
        rows = [edited(row, rest[i :: len(EDITED)]).decode() for i, row in enumerate(EDITED)]
        rest = header_line() + "\n".join([*rows, ""]).encode()
    elif kind == b"b":
        lines = [line.decode("latin-1") for line in with_sums(rest).splitlines(True)]
        rows = [dump({"at_s": i / 8, "in": "bytes", "data": line}) for i, line in enumerate(lines)]
        rest = header_line() + "\n".join([*rows, ""]).encode()
    path = scratch() / f"{os.getpid()}.wind.jsonl"
    path.write_bytes(rest)
    with contextlib.suppress(TraceError):
        found = read_trace(path)
        settings = settings_of(found)
        short = Trace(found.path, found.header, found.inputs[:MOST_INPUTS], found.said, found.summary)
        for _, said in said_again(short, settings):
            dump(said)
        dump(found.header.as_json())


def calibration(data: bytes) -> None:
    """The calibration file: only `CalibrationError`, and what is accepted gives finite torque and can be saved."""
    if data[:1] == b"j":
        data = edited(SIMULATED.to_json(), data[1:])
    with contextlib.suppress(CalibrationError):
        found = Calibration.from_json(data.decode("utf-8", "replace"))
        for raw in (RAW_MIN, 0, RAW_MAX):
            assert math.isfinite(found.torque_Nm(raw))
            assert math.isfinite(found.torque_Nm(raw, float(RAW_MIN)))
            assert isinstance(found.overloaded(raw), bool)
        assert Calibration.from_json(found.to_json()) == found


def settings(data: bytes) -> None:
    """The settings file: only `Problem`."""
    folder = scratch() / f"home-{os.getpid()}"
    folder.mkdir(exist_ok=True)
    if data[:1] == b"j":
        data = edited(seeds("settings")[0].decode(), data[1:])
    (folder / "settings.json").write_bytes(data)
    args = argparse.Namespace(home=str(folder), units=None, **dict.fromkeys(FILLED_IN))
    with contextlib.suppress(Problem):
        home = home_from(args)
        for use in (
            units_from,
            lambda args, home: fill_in(args, home),
            lambda args, home: (eyes_from(home), drawn_from(home)),
        ):
            with contextlib.suppress(Problem):
                use(args, home)


PIECES = (
    *("0", "1", "9", ".", "-", "+", "e", "E", " ", "99", "1e9", "e99", "e-99", "٣", "½", "∞", "nan", "inf", "_", ","),
    *('"', "'", "in", "ft", "cm", "mm", "m", "g", "kg", "oz", "g/m", "g/in", "mN.m", "N·m", "ozf-in", "oz.in", "gf*cm"),
    *("\x1b[2J", "\n", "\r", "\x00", "\u202e", "x", "/", "999999999999"),
)


def quantity(data: bytes) -> None:
    """The quantity parser: only `QuantityError`, in printable words; what is accepted is finite."""
    text = data.decode("utf-8", "replace")
    if data[:1] == b"j":
        text = "".join(PIECES[byte % len(PIECES)] for byte in data[1:])
    for kind in UNITS:
        try:
            value = parse_quantity(text, kind)
        except QuantityError as error:
            if not str(error).isprintable():
                raise AssertionError(f"not printable: {error!a}") from error
        else:
            assert math.isfinite(value)


def batch(data: bytes) -> None:
    """A batch file of the home: only `Problem` and `FiguresError`."""
    folder = scratch() / f"home-{os.getpid()}"
    folder.mkdir(exist_ok=True)
    path = folder / "batch.json"
    if data[:1] == b"j":
        data = edited(seeds("batch")[0].decode(), data[1:])
    path.write_bytes(data)
    with contextlib.suppress(Problem, FiguresError):
        found = load_batch(str(path), Home(folder, {}))
        if len(found.wound) <= 3:  # Fitting takes seconds for long lists.
            fitted(found)


@lru_cache(maxsize=1)
def good_shelf() -> bytes:
    """A shelf with a motor and a batch, as a file."""
    folder = Path(tempfile.mkdtemp(prefix="fuzz-shelf-", dir=scratch()))
    with Shelf(folder / SHELF_FILE) as made:
        made.add(Batch("b-1"))
        made.add(Motor("th-07", 0.30, 1.40e-3, 0.08e-3, 2, "b-1"))
        made.add(Person("Wren"))
    return (folder / SHELF_FILE).read_bytes()


def shelf(data: bytes) -> None:
    """Another team's folder brought in: only `Problem`, and one's own shelf stays sound."""
    kind, rest = data[:1], data[1:]
    with tempfile.TemporaryDirectory(dir=scratch()) as below:
        theirs, own = Path(below) / "theirs", Path(below) / "own"
        (theirs / "traces").mkdir(parents=True)
        file = bytearray(good_shelf())
        written = [place for place, byte in enumerate(file) if byte]
        for at in range(0, min(len(rest) - 3, 400), 4):
            file[written[int.from_bytes(rest[at : at + 3], "big") % len(written)]] = rest[at + 3]
        (theirs / SHELF_FILE).write_bytes(rest if kind == b"r" else file[: len(file) // 2] if kind == b"c" else file)
        (theirs / "traces" / "2026-01-02-100000-th-07.wind.jsonl").write_bytes(header_line() + rest)
        args = argparse.Namespace(folder=str(theirs), home=str(own), units=None, json=kind == b"j")
        args.prefix, args.dry_run = ("Juno" if kind == b"u" else None), kind == b"d"
        said = io.StringIO()
        with contextlib.suppress(Problem), contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            import_.run(args)
        if (own / SHELF_FILE).exists():
            with Shelf(own / SHELF_FILE) as mine:
                assert mine.unsound() == []


def coach(data: bytes) -> None:
    """The coach over lines with good check sums and any content: no error, and nothing but finite figures said."""
    from winding_coach.base.inputs import Input, KeyPressed, LinkDown, LinkUp, TimePassed
    from winding_coach.coach.step import Coach

    at_s = 0.0
    mind = Coach(SETTINGS)
    mind.step(LinkUp(0.0, "meter"))
    keys = ("tare", "next", "count", "peak", "next", "count")
    for line in data.split(b"\n")[:200]:
        at_s += (line[0] if line else 1) / 64
        events: dict[bytes, Input] = {
            b"t": TimePassed(at_s),
            b"u": LinkUp(at_s, "meter"),
            b"x": LinkDown(at_s, "gone"),
            b"k": KeyPressed(at_s, keys[(line[1] if len(line) > 1 else 0) % len(keys)]),
        }
        mind.step(events.get(line[:1], BytesArrived(at_s, with_sums(line))))
        for said in mind.said:
            dump(said.as_json())
        dump(mind.view.reading.as_json())


TARGETS: dict[str, Callable[[bytes], None]] = {
    "frames": frames,
    "trace": trace,
    "calibration": calibration,
    "settings": settings,
    "quantity": quantity,
    "batch": batch,
    "coach": coach,
    "shelf": shelf,
}


def seeds(name: str) -> list[bytes]:
    """Good inputs to begin from."""
    lines = (
        b"D,0,50012,84211,08,c=0\nD,812,10200124,1187340,00,c=17,d=3120,t=213\nD,815,10325120,,02,c=17\n"
        b"H,1,board=uno,adc=hx711,gain=128,rate=80,ch=cdt,rst=ext\nD,65535,4294959744,2210458,00,c=65535"
    )
    old = b'[0.1,"rx","$D,0,50012,84211,08,c=0*9D73\\r\\n"]\n[0.2,"time"]\n[0.3,"key","tare"]\n[1,"link","down","x"]\n'
    rows = (
        b'{"at_s":0.1,"in":"bytes","data":"$D,0,50012,84211,08,c=0*9D73\\r\\n"}\n{"at_s":0.2,"in":"time"}\n'
        b'{"at_s":0.3,"in":"key","name":"tare"}\n{"at_s":1,"in":"link","state":"down","reason":"x"}\n'
    )
    said = b'{"event":"phase","at_s":0.1,"phase":"hook_up"}\n{"event":"summary","at_s":1.0}\n'
    usual = {"units": "inch", "ratio": "10", "hooks": "220 mm", "read_from": "3 m", "screen_height": "20 cm"}
    rubber = {
        "format": "winding-coach batch",
        "version": 1,
        "name": "b",
        "torque_scales": [1.02, 0.98],
        "wound": [{"stretch": 6.5, "broke": False}, {"stretch": 7.0, "broke": True}],
        "set_limit": 0.05,
    }
    return {
        "frames": [lines, b"$D,0,50012,84211,08,c=0*9D73\r\n", b"$$D,1"],
        "trace": [
            b"r" + rows + said,
            b"z" + rows,
            b"r" + old + said,
            b"b" + lines,
            b"f" + header_line() + rows,
            b"j\x00\x01\x02",
            b"e\x00\x01\x02\x03\x04\x05\x06\x07\x08",
        ],
        "calibration": [SIMULATED.to_json().encode(), b"{}", b"j\x00\x01\x02"],
        "settings": [json.dumps(usual).encode(), b'{"units": 3, "port": []}', b"j\x00\x01\x02"],
        "quantity": [
            b"43 cm",
            b'14"',
            b"2.4g",
            b"3.15 g/m",
            b"0.9 ozf.in",
            "6.4 mN·m".encode(),
            b"-1e3mm",
            b"j\x01\x03\x01\x18",
        ],
        "batch": [json.dumps(rubber).encode(), b"j\x00\x01\x02"],
        "shelf": [b"w", b"d" + lines, b"u\x00\x00\x40\x01", b"r" + good_shelf()[:4000], b"c"],
        "coach": [lines, b"k1\n" + lines + b"\nt\nt\nx\nu\n" + lines],
    }[name]
