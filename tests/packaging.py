"""Builds sdist and wheel, installs each into an empty environment and uses it: `python -m tests.packaging [PYTHON...]`.

PYTHON: interpreters to try (all from 3.11 on that are found). Then the oldest versions of every dependency that
pyproject.toml allows, and the newest, each with all extras and a fast part of the tests. Takes minutes and the network,
so it is no part of the checks.
"""

from __future__ import annotations

import glob
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path

TOP = Path(__file__).parent.parent
SUBSET = ("test_units.py", "rubber/test_law.py", "rubber/test_plan.py", "rubber/test_strength.py", "meter", "traces")
SCREENS = ("screen/test_app.py", "screen/test_canvas.py", "screen/test_digits.py", "sources/test_serial_port.py")
REPORTS = ("report", "sound", "shelf", "cli/test_completion.py", "cli/test_ready.py")
FIGURES = ("--loop", "30 cm", "--mass", "1.40 g", "--orings", "0.08 g", "--hooks", "22 cm")


def run(*command: str | Path, **more: str) -> str:
    """Run a command away from the source; return what it prints, or end with what it said."""
    environment = {**os.environ, "PYTHONPATH": "", **more}
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            [str(part) for part in command], cwd=folder, env=environment, capture_output=True, text=True, check=False
        )
    if done.returncode:
        raise SystemExit(f"{' '.join(map(str, command))}\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}")
    return done.stdout


def interpreters() -> list[str]:
    """Interpreters from 3.11 on, one of a version, the oldest first."""
    found: dict[int, str] = {}
    folders = os.environ.get("PYENV_ROOT", str(Path.home() / ".pyenv"))
    named = (shutil.which(f"python3.{minor}") for minor in range(11, 20))
    for one in (*glob.glob(f"{folders}/versions/3.*/bin/python3"), *named):
        if one is None:
            continue
        version = subprocess.run([one, "-c", "import sys; print(sys.version_info[1])"], capture_output=True, text=True)
        if version.returncode == 0 and int(version.stdout) >= 11:
            found.setdefault(int(version.stdout), one)
    return [found[minor] for minor in sorted(found)]


def built(folder: Path) -> list[Path]:
    """Build from a copy of what is committed; return the wheel and the sdist."""
    copy = folder / "source"
    copy.mkdir()
    archive = subprocess.run(["git", "archive", "HEAD"], cwd=TOP, capture_output=True, check=True).stdout
    subprocess.run(["tar", "x", "-C", str(copy)], input=archive, check=True)
    tools = fresh(sys.executable, folder / "tools")
    run(tools, "-m", "pip", "install", "-q", "build")
    run(tools, "-m", "build", "--outdir", folder / "dist", copy)
    return sorted((folder / "dist").iterdir(), key=lambda path: path.suffix != ".whl")


def fresh(python: str, folder: Path) -> str:
    """Make an empty environment; return its interpreter."""
    run(python, "-m", "venv", folder)
    return str(folder / "bin" / "python")


def used(python: str, folder: Path) -> str:
    """Use what is installed as a person would; return its version."""
    program = Path(python).with_name("winding-coach")
    home = folder / "home"
    version = run(program, "--version").strip()
    assert json.loads(run(program, "plan", "--json", *FIGURES))["breaking_turns"] > 1000
    words = ("practice", "--script", "good", "--speed", "max", "--headless", "--json", "--home", home)
    assert json.loads(run(program, *words).splitlines()[-1])["outcome"] == "done"
    (trace,) = (home / "traces").iterdir()
    run(program, "replay", trace, "--check", "--home", home)
    run(program, "review", trace, "--report", folder / "wind.html", "--home", home)
    run(program, "motor", "add", "th-07", "--loop", "30 cm", "--mass", "1.40 g", "--home", home)
    assert "winding-coach" in run(program, "ready", "--meter", "none", "--home", home)
    # Data that belong to the package: the page for browsers and the screen's style.
    run(
        python,
        "-c",
        "import importlib.resources as r; f = r.files('winding_coach.screen');"
        " assert (f / 'app.tcss').is_file() and (f / 'page.html').is_file()",
    )
    return version


def lowest() -> list[str]:
    """The lowest version that is allowed of each dependency, extras included, as constraints."""
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = {name: wanted for name, wanted in project["optional-dependencies"].items() if name != "check"}
    asked = [*project["dependencies"], *(one for wanted in extras.values() for one in wanted)]
    return [f"{found[1]}=={found[2]}" for one in asked if (found := re.match(r"([A-Za-z0-9_-]+)>=([0-9.]+)", one))]


def tried(python: str, wheel: Path, source: Path, constraints: list[str], folder: Path) -> str:
    """Install with all extras, run a fast part of the tests against it; return what they said and what was there."""
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = ",".join(name for name in project["optional-dependencies"] if name != "check")
    testing = [one for one in project["optional-dependencies"]["check"] if re.match("pytest|hypothesis", one)]
    file = folder / "constraints.txt"
    file.write_text("\n".join(constraints) + "\n", encoding="utf-8")
    inside = fresh(python, folder / "environment")
    run(inside, "-m", "pip", "install", "-q", "-c", file, f"{wheel}[{extras}]", *testing)
    copy = folder / "copy"
    for name in ("tests", "docs", "recordings", "firmware_notes"):
        shutil.copytree(source / name, copy / name)
    shutil.copy(source / "pyproject.toml", copy)
    tests = [copy / "tests" / name for name in (*SUBSET, *SCREENS, *REPORTS) if (copy / "tests" / name).exists()]
    told = run(
        inside,
        "-m",
        "pytest",
        "-q",
        "-n",
        "2",
        "-p",
        "no:cacheprovider",
        "--rootdir",
        copy,
        *tests,
        PYTHONPATH=str(copy),
    )
    used(inside, folder)
    names = [one.split("==")[0] for one in lowest()]
    have = dict(line.split("==") for line in run(inside, "-m", "pip", "freeze").splitlines() if "==" in line)
    known = {name.lower(): version for name, version in have.items()}
    return f"{told.strip().splitlines()[-1]}; {', '.join(f'{name} {known.get(name.lower())}' for name in names)}"


def main() -> None:
    """Build, install, use, and say what was tried."""
    pythons = sys.argv[1:] or interpreters()
    with tempfile.TemporaryDirectory() as folder:
        there = Path(folder)
        artefacts = built(there)
        print(
            f"built: {', '.join(f'{path.name} ({path.stat().st_size // 1024} kB)' for path in artefacts)}", flush=True
        )
        for number, python in enumerate(pythons):
            for path in artefacts:
                began = time.monotonic()
                place = there / f"env-{number}-{path.suffix[1:]}"
                place.mkdir()
                inside = fresh(python, place / "environment")
                run(inside, "-m", "pip", "install", "-q", path)
                version = used(inside, place)
                name = run(inside, "--version").strip()
                print(f"{name}, {path.suffix}: {version}, used, {time.monotonic() - began:.0f} s", flush=True)
        for what, python, constraints in (("oldest", pythons[0], lowest()), ("newest", pythons[-1], [])):
            place = there / what
            place.mkdir()
            name = run(python, "--version").strip()
            print(
                f"{what} versions, {name}: {tried(python, artefacts[0], there / 'source', constraints, place)}",
                flush=True,
            )


if __name__ == "__main__":
    main()
