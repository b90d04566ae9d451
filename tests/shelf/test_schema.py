"""The file: an old schema is brought up, a newer or foreign one is left alone; full, read-only, damaged: a sentence."""

from __future__ import annotations

import hashlib
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from tests.shelf.examples import AMBER, TH_07, WREN, a_wind
from winding_coach.shelf.records import Again, Batch, Flight, Model, Motor, Person, Strip
from winding_coach.shelf.schema import APPLICATION_ID, NEWEST, STEPS, ShelfError
from winding_coach.shelf.store import Shelf

pytestmark = pytest.mark.usefixtures("hurried_disk")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "shelf.sqlite"


RELEASED = ("d7f2f0e10d1da1b8", "89db71766d05ac16", "e8300318df14ee2e", "fd9b63dbb801c983", "90078e17de514983")
"""Of every step's text, in order: a new step comes with its own, the others stay. An old shelf in somebody's folder was
made by them."""


def old_shelf(path: Path) -> None:
    """Make a shelf as the first version did, with a motor, a wind and a flight on it."""
    db = sqlite3.connect(path)
    db.executescript(STEPS[0])
    db.execute("PRAGMA user_version = 1")
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute("INSERT INTO batch VALUES ('amber', '2026-01-10', '[0.00219, 0.0022, 0.002205]', ?, 0)", [AMBER.remarks])
    db.execute("INSERT INTO motor VALUES ('th-07', 0.3, 0.0014, 0.00008, 2, 'amber', '2026-02-01', 'in_use', '', 0)")
    db.execute(
        "INSERT INTO wind (id, started, trace, outcome, motor, simulated, started_s)"
        " VALUES ('w1', '2026-03-07T10:00:00+01:00', 'a.wind.jsonl', 'done', 'th-07', 0, 1772874000)"
    )
    db.execute("INSERT INTO typed (wind, remarks) VALUES ('w1', 'cold hall')")
    db.execute("INSERT INTO flight VALUES ('f1', 'w1', '2026-03-07T10:10:00+01:00', 412, 180, NULL, 1, '', NULL)")
    db.commit()
    db.close()


def test_a_released_step_is_never_changed() -> None:
    texts = [hashlib.sha256(" ".join(step.split()).encode()).hexdigest()[:16] for step in STEPS]
    assert tuple(texts) == RELEASED


def test_a_shelf_of_the_first_version_is_brought_up_and_kept_as_it_was(path: Path) -> None:
    old_shelf(path)
    before = path.read_bytes()
    with Shelf(path) as shelf:
        assert shelf.get(Motor, "th-07") == TH_07
        assert shelf.get(Batch, "amber") == AMBER
        (wind,) = shelf.winds()
        assert (wind.id, wind.remarks, wind.outcome) == ("w1", "cold hall", "done")
        assert shelf.flights() == [Flight("f1", "w1", "2026-03-07T10:10:00+01:00", 412.0, 180.0, None, True)]
        shelf.log_again(Again("w1", "c"))
        shelf.weigh(Strip("s1", "amber", "2026-03-01", 1.0, 2.2e-3))
        assert (wind.direction, shelf.note("w1", outcome="broken").outcome) == (None, "broken")
        assert shelf.note("w1", outcome=None).outcome == "done"
        shelf.add(Model("Counter", hand="left"))
        assert shelf.get(Model, "Counter").hand == "left"
        assert shelf.note("w1", voided=True).voided
        with shelf.connected() as db:
            assert db.execute("PRAGMA user_version").fetchone() == (NEWEST,)
    kept = path.with_name("shelf.sqlite.schema-1")
    with sqlite3.connect(kept) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (1,)
        assert db.execute("SELECT count(*) FROM flight").fetchone() == (1,)
    db.close()
    assert kept.stat().st_mode & 0o777 == 0o600
    assert before != path.read_bytes()


def test_an_old_shelf_can_be_read_without_being_changed(path: Path) -> None:
    old_shelf(path)
    before = path.read_bytes()
    with Shelf(path, read_only=True) as shelf:
        assert shelf.get(Motor, "th-07") == TH_07
        assert shelf.passed_over() == {}
        with pytest.raises(ShelfError, match="cannot be written"):
            shelf.add(WREN)
    assert path.read_bytes() == before
    assert [file.name for file in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize("read_only", [False, True])
def test_a_newer_shelf_is_refused_and_untouched(path: Path, read_only: bool) -> None:
    with Shelf(path) as shelf:
        shelf.add(WREN)
    db = sqlite3.connect(path)
    db.execute(f"PRAGMA user_version = {NEWEST + 1}")
    db.execute("PRAGMA journal_mode = DELETE")
    db.close()
    before = path.read_bytes()
    with pytest.raises(ShelfError, match=f"newer version.*schema {NEWEST + 1}.*update the program") as refused:
        Shelf(path, read_only=read_only)
    assert str(refused.value).count(". ") == 0
    assert path.read_bytes() == before
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def test_another_programs_file_is_refused_and_untouched(path: Path) -> None:
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE motor (name)")
    db.commit()
    db.close()
    before = path.read_bytes()
    with pytest.raises(ShelfError, match="is no shelf"):
        Shelf(path)
    path.write_text("a letter, at least as long as the header of a database" * 20)
    with pytest.raises(ShelfError, match="is no shelf"):
        Shelf(path)
    assert before != path.read_bytes()


def test_a_damaged_shelf_is_said_with_what_to_do(path: Path) -> None:
    with Shelf(path) as shelf:
        shelf.log(*(a_wind(i, remarks="") for i in range(200)))
    content = bytearray(path.read_bytes())
    content[4096:] = b"\x07" * (len(content) - 4096)
    path.write_bytes(content)
    with pytest.raises(ShelfError, match=r"damaged.*backup.*shelf rebuild"), Shelf(path) as shelf:
        shelf.winds()


def test_a_full_disk_is_said_and_nothing_is_lost(path: Path) -> None:
    """SQLite's own limit gives the very error that a full disk does."""
    with Shelf(path) as shelf:
        shelf.log(*(a_wind(i) for i in range(20)))
        before = shelf.winds()
        with shelf.connected() as db:
            (pages,) = db.execute("PRAGMA page_count").fetchone()
            db.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(ShelfError, match=r"disk of the shelf .* is full: make room; nothing"):
            shelf.log(*(a_wind(i) for i in range(20, 2000)))
        assert shelf.winds() == before
        with shelf.connected() as db:
            db.execute("PRAGMA max_page_count = 1000000")
        shelf.log(a_wind(20))
        assert len(shelf.winds()) == 21
        assert shelf.unsound() == []


def test_a_disk_that_refuses_in_mid_write_loses_nothing(path: Path) -> None:
    """The system itself refuses: a limit on the size of files, in a process of its own."""
    with Shelf(path) as shelf:
        shelf.log(a_wind(1))
    code = (
        "import resource, signal, sys\n"
        "from pathlib import Path\n"
        "from tests.shelf.examples import a_wind\n"
        "from winding_coach.shelf.store import Shelf\n"
        "from winding_coach.shelf.schema import ShelfError\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, resource.RLIM_INFINITY))\n"
        "shelf = Shelf(Path(sys.argv[1]))\n"
        "try:\n"
        "    shelf.log(*(a_wind(i) for i in range(2, 3000)))\n"
        "except ShelfError as error:\n"
        "    print(error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False, timeout=60
    )
    assert "make room" in done.stdout, done.stderr
    with Shelf(path) as shelf:
        assert shelf.winds() == [a_wind(1)]
        assert shelf.unsound() == []


def test_a_folder_that_cannot_be_written(path: Path) -> None:
    """Read by another user where this one may do everything."""
    with Shelf(path) as shelf:
        shelf.add(WREN)
    place = Path("/tmp") / f"read-only-shelf-{os.getpid()}"
    place.mkdir()
    try:
        shutil.copyfile(path, place / path.name)
        place.chmod(0o555)
        (place / path.name).chmod(0o444)
        code = (
            "import os, sys, urllib.parse\n"
            "from pathlib import Path\n"
            "from winding_coach.shelf.records import Person\n"
            "from winding_coach.shelf.schema import ShelfError\n"
            "from winding_coach.shelf.store import Shelf\n"
            "if os.getuid() == 0:\n"
            "    os.setgid(65534)\n"
            "    os.setuid(65534)\n"
            "path = Path(sys.argv[1])\n"
            "try:\n"
            "    Shelf(path)\n"
            "except ShelfError as error:\n"
            "    print(error)\n"
            "with Shelf(path, read_only=True) as shelf:\n"
            "    print(shelf.all(Person)[0].name)\n"
        )
        done = subprocess.run(
            [sys.executable, "-c", code, str(place / path.name)],
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        assert "cannot be" in done.stdout, done.stderr
        assert done.stdout.endswith("Wren\n"), done.stderr
    finally:
        place.chmod(0o755)
        shutil.rmtree(place)


WRITER = (
    "import sys\n"
    "from pathlib import Path\n"
    "from tests.shelf.examples import a_wind\n"
    "from winding_coach.shelf.records import Person\n"
    "from winding_coach.shelf.store import Shelf\n"
    "first = int(sys.argv[2])\n"
    "with Shelf(Path(sys.argv[1])) as shelf:\n"
    "    for number in range(first, first + 60):\n"
    "        with shelf.writing():\n"
    "            shelf.log(a_wind(number))\n"
    "            shelf.add(Person(f'p-{number}'))\n"
)


def test_two_programs_on_one_shelf_lose_nothing(path: Path) -> None:
    """Three at once, that all find no shelf, make it, and write."""
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(path), str(1000 * i)], stderr=subprocess.PIPE, text=True)
        for i in range(3)
    ]
    said = [writer.communicate(timeout=60)[1] for writer in writers]
    assert [writer.returncode for writer in writers] == [0, 0, 0], said
    with Shelf(path) as shelf:
        assert len(shelf.winds()) == 180
        assert len(shelf.all(Person)) == 180
        assert shelf.unsound() == []


def test_a_reader_is_not_held_up_by_a_writer(path: Path) -> None:
    with Shelf(path) as writer, Shelf(path) as reader:
        writer.add(WREN)
        with writer.writing():
            writer.log(a_wind(1))
            assert reader.winds() == []
            assert reader.all(Person) == [WREN]
        assert reader.winds() == [a_wind(1)]


def test_a_shelf_kept_busy_is_said(path: Path) -> None:
    with Shelf(path) as one, Shelf(path) as other:
        with other.connected() as db:
            db.execute("PRAGMA busy_timeout = 10")
        with one.writing(), pytest.raises(ShelfError, match="Another program has kept the shelf"):
            other.add(WREN)
        other.add(WREN)
        assert one.all(Person) == [WREN]


def test_a_path_that_cannot_be_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(ShelfError, match="cannot be opened"):
        Shelf(tmp_path / "file" / "shelf.sqlite")
    with pytest.raises(ShelfError, match="There is no shelf"):
        Shelf(tmp_path / "none.sqlite", read_only=True)
    odd = tmp_path / "a ?b#c%20d" / "shelf.sqlite"
    with Shelf(odd) as shelf:
        shelf.add(WREN)
    assert odd.exists()
