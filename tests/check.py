"""Every check of the project, cheapest first: `python -m tests.check`. Stops at the first that fails."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

from tests.order import WAITING

TOP = Path(__file__).parent.parent
ROOMS = ("rubber", "meter", "signals", "coach", "simulator", "review", "traces")
FILES = ("base/units.py", "base/inputs.py", *(f"{room}/**" for room in ROOMS))
PURE = ",".join(f"winding_coach/{file}" for file in FILES)


def tool(name: str) -> str:
    """The tool of this environment, whether or not the environment is activated."""
    beside = Path(sys.executable).with_name(name)
    return str(beside) if beside.exists() else shutil.which(name) or name


PYTHON = sys.executable
WORKERS = str((os.cpu_count() or 1) + len(WAITING))
"""One for each core, and those that mostly wait."""
CHECKS = (
    ("format", [tool("ruff"), "format", "--check", "."]),
    ("lint", [tool("ruff"), "check", "."]),
    ("types", [PYTHON, "-m", "mypy"]),
    ("imports", [tool("lint-imports"), "--no-cache"]),
    ("tests", [PYTHON, "-m", "pytest", "-n", WORKERS, "--dist", "loadgroup", "--cov", "--cov-report=", *sys.argv[1:]]),
    ("coverage", [PYTHON, "-m", "coverage", "report", "--skip-covered", "--fail-under=85"]),
    ("pure rooms", [PYTHON, "-m", "coverage", "report", "--skip-covered", "--fail-under=99", f"--include={PURE}"]),
)


def main() -> int:
    """Run the checks; return the exit status of the first that fails."""
    for name, command in CHECKS:
        print(f"== {name}", flush=True)
        status = subprocess.run(command, cwd=TOP, check=False).returncode
        if status:
            print(f"The check of {name} failed.", file=sys.stderr)
            return status
    return 0


if __name__ == "__main__":
    sys.exit(main())
