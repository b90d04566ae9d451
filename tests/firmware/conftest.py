"""Firmware and rig, built once a test run."""

from __future__ import annotations

import ctypes
from pathlib import Path

import pytest

from tests.firmware.build import build_core, build_rig, build_sketch, need


@pytest.fixture(scope="session")
def core(tmp_path_factory: pytest.TempPathFactory) -> ctypes.CDLL:
    """The firmware's core."""
    need("cc")
    return build_core(tmp_path_factory.mktemp("core"))


@pytest.fixture(scope="session")
def rig(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The program that runs firmware."""
    need("cc", "avr", "simavr")
    return build_rig(tmp_path_factory.mktemp("rig"))


@pytest.fixture(scope="session")
def firmware(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sketch as it is."""
    need("avr")
    return build_sketch(tmp_path_factory.mktemp("avr"))


@pytest.fixture(scope="session")
def firmware_all_channels(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sketch with two crank switches, distance and temperature."""
    need("avr")
    options = ("-DCRANK_B_PIN=6", "-DDISTANCE_PIN=A0", "-DTEMPERATURE_PIN=A1", "-DOVERLOAD_COUNTS=2000000L")
    return build_sketch(tmp_path_factory.mktemp("avr-all"), *options)
