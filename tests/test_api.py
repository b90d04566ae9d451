"""What programs of others rely on, used as the page for them says."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

import winding_coach
from winding_coach.api import FIGURES, CoachError, coached, open_trace

TOP = Path(__file__).parents[1]
GOOD = TOP / "recordings" / "good-wind.wind.jsonl.gz"


def test_the_page_s_example_runs_as_it_stands() -> None:
    page = (TOP / "docs" / "reference" / "library.md").read_text(encoding="utf-8")
    code = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    done = subprocess.run(
        [sys.executable, "-c", code[0]], cwd=TOP, capture_output=True, text=True, check=True, encoding="utf-8"
    )
    wind = coached(open_trace(GOOD))
    assert done.stdout.split()[0] == f"{wind.torque_Nm.max() * 1e3:.1f}"
    assert wind.summary is not None
    # The top reading and the summary's peak come of two ways through the coach; smoothing lies between them.
    assert wind.summary.peak_torque_Nm == pytest.approx(wind.torque_Nm.max(), rel=0.02)
    assert all(getattr(wind, name).shape == wind.at_s.shape == wind.phase.shape for name in FIGURES)
    assert np.all(np.diff(wind.at_s) >= 0)
    assert len(wind.said) > 10
    assert {one.name for one in fields(wind)} == {*FIGURES, "phase", "said", "summary"}


def test_what_is_no_trace_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("no trace")
    with pytest.raises(CoachError, match=r"\.$"):
        open_trace(tmp_path / "a.txt")


def test_the_package_says_that_it_has_types() -> None:
    assert (Path(winding_coach.__file__).parent / "py.typed").is_file()
