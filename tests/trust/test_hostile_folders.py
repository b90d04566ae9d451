"""Folders of others: what is no file is passed over, a formula is text, a spoilt shelf costs no trace."""

from __future__ import annotations

import json
import os
import socket
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from tests.test_indexing import make_trace
from winding_coach.keeping.saving import check_backup

pytestmark = pytest.mark.skipif(os.name != "posix", reason="FIFOs and modes of POSIX")


def run(home: Path, *words: str) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [sys.executable, "-m", "winding_coach", *words, "--home", str(home)],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        timeout=60,
    )
    assert "Traceback" not in done.stderr
    return done


def test_a_fifo_in_an_imported_folder_was_read_for_ever(home: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    make_trace(other, 1)
    os.mkfifo(other / "a.wind.jsonl")
    (other / "b.wind.jsonl").symlink_to("/dev/zero")
    os.mkfifo(other / "shelf.sqlite")
    (other / "batches").mkdir()
    os.mkfifo(other / "batches" / "amber.json")
    done = run(home, "import", str(other), "--json")
    assert len(json.loads(done.stdout)["winds"]) == 1


def test_a_name_that_looks_like_a_formula_is_text_in_csv_and_for_its_user_alone(home: Path, tmp_path: Path) -> None:
    make_trace(home / "traces", 1, person="=1+1")
    before = os.umask(0)
    try:
        assert run(home, "export", str(tmp_path / "winds.csv")).returncode == 0
    finally:
        os.umask(before)
    written = tmp_path / "winds.csv"
    assert ",'=1+1," in written.read_text()
    assert stat.S_IMODE(written.stat().st_mode) == 0o600


def test_a_damaged_shelf_kept_the_traces_out_of_the_backup(home: Path, tmp_path: Path) -> None:
    trace = make_trace(home / "traces", 1)
    (home / "shelf.sqlite").write_bytes(b"no shelf at all" * 100)
    done = run(home, "backup", str(tmp_path / "saved"))
    assert done.returncode == 1
    assert "is made, traces and all, but the shelf in it is damaged" in done.stderr
    assert (tmp_path / "saved" / "traces" / trace.name).read_bytes() == trace.read_bytes()
    assert check_backup(tmp_path / "saved").files == 2


def test_a_browser_that_leaves_was_a_traceback(home: Path) -> None:
    make_trace(home / "traces", 1)
    words = ["watch", "--serve", "127.0.0.1:0", "--home", str(home)]
    process = subprocess.Popen(
        [sys.executable, "-m", "winding_coach", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    port = int(process.stdout.readline().split("/")[2].rpartition(":")[2])
    for _ in range(20):
        with socket.create_connection(("127.0.0.1", port)) as browser:
            browser.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            browser.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\0\0\0\0\0\0\0")
    process.terminate()
    assert "Traceback" not in process.communicate(timeout=30)[1]
