"""Options and fixtures of all tests."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests import order

settings.register_profile("project", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
settings.load_profile("project")


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--update-golden` accepts what is said and shown now as right: look at the difference before it is committed."""
    parser.addoption("--update-golden", action="store_true", help="write the golden files anew instead of comparing")


@pytest.hookimpl(tryfirst=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    """In a worker, end the measuring that pytest-cov 7.1 began before it knew that it was in one.

    Beneath the worker's own it goes on where that pauses, so that `no_cover` did nothing: five times as slow.
    """
    plugin = session.config.pluginmanager.getplugin("_cov")
    if plugin is not None and hasattr(session.config, "workerinput") and plugin.cov_controller is not None:
        plugin.cov_controller.cov.stop()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put what takes long first, what waits on workers of its own, and trace only what tells something."""
    seen = set()
    for item in items:
        file = item.nodeid.partition("::")[0]
        test = item.nodeid.partition("[")[0]
        worker = order.worker_of(file)
        if worker is not None:
            item.add_marker(pytest.mark.xdist_group(worker))
        if not order.traced(file, first=test not in seen):
            item.add_marker(pytest.mark.no_cover)
        seen.add(test)
    items.sort(key=lambda item: order.place_of(item.nodeid.partition("::")[0]))


@pytest.fixture
def update_golden(request: pytest.FixtureRequest) -> bool:
    """Whether golden files are to be written."""
    return bool(request.config.getoption("--update-golden"))


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A data folder of this test's own."""
    folder = tmp_path / "home"
    monkeypatch.setenv("WINDING_COACH_HOME", str(folder))
    return folder


@pytest.fixture
def processes() -> Iterator[list[subprocess.Popen[str]]]:
    """Processes to be ended after the test, whatever it did."""
    started: list[subprocess.Popen[str]] = []
    yield started
    for process in started:
        if process.poll() is None:
            process.kill()
        process.wait(10)
        for stream in (process.stdin, process.stdout, process.stderr):
            if stream is not None:
                stream.close()


@pytest.fixture
def hurried_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Do not wait for the disk in this process: for tests that write often and pull no plugs."""
    monkeypatch.setattr("winding_coach.shelf.schema.SYNCHRONOUS", "OFF")
    monkeypatch.setattr("os.fsync", lambda _: None)
