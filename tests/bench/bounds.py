"""Files made to exhaust the program: `python -m tests.bench.bounds [WORD]`. Prints memory, seconds, what was said.

Each is read by a process of its own; nothing is asserted. Needs 3 GB of disk in the folder for temporary files, for a
moment and at most.
"""

from __future__ import annotations

import gzip
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tests.trust.targets import header_line

ROW = b'[0,"time"]\n'


def sparse(path: Path) -> None:
    """A good first line, then 2 GB of nothing."""
    with path.open("wb") as opened:
        opened.write(header_line())
        opened.truncate(2 * 2**30)


def rows(path: Path) -> None:
    """2 GB of the shortest good rows."""
    with path.open("wb") as opened:
        opened.write(header_line())
        block = ROW * 100_000
        for _ in range(2 * 2**30 // len(block)):
            opened.write(block)


def rows_packed(path: Path) -> None:
    """2 GB of the shortest good rows, packed."""
    with gzip.open(path, "wb", 6) as opened:
        opened.write(header_line())
        block = ROW * 100_000
        for _ in range(2 * 2**30 // len(block)):
            opened.write(block)


def bomb(path: Path) -> None:
    """10 GB of zeros, packed a thousand to one."""
    zeros = gzip.compress(b"\0" * 2**24, 9)
    with path.open("wb") as opened:
        opened.write(gzip.compress(header_line()))
        for _ in range(640):
            opened.write(zeros)


def long_line(path: Path) -> None:
    """A good first line, then one of 100 MB."""
    path.write_bytes(header_line() + b'[0,"rx","' + b"x" * 100_000_000 + b'"]\n')


def long_first_line(path: Path) -> None:
    """A first line of 100 MB."""
    path.write_bytes(b'{"format":"' + b"x" * 100_000_000 + b'"}\n')


def deep(path: Path) -> None:
    """A line of 500,000 brackets."""
    path.write_bytes(header_line() + b"[" * 500_000 + b"\n")


def long_text(path: Path) -> None:
    """100 MB of a JSON object, for the small files."""
    path.write_bytes(b'{"format":"winding-coach calibration","remarks":"' + b"x" * 100_000_000 + b'"}')


def deep_text(path: Path) -> None:
    """A million brackets, for the small files."""
    path.write_bytes(b"[" * 1_000_000)


FIGURES = ("--loop", "30 cm", "--mass", "1.4 g")
CASES: tuple[tuple[str, Callable[[Path], None], str, tuple[str, ...]], ...] = (
    ("trace, 2 GB sparse", sparse, "a.wind.jsonl", ("replay", "FILE", "--check")),
    ("trace, 2 GB of rows", rows, "a.wind.jsonl", ("replay", "FILE", "--check")),
    ("trace, 2 GB of rows in .gz", rows_packed, "a.wind.jsonl.gz", ("replay", "FILE", "--check")),
    ("trace, 10 GB bomb in .gz", bomb, "a.wind.jsonl.gz", ("replay", "FILE", "--check")),
    ("trace, a line of 100 MB", long_line, "a.wind.jsonl", ("replay", "FILE", "--check")),
    ("trace, first line of 100 MB", long_first_line, "a.wind.jsonl", ("replay", "FILE", "--check")),
    ("trace, deep JSON", deep, "a.wind.jsonl", ("replay", "FILE", "--check")),
    ("calibration, 100 MB", long_text, "c.json", ("wind", "--headless", "--calibration", "FILE", *FIGURES)),
    ("calibration, deep", deep_text, "c.json", ("wind", "--headless", "--calibration", "FILE", *FIGURES)),
    ("settings, 100 MB", long_text, "settings.json", ("plan", *FIGURES)),
    ("settings, deep", deep_text, "settings.json", ("plan", *FIGURES)),
    ("batch, 100 MB", long_text, "b.json", ("plan", "--batch", "FILE", *FIGURES)),
    ("batch, deep", deep_text, "b.json", ("plan", "--batch", "FILE", *FIGURES)),
)
RUN = """
import sys
from winding_coach.cli import main
status = main(sys.argv[1:])
# Not ru_maxrss: that begins with what the process that started this one held.
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
print("peak", peak.split()[1], file=sys.stderr)
sys.exit(status)
"""


def main() -> None:
    """Print a row for each file, or for those whose name holds the word that is given."""
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    for name, make, file, words in CASES:
        if sys.argv[1:] and sys.argv[1] not in name:
            continue
        with tempfile.TemporaryDirectory(prefix="bounds-") as folder:
            path = Path(folder) / file
            make(path)
            typed = [str(path) if word == "FILE" else word for word in words]
            began = time.monotonic()
            done = subprocess.run(
                [sys.executable, "-c", RUN, *typed, "--home", folder], capture_output=True, text=True, timeout=900
            )
            took_s = time.monotonic() - began
        *said, peak = done.stderr.strip().splitlines()
        words_ = (said or done.stdout.splitlines() or ["nothing"])[-1].replace(folder, "…")
        print(
            f"{name:<28} {int(peak.split()[1]) // 1024:>5} MB {took_s:6.1f} s  exit {done.returncode}  {words_[:110]}",
            flush=True,
        )


if __name__ == "__main__":
    main()
