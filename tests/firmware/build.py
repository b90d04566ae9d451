"""The firmware built for the tests: its core as a library of this machine, the sketch for AVR, the rig that runs it.

Whatever a machine lacks is named; `need` skips for it, or fails where CI has to have it.
"""

from __future__ import annotations

import ctypes
import json
import os
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

HERE = Path(__file__).parent
SKETCH_VARIABLE = "WINDING_COACH_TESTED_SKETCH"
"""Names a folder to test instead of the sketch that ships: for the mutation check."""
SKETCH = Path(
    os.environ.get(SKETCH_VARIABLE) or Path(__file__).parent.parent.parent / "firmware_notes" / "winding_meter"
)
ARDUINO = Path("/usr/share/arduino/hardware/arduino/avr")
LONGEST_LINE = 62
PACKAGES = "gcc libc6-dev gcc-avr avr-libc arduino-core-avr libsimavr-dev"


def need(*tools: str) -> None:
    """Skip a test where a tool cannot be had; in CI, where it can, fail."""
    there = {
        "cc": shutil.which("cc") is not None,
        "avr": shutil.which("avr-g++") is not None and ARDUINO.is_dir(),
        "simavr": Path("/usr/include/simavr/sim_avr.h").exists(),
    }
    missing = [tool for tool in tools if not there[tool]]
    if missing:
        words = f"The firmware cannot be tested without {', '.join(missing)}: install Debian's {PACKAGES}."
        if os.environ.get("CI"):
            pytest.fail(words)
        pytest.skip(words)


def _run(command: Sequence[str | Path], folder: Path = SKETCH) -> None:
    done = subprocess.run([str(part) for part in command], cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode:
        raise AssertionError(f"{' '.join(str(part) for part in command)}\n{done.stderr}")


def build_core(folder: Path, sketch: Path = SKETCH) -> ctypes.CDLL:
    """Return the core as a library; behaviour that C leaves undefined stops the test run."""
    library = folder / "core.so"
    strict = ["-std=c99", "-O1", "-g", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-pedantic"]
    traps = ["-fsanitize=undefined", "-fsanitize-undefined-trap-on-error"]
    sources = [sketch / "meter_core.c", HERE / "core_shim.c"]
    _run(["cc", *strict, *traps, "-shared", "-fPIC", f"-I{sketch}", *sources, "-o", library])
    core = ctypes.CDLL(str(library))
    core.meter_from_24_bits.restype = ctypes.c_int32
    core.meter_crc.restype = ctypes.c_uint16
    core.meter_encode_hello.restype = ctypes.c_size_t
    core.shim_sample.restype = ctypes.c_size_t
    core.shim_take.restype = ctypes.c_size_t
    core.shim_sender_take.restype = ctypes.c_size_t
    core.shim_waited.restype = ctypes.c_bool
    core.shim_add_field.restype = ctypes.c_bool
    core.shim_fields_now.restype = ctypes.c_char_p
    return core


AVR_FLAGS = (
    *("-mmcu=atmega328p", "-DF_CPU=16000000L", "-DARDUINO=10819", "-DARDUINO_AVR_UNO", "-DARDUINO_ARCH_AVR"),
    # The core's library of this old compiler asks for a name that C++11 has not.
    *("-DDECIMAL_DIG=__DECIMAL_DIG__", "-Os", "-flto", "-ffunction-sections", "-fdata-sections"),
    *(f"-I{ARDUINO / 'cores' / 'arduino'}", f"-I{ARDUINO / 'variants' / 'standard'}"),
)
_CXX = ("avr-g++", "-std=gnu++11", "-fpermissive", "-fno-exceptions", "-fno-threadsafe-statics")


LIBRARIES = {"NAU7802": ("Wire", "Wire/src", "Wire/src/utility"), "ADS1220": ("SPI", "SPI/src")}
"""Folders of the core's libraries that a converter's code needs."""


@cache
def _arduino_objects(folder: Path, libraries: tuple[str, ...] = ()) -> tuple[Path, ...]:
    made = []
    core = sorted((ARDUINO / "cores" / "arduino").glob("*.c*"))
    of_libraries = [path for name in libraries for path in sorted((ARDUINO / "libraries" / name).glob("*.c*"))]
    for source in [*core, *of_libraries]:
        compiler = ("avr-gcc", "-std=gnu11") if source.suffix == ".c" else _CXX
        made.append(folder / f"{source.name}.o")
        _run([*compiler, "-w", *AVR_FLAGS, *_include(libraries), "-c", source, "-o", made[-1]])
    return tuple(made)


def _include(libraries: tuple[str, ...]) -> list[str]:
    return [f"-I{ARDUINO / 'libraries' / name}" for name in libraries]


def build_sketch(folder: Path, *options: str, sketch: Path = SKETCH) -> Path:
    """Return the sketch built for an ATmega328P; options as `-DCRANK_B_PIN=6` stand for changes of config.h."""
    shared = folder / "arduino"
    shared.mkdir(exist_ok=True)
    firmware = folder / "meter.elf"
    libraries = next((them for chip, them in LIBRARIES.items() if f"-DCONVERTER=CONVERTER_{chip}" in options), ())
    warn: list[str | Path] = ["-Wall", "-Wextra", "-Werror", *AVR_FLAGS, *_include(libraries), *options, f"-I{sketch}"]
    ino: list[str | Path] = ["-include", "Arduino.h", "-x", "c++", sketch / "winding_meter.ino"]
    _run([*_CXX, *warn, *ino, "-c", "-o", folder / "sketch.o"])
    _run(["avr-gcc", "-std=gnu11", *warn, "-c", sketch / "meter_core.c", "-o", folder / "core.o"])
    link = ["avr-gcc", "-Os", "-flto", "-fuse-linker-plugin", "-Wl,--gc-sections", "-mmcu=atmega328p"]
    _run([*link, folder / "sketch.o", folder / "core.o", *_arduino_objects(shared, libraries), "-o", firmware, "-lm"])
    return firmware


def build_rig(folder: Path) -> Path:
    """Return the program that runs firmware in the simulator."""
    rig = folder / "rig"
    _run(["cc", "-std=gnu11", "-O2", "-Wall", "-Wextra", "-Werror", HERE / "rig.c", "-o", rig, "-lsimavr"])
    return rig


def build_modelled(folder: Path, boards: Mapping[str, Sequence[str]], *flags: str) -> dict[str, Path]:
    """Return the sketch as a program of this computer for each board's options, on the model of its other hardware."""
    need("cc")
    core = folder / "core.o"
    _run(["cc", "-std=c99", "-Wall", "-Werror", "-c", SKETCH / "meter_core.c", "-o", core])
    found = {}
    for name, options in boards.items():
        found[name] = folder / name.replace(" ", "-")
        strict = [
            "-std=c++11",
            "-Wall",
            "-Wextra",
            "-Werror",
            *flags,
            f"-I{HERE / 'other_board'}",
            f"-I{SKETCH}",
            *options,
        ]
        sketch, model = found[name].with_suffix(".o"), found[name].with_suffix(".model.o")
        ino = ["-include", "Arduino.h", "-x", "c++", str(SKETCH / "winding_meter.ino")]
        modelled = ["-include", str(SKETCH / "config.h"), str(HERE / "other_board" / "host_model.cpp")]
        for source, made in ((ino, sketch), (modelled, model)):
            _run(["c++", *strict, *source, "-c", "-o", made])
        _run(["c++", sketch, model, core, "-o", found[name]])
    return found


@dataclass
class Script:
    """What happens to the meter: `at` adds an event at a time in seconds; switches bounce."""

    rng: np.random.Generator = field(default_factory=lambda: np.random.default_rng(7))
    events: list[tuple[int, str, int]] = field(default_factory=list)

    def at(self, at_s: float, word: str, value: int = 0) -> Script:
        """Add an event."""
        self.events.append((round(at_s * 1e6), word, value))
        return self

    def switch(self, at_s: float, pin: str, *, closes: bool, bounces: int = 4) -> Script:
        """A switch that bounces for up to 2 ms before it stays; closed is a low level."""
        level = 0 if closes else 1
        for place in np.sort(self.rng.uniform(0.0, 2e-3, bounces)):
            self.at(at_s + float(place), pin, level)
            self.at(at_s + float(place) + 30e-6, pin, 1 - level)
        return self.at(at_s + 2.1e-3, pin, level)

    def turn(self, at_s: float, closed_s: float = 0.02, pin: str = "a") -> Script:
        """A crank turn by one switch: it closes and opens."""
        return self.switch(at_s, pin, closes=True).switch(at_s + closed_s, pin, closes=False)

    def write(self, path: Path) -> Path:
        """Write the script of the rig."""
        rows = (f"{at_us} {word} {value}" for at_us, word, value in sorted(self.events, key=lambda event: event[0]))
        path.write_text("\n".join(rows) + "\n")
        return path


@dataclass(frozen=True)
class Run:
    """What firmware sent, and what the converter saw of it."""

    wire: bytes
    seen: dict[str, Any]


def run_rig(rig: Path, firmware: Path, script: Script, folder: Path) -> Run:
    """Run firmware through a script that ends by the word `end`."""
    path = script.write(folder / "script.txt")
    done = subprocess.run([rig, firmware, path], capture_output=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr.decode()
    return Run(done.stdout, json.loads(done.stderr.splitlines()[-1]))
