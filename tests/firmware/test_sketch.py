"""The sketch's other branch, and the rules of its text."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from tests.firmware.build import HERE, SKETCH, need
from tests.firmware.mutants import MUTANTS, Mutant, planted


@pytest.mark.parametrize("options", [(), ("-DCRANK_B_PIN=6", "-DDISTANCE_PIN=A0", "-DTEMPERATURE_PIN=A1", "-DRATE=80")])
def test_the_sketch_compiles_for_a_board_that_is_no_avr(options: tuple[str, ...], tmp_path: Path) -> None:
    need("cc")
    named = ['-DBOARD="pico"', *options]
    command = ["c++", "-std=c++11", "-Wall", "-Wextra", "-Werror", f"-I{HERE / 'other_board'}", f"-I{SKETCH}", *named]
    sketch = [
        "-include",
        "Arduino.h",
        "-x",
        "c++",
        str(SKETCH / "winding_meter.ino"),
        "-c",
        "-o",
        str(tmp_path / "x.o"),
    ]
    done = subprocess.run([*command, *sketch], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_core_makes_no_hardware_call_and_takes_no_memory() -> None:
    text = (SKETCH / "meter_core.c").read_text() + (SKETCH / "meter_core.h").read_text()
    assert set(re.findall(r"#include\s+[<\"](.+?)[>\"]", text)) == {
        *("meter_core.h", "string.h", "stdbool.h", "stddef.h", "stdint.h"),
    }
    assert not re.search(r"\b(malloc|free|printf|sprintf|digitalRead|digitalWrite|micros|delay)\b", text)


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_each_fault_of_the_mutation_check_can_still_be_planted(mutant: Mutant, tmp_path: Path) -> None:
    assert mutant.wrong in (planted(mutant, tmp_path) / mutant.file).read_text()
