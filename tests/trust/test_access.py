"""No shell is given a string, SQL takes values as parameters, files are their user's alone, nothing listens unasked."""

from __future__ import annotations

import ast
import http.client
import os
import signal
import stat
import subprocess
import sys
import threading
import tomllib
from importlib import metadata
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests.test_indexing import make_trace
from tests.trust.killing import WORDS
from winding_coach.base.private import private_folder, write_private
from winding_coach.cli import main
from winding_coach.cli.commands import watch
from winding_coach.screen.serving import PageServer
from winding_coach.shelf.records import Motor, Person
from winding_coach.shelf.store import Shelf

ROOT = Path(__file__).parents[2]
SOURCES = sorted((ROOT / "winding_coach").rglob("*.py"))
FORBIDDEN = {
    *("os.system", "os.popen", "subprocess.getoutput", "subprocess.getstatusoutput", "eval", "exec", "compile"),
    *("pickle.load", "pickle.loads", "marshal.loads", "shelve.open", "tempfile.mktemp", "yaml.load", "os.startfile"),
}
STARTING = {"subprocess.run", "subprocess.Popen", "subprocess.call", "subprocess.check_output", "subprocess.check_call"}
IN_SQL = {
    *("columns_of", "columns", "table_of", "table", "join", "kind", "c", "TYPED", "_WINDS", "_WIND_COLUMNS", "name"),
    *(
        "settings",
        "marks",
        "change",
        "column",
        "number",
        "APPLICATION_ID",
        "SYNCHRONOUS",
        "Wind",
        "Again",
        "Flight",
        "Strip",
    ),
    *("KeptCalibration", "columns_", "where", "order", "limit", "conditions", "more"),
}
"""What may stand in the text of a statement: names of tables and columns, which come from the program's own classes."""


def calls(path: Path) -> list[tuple[str, ast.Call]]:
    """Every call of a module by its dotted name."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [(ast.unparse(node.func), node) for node in ast.walk(tree) if isinstance(node, ast.Call)]


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_shell_and_nothing_that_runs_text(path: Path) -> None:
    for name, call in calls(path):
        where = f"{path}:{call.lineno} {name}"
        assert name not in FORBIDDEN, where
        assert not any(word.arg == "shell" for word in call.keywords), where
        if name in STARTING:
            given = call.args[0]
            assert isinstance(given, ast.List | ast.Tuple | ast.Name | ast.Attribute), where


def test_these_checks_see_what_they_look_for(tmp_path: Path) -> None:
    for text in ("os.system('x')", "subprocess.run('x y', shell=True)", "subprocess.run('x y')", "eval('1')"):
        path = tmp_path / "bad.py"
        path.write_text(text)
        with pytest.raises(AssertionError):
            test_no_shell_and_nothing_that_runs_text(path)


def test_values_reach_sql_as_parameters_only() -> None:
    seen = 0
    for path in (ROOT / "winding_coach" / "shelf").rglob("*.py"):
        for name, call in calls(path):
            if name.rpartition(".")[2] not in ("execute", "executemany", "executescript", "_rows") or not call.args:
                continue
            seen += 1
            statement = call.args[0]
            assert not isinstance(statement, ast.BinOp) or not isinstance(statement.op, ast.Mod), (
                f"{path}:{call.lineno}"
            )
            for part in ast.walk(statement):
                if isinstance(part, ast.FormattedValue):
                    names = {node.id for node in ast.walk(part) if isinstance(node, ast.Name)}
                    assert names <= IN_SQL, f"{path}:{call.lineno} puts {names - IN_SQL} into SQL"
    assert seen > 20


def test_a_name_that_is_sql_is_a_name(tmp_path: Path) -> None:
    name = "th'); DROP TABLE motor; --"
    with Shelf(tmp_path / "shelf.sqlite") as shelf:
        shelf.add(Motor(name, 0.3, 1.4e-3))
        shelf.add(Person('"; DELETE FROM person; --'))
        assert [motor.name for motor in shelf.all(Motor)] == [name]
        assert shelf.get(Motor, name).mass_kg == 1.4e-3
        assert len(shelf.all(Person)) == 1


@pytest.mark.skipif(os.name != "posix", reason="other systems have no such modes")
def test_what_is_kept_is_its_users_alone(tmp_path: Path) -> None:
    home = tmp_path / "above" / "home"
    before = os.umask(0)
    try:
        make_trace(home / "traces")
        assert main(["motor", "add", "th-07", "--loop", "30 cm", "--mass", "1.4 g", "--home", str(home)]) == 0
        assert main(["backup", str(tmp_path / "kept"), "--home", str(home)]) == 0
        write_private(home / "settings.json", "{}")
    finally:
        os.umask(before)
    made = [tmp_path / "above", home, *home.rglob("*"), tmp_path / "kept", *(tmp_path / "kept").rglob("*")]
    assert len(made) > 8
    for path in made:
        assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0, path
    private_folder(home)  # One that is there stays.
    with pytest.raises(OSError, match=r"exists|Not a directory"):
        private_folder(home / "settings.json")


def test_a_file_that_cannot_be_written_whole_leaves_the_old_one(tmp_path: Path) -> None:
    path = tmp_path / "settings.json"
    write_private(path, "old")
    with pytest.raises(UnicodeEncodeError):
        write_private(path, "\ud800")
    assert path.read_text() == "old"
    (tmp_path / "folder").mkdir()
    with pytest.raises(OSError, match="directory"):
        write_private(tmp_path / "folder", "a folder is in its place")
    assert sorted(one.name for one in tmp_path.iterdir()) == ["folder", "settings.json"]


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="asks Linux what a process holds open")
def test_a_wind_listens_on_nothing(home: Path) -> None:
    words = ("--port", str(home / "none"), "--calibration", "simulated", "--home", str(home), *WORDS)
    process = subprocess.Popen(
        [sys.executable, "-m", "winding_coach", "wind", "--headless", "--json", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
    assert process.stdout is not None
    try:
        process.stdout.readline()
        held = [os.readlink(one) for one in Path(f"/proc/{process.pid}/fd").iterdir()]
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(20)
        process.stdout.close()
    assert held
    assert [one for one in held if one.startswith("socket:")] == []


def test_the_page_is_of_this_computer_and_changes_nothing() -> None:
    assert watch.USUAL_ADDRESS.startswith("127.0.0.1:")

    pressed: list[str] = []
    looked = SimpleNamespace(press=pressed.append, view=None, trace_name=None, trouble=None)
    server = PageServer(looked, "127.0.0.1", 0)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        assert server.server_address[0] == "127.0.0.1"
        for method in ("POST", "PUT", "DELETE", "OPTIONS", "HEAD", "TRACE"):
            asking = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
            asking.request(method, "/press?key=stop", body=None if method in ("HEAD", "TRACE") else "key=stop")
            assert asking.getresponse().status == 501
            asking.close()
        asking = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
        asking.request("GET", "/", headers={"Host": "elsewhere.example:80"})
        assert asking.getresponse().status == 403, "a page that another name leads to is not served"
        asking.close()
    finally:
        server.shutdown()
        server.server_close()
        thread.join(10)
    assert pressed == []


def _figures(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split(".")[:3] if part.isdigit())


def test_every_dependency_has_an_upper_bound_and_what_is_installed_is_within() -> None:
    """Dependencies are tried at what is installed here and in CI; a wider bound than that is a promise nobody tried."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *(one for extra in project["optional-dependencies"].values() for one in extra)]
    wanted = [one for one in wanted if not one.startswith("winding-coach[")]
    assert len(wanted) > 10
    for one in wanted:
        name = one.split(">=")[0]
        assert ">=" in one, f"{one} has no lower bound"
        assert ",<" in one, f"{one} has no upper bound"
        low, high = one[len(name) + 2 :].split(",<")
        assert _figures(low) <= _figures(metadata.version(name)) < _figures(high), one
