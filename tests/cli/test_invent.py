"""`invent`: an empty folder in, an invented season out; broken off it goes on, and real data are never touched."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from winding_coach.app.inventing import Order, invent
from winding_coach.cli import main, parser_of
from winding_coach.keeping.replaying import difference, settings_of
from winding_coach.rubber.motor import usual_share
from winding_coach.shelf.records import Flight, Motor, Wind
from winding_coach.shelf.store import SHELF_FILE, Shelf, WindFilter
from winding_coach.simulator.club import NAMES, batches, make_motor, members, prefixes, style_of
from winding_coach.traces.files import read_trace

pytestmark = pytest.mark.usefixtures("hurried_disk")


def invented(folder: Path, *words: str) -> int:
    return main(["invent", str(folder), "--processes", "1", *words])


def shelf_of(folder: Path) -> tuple[list[Wind], list[Flight], list[Motor]]:
    with Shelf(folder / SHELF_FILE) as shelf:
        return shelf.winds(), shelf.flights(), shelf.all(Motor)


def test_a_small_season_with_traces(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "club"
    assert invented(folder, "--people", "2", "--winds", "4", "--traces", "2", "--json") == 0
    made = json.loads(capsys.readouterr().out)
    winds, flights, motors = shelf_of(folder)
    assert (made["winds"], made["flights"], made["motors"]) == (4, len(flights), len(motors))
    assert {wind.person for wind in winds} == {"Wren", "Pip"}
    assert all(wind.share == usual_share(wind.use or 0) for wind in winds)
    assert not any(wind.simulated for wind in winds)
    traces = sorted((folder / "traces").iterdir())
    assert len(traces) == 2
    for path in traces:
        trace = read_trace(path)
        assert "invented" in trace.header.more
        assert trace.summary is not None
        assert difference(trace, settings_of(trace)) is None
    whole = [wind for wind in winds if wind.trace_sha256 is not None]
    assert sorted(wind.trace for wind in whole) == [path.name for path in traces]


def test_the_last_winds_are_broken_off_and_made_again_the_same(tmp_path: Path) -> None:
    order = Order(seed=3, people=2, person=1, winds=3, traces=2, folder=tmp_path)
    first = invent(order)
    traces = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert len(traces) == 2
    cut, kept = sorted(tmp_path.iterdir())
    cut.write_bytes(cut.read_bytes()[:2000])
    stamp = kept.stat().st_mtime_ns
    again = invent(order)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == traces
    assert kept.stat().st_mtime_ns == stamp
    assert again == first


def test_a_folder_with_anything_in_it_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "shelf.sqlite").write_text("real data", encoding="utf-8")
    assert invented(tmp_path, "--winds", "1") == 2
    assert "never mixed with real data" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["shelf.sqlite"]
    a_file = tmp_path / "shelf.sqlite"
    assert invented(a_file, "--winds", "1") == 2


def test_a_finished_season_is_not_made_twice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("--people", "1", "--winds", "3", "--traces", "0")
    assert invented(tmp_path, *words) == 0
    assert "Nothing in it is real" in capsys.readouterr().out
    assert invented(tmp_path, *words) == 2
    assert "already" in capsys.readouterr().err
    assert invented(tmp_path, "--people", "1", "--winds", "4", "--traces", "0") == 2
    assert "another invented season" in capsys.readouterr().err
    (tmp_path / "invented.json").write_text("[]", encoding="utf-8")
    assert invented(tmp_path, *words) == 2


def test_a_season_that_was_broken_off_goes_on(tmp_path: Path) -> None:
    words = ("--people", "1", "--winds", "3", "--traces", "0")
    assert invented(tmp_path, *words) == 0
    before = shelf_of(tmp_path)
    mark = tmp_path / "invented.json"
    mark.write_text(mark.read_text(encoding="utf-8").replace("true", "false"), encoding="utf-8")
    assert invented(tmp_path, *words) == 0
    assert shelf_of(tmp_path) == before


def test_several_processes_make_the_same(tmp_path: Path) -> None:
    words = ("--people", "2", "--winds", "4", "--traces", "0")
    assert invented(tmp_path / "one", *words) == 0
    assert main(["invent", str(tmp_path / "two"), "--processes", "2", *words]) == 0
    assert shelf_of(tmp_path / "one") == shelf_of(tmp_path / "two")


def test_a_folder_that_cannot_be_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert invented(tmp_path / "file" / "club", "--winds", "1") == 1
    assert "cannot be written" in capsys.readouterr().err


def test_people_learn_motors_age_and_break_batches_differ(tmp_path: Path) -> None:
    folder = tmp_path / "club"
    assert invented(folder, "--people", "4", "--winds", "100", "--traces", "0") == 0
    winds, flights, motors = shelf_of(folder)
    assert 0 < sum(wind.outcome == "broken" for wind in winds) < 0.2 * len(winds)
    assert {motor.state for motor in motors} == {"in_use", "broken", "retired"}
    assert len({motor.batch for motor in motors}) == 4
    assert 0.6 * len(winds) < len(flights) < len(winds)
    with Shelf(folder / SHELF_FILE) as shelf:
        lasting = shelf.flown(WindFilter(person="Wren"))
    assert all(flight is None or 30.0 < (flight.duration_s or 0.0) < 1800.0 for _, flight in lasting)
    by_time = sorted(winds, key=lambda wind: wind.started)
    early, late = ([wind.time_in_rate_band or 0.0 for wind in part] for part in (by_time[:30], by_time[-30:]))
    assert np.mean(late) > np.mean(early)


def test_every_member_has_a_name_and_letters_of_their_own() -> None:
    rng = np.random.default_rng(1)
    club = members(45, rng)
    assert len({one.name for one in club}) == 45
    assert len(set(NAMES)) == 20
    letters = prefixes([one.name for one in club])
    assert len(set(letters.values())) == 45
    assert letters["Pip"] == "pi" or len(letters["Pip"]) == 3
    assert all(one.skill_after(500) >= one.skill_after(0) for one in club)


def test_the_skilled_wind_nearer_to_the_plan() -> None:
    off = {}
    for skill in (0.1, 0.95):
        styles = [style_of(skill, np.random.default_rng(seed), 1.0) for seed in range(60)]
        off[skill] = np.mean([abs(style.peak - 1.0) + abs(style.launch - 1.0) for style in styles])
        assert all(0.0 <= style.stall_chance < 0.2 for style in styles)
    assert off[0.95] < 0.5 * off[0.1]


def test_a_motor_loses_torque_and_strength_by_use() -> None:
    rng = np.random.default_rng(1)
    fresh = make_motor("wr-01", batches(rng)[0], 0.30, 2.2e-3, rng)
    old = replace(fresh, uses=10)
    assert old.stiffness_now() < fresh.stiffness_now()
    assert old.strength_u_now() > fresh.strength_u_now()


def is_there(group: int) -> bool:
    """Whether a process of the group runs still."""
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def test_a_ctrl_c_ends_it_at_once_with_one_sentence_and_no_process_stays(tmp_path: Path) -> None:
    """It said nothing and took up to 30 seconds; a second Ctrl-C printed a traceback. The whole group gets the signal,
    as from a terminal."""
    folder = tmp_path / "club"
    words = [sys.executable, "-m", "winding_coach", "invent", str(folder), "--people", "2", "--processes", "2"]
    child = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True)
    deadline = time.monotonic() + 60.0
    while not list(folder.glob("traces/*.wind*")) and time.monotonic() < deadline and child.poll() is None:
        time.sleep(0.05)
    os.killpg(child.pid, signal.SIGINT)
    _, said = child.communicate(timeout=60)
    assert child.returncode == 1, said
    assert "Traceback" not in said
    assert (
        said.strip()
        .splitlines()[-1]
        .endswith("Interrupted: what was made is kept; run the same command to continue, or remove the folder.")
    )
    deadline = time.monotonic() + 20.0
    while is_there(child.pid) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not is_there(child.pid)


def test_sixty_winds_are_what_nobody_has_to_ask_for() -> None:
    args = parser_of("invent").parse_args(["club"])
    assert (args.winds, args.people) == ("60", "5")


def test_winds_that_never_had_a_trace_are_no_trouble(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`review --batch` said 24 times that a trace cannot be read, `batch fit` stopped, `shelf check` missed them."""
    folder = tmp_path / "club"
    assert invented(folder, "--people", "1", "--winds", "8", "--traces", "1") == 0
    winds, _, _ = shelf_of(folder)
    batch = max(winds, key=lambda wind: (wind.trace_bytes is not None, wind.started)).batch
    capsys.readouterr()
    for words in (("review", "--batch", str(batch)), ("batch", "fit", str(batch)), ("shelf", "check")):
        assert main([*words, "--home", str(folder)]) == 0, words
        printed = capsys.readouterr()
        assert "cannot be read" not in printed.out + printed.err
        assert "missing" not in printed.out + printed.err
    assert main(["shelf", "recompute", "--home", str(folder)]) == 0
    assert "cannot be read" not in capsys.readouterr().out
