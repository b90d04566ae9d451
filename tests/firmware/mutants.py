"""Mutation check of the firmware's tests: `python -m tests.firmware.mutants` plants faults, one at a time, runs the
tests on each and prints which were caught. It takes some minutes and is no part of the test run."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tests.firmware.build import SKETCH, SKETCH_VARIABLE

CORE, INO, SHIFT = "meter_core.c", "winding_meter.ino", "converter_shift.h"
NAU7802, ADS1220 = "converter_nau7802.h", "converter_ads1220.h"


@dataclass(frozen=True)
class Mutant:
    """A fault: in `file`, the one place that reads `right` reads `wrong`."""

    name: str
    file: str
    right: str
    wrong: str


MUTANTS = (
    Mutant("sign of 24 bits is lost", CORE, "(bits & 0x800000UL) ? (int32_t)bits - 0x1000000L", "0 ? (int32_t)bits"),
    Mutant("sign is taken from the wrong bit", CORE, "bits & 0x800000UL", "bits & 0x400000UL"),
    Mutant("CRC begins at zero", CORE, "uint16_t crc = 0xFFFF;", "uint16_t crc = 0;"),
    Mutant("CRC of another polynomial", CORE, "0x1021", "0x8005"),
    Mutant(
        "CRC covers the dollar",
        CORE,
        "meter_crc(line + 1, (size_t)(end - line - 1))",
        "meter_crc(line, (size_t)(end - line))",
    ),
    Mutant("CRC in lower case", CORE, '"0123456789ABCDEF"', '"0123456789abcdef"'),
    Mutant(
        "a zero within a number is lost", CORE, "if (begun || digit != '0')", "if (digit != '0' || (begun && i > 7))"
    ),
    Mutant(
        "silence compared without the wrap",
        CORE,
        "(int32_t)(now_us - self->heard_us) < (int32_t)METER_NO_DATA_US",
        "now_us < self->heard_us + METER_NO_DATA_US",
    ),
    Mutant(
        "bounce compared without the wrap",
        CORE,
        "(uint32_t)(now_us - one->since_us) >= bounce_us",
        "now_us >= one->since_us + bounce_us",
    ),
    Mutant("no debouncing", CORE, "(uint32_t)(now_us - one->since_us) >= bounce_us", "true"),
    Mutant("a switch that opens counts too", CORE, "if (changed && crank->a.steady)", "if (changed)"),
    Mutant("two switches count upwards only", CORE, "crank->direction = steps == 1 ? 1 : -1;", "crank->direction = 1;"),
    Mutant("a missed place goes forwards always", CORE, "2 * crank->direction", "2"),
    Mutant("only one end of the range saturates", CORE, "raw == RAW_MAX || raw == RAW_MIN", "raw == RAW_MAX"),
    Mutant("overload of one sign only", CORE, " || raw <= -self->overload_counts", ""),
    Mutant("settling of five", CORE, "self->settling = METER_SETTLING_CONVERSIONS;", "self->settling = 5;"),
    Mutant(
        "dropped lines are not counted",
        CORE,
        "sample.seq = self->seq++;",
        "sample.seq = self->seq;\n    self->seq += !self->dropped;",
    ),
    Mutant("dropped lines are not flagged", CORE, "flags |= METER_LINE_DROPPED;", "flags |= 0;"),
    Mutant(
        "a line is cut where there is no room",
        CORE,
        "return false;\n    for (size_t i",
        "length = (size_t)(METER_OUT_BYTES - self->out_count);\n    for (size_t i",
    ),
    Mutant(
        "hello every ten seconds",
        CORE,
        "self->hello_us += METER_HELLO_EVERY_US;",
        "self->hello_us += 2 * METER_HELLO_EVERY_US;",
    ),
    Mutant("hello before the line of data", CORE, "    if (self->hello_due)\n        queue_hello(self);\n}", "}"),
    Mutant(
        "silence gives a zero",
        CORE,
        "queue_sample(self, 0, METER_NO_DATA, now_us);",
        "queue_sample(self, 0, 0, now_us);",
    ),
    Mutant(
        "the converter is not started anew at boot",
        INO,
        "    converter_restart();\n    attachInterrupt",
        "    attachInterrupt",
    ),
    Mutant("24 clocks", SHIFT, "i < CONVERTER_CLOCKS", "i < 24"),
    Mutant("26 clocks, another channel", SHIFT, "i < CONVERTER_CLOCKS", "i < 26"),
    Mutant("a line held low is data", SHIFT, "return digitalRead(DOUT_PIN) == HIGH;", "return true;"),
    Mutant(
        "a port whose room is always 0 is mute",
        INO,
        "if (!knows_room && Serial) return",
        "if (!knows_room && Serial && false) return",
    ),
    Mutant(
        "the clock is high for too long",
        SHIFT,
        "digitalWrite(SCK_PIN, HIGH);\n        delayMicroseconds(1);",
        "digitalWrite(SCK_PIN, HIGH);\n        delayMicroseconds(55);",
    ),
    Mutant("interrupts while the clock is high", SHIFT, "        noInterrupts();\n", ""),
    Mutant("bits are taken one clock late", SHIFT, "if (i < 24) bits", "if (i > 0) bits"),
    Mutant("the stamp is not renewed", INO, "        ready_stamped = false;\n        if (taken)", "        if (taken)"),
    Mutant("stamped when it is taken out", INO, "ready_stamped ? ready_us : micros()", "micros()"),
    Mutant("half the speed of the port", INO, "Serial.begin(115200);", "Serial.begin(57600);"),
    Mutant(
        "the port is waited for",
        INO,
        "while (count < room && count < sizeof piece",
        "while (count < room + 64 && count < sizeof piece",
    ),
    Mutant("the cause of the reset is not kept", INO, "    from_processor = MCUSR;\n", "    from_processor = 0;\n"),
    Mutant("a switch is closed at a high level", INO, "digitalRead(pin) == LOW", "digitalRead(pin) == HIGH"),
    Mutant("temperature off by a degree", INO, "mV - 500", "mV - 510"),
    Mutant(
        "a sender's line each second only",
        CORE,
        "METER_SENDER_APART_US : METER_SENDER_EVERY_US",
        "METER_SENDER_APART_US : 10 * METER_SENDER_EVERY_US",
    ),
    Mutant(
        "a sender's count waits for the next line", CORE, "self->counted = self->due = true;", "self->counted = true;"
    ),
    Mutant(
        "a sender's age in microseconds", CORE, "(now_us - self->counted_us) / 1000);", "(now_us - self->counted_us));"
    ),
    Mutant(
        "a sender's age begins again",
        CORE,
        "self->counted_us = now_us - LONGEST_AGE_MS * 1000;",
        "self->counted_us += 0;",
    ),
    Mutant(
        "a dropped line of a sender is not counted", CORE, "self->link.seq++;", "self->link.seq += !self->link.dropped;"
    ),
    Mutant("a flat battery is not said", CORE, "self->battery_low ? METER_BATTERY_LOW : 0", "0"),
    Mutant("a byte a piece", INO, "uint8_t piece[64]", "uint8_t piece[1]"),
    Mutant("frozen is never said", CORE, "? METER_FROZEN : 0", "? 0 : 0"),
    Mutant(
        "frozen at the end of the range",
        CORE,
        "raw != self->newest || at_end",
        "raw != self->newest || (at_end && false)",
    ),
    Mutant("registers are not read back", NAU7802, " || found != NAU7802_SET[i][1]", ""),
    Mutant("the ready line is believed", NAU7802, " || !(status & NAU7802_CR)", ""),
    Mutant("it is not waited for", NAU7802, "delayMicroseconds(1000);", "delayMicroseconds(1);"),
    Mutant(
        "bytes of a conversion swapped",
        NAU7802,
        "bytes[0] << 16 | (uint32_t)bytes[1] << 8",
        "bytes[1] << 16 | (uint32_t)bytes[0] << 8",
    ),
    Mutant("another SPI mode", ADS1220, "SPI_MODE1", "SPI_MODE0"),
    Mutant("no wait after its reset", ADS1220, "delayMicroseconds(100);", "delayMicroseconds(1);"),
    Mutant("its registers are not read back", ADS1220, "good &= SPI.transfer(0) == ADS1220_SET[i]", "SPI.transfer(0)"),
    Mutant("single conversions", ADS1220, "ADS1220_DR << 5 | 0x04", "ADS1220_DR << 5"),
    Mutant("the host is not heard", INO, "meter_received(&winding_meter, (uint8_t)PORT.read())", "(void)PORT.read()"),
)


def planted(mutant: Mutant, folder: Path) -> Path:
    """Return a copy of the sketch with the fault in it."""
    sketch = folder / "sketch"
    shutil.copytree(SKETCH, sketch)
    path = sketch / mutant.file
    text = path.read_text(encoding="utf-8")
    if text.count(mutant.right) != 1:
        raise AssertionError(f"{mutant.name}: its place is there {text.count(mutant.right)} times")
    path.write_text(text.replace(mutant.right, mutant.wrong), encoding="utf-8")
    return sketch


def caught_by(mutant: Mutant) -> str | None:
    """Return the first test that fails with the fault, None if none does."""
    with tempfile.TemporaryDirectory() as folder:
        sketch = planted(mutant, Path(folder))
        tests = [f"tests/firmware/test_{name}.py" for name in ("core", "crank_sender", "boards", "avr")]
        options = ["-x", "-q", "-rfE", "--tb=no", "-p", "no:cacheprovider", f"--basetemp={folder}/tmp"]
        done = subprocess.run(
            [sys.executable, "-m", "pytest", *options, *tests],
            env=os.environ | {SKETCH_VARIABLE: str(sketch)},
            capture_output=True,
            text=True,
            check=False,
        )
    if done.returncode == 0:
        return None
    failed = [line.split("::")[1].split(" ")[0] for line in done.stdout.splitlines() if line.startswith("FAILED")]
    return failed[0] if failed else "does not build: " + done.stdout[-300:].replace("\n", " ")


def main(names: Iterable[str]) -> int:
    """Run the check, on those mutants whose name holds a word, or on all."""
    words = tuple(names)
    chosen = [mutant for mutant in MUTANTS if not words or any(word in mutant.name for word in words)]
    missed = 0
    with ThreadPoolExecutor(2) as pool:
        for mutant, test in zip(chosen, pool.map(caught_by, chosen), strict=True):
            missed += test is None
            print(f"| {mutant.name} | {test or 'NOT CAUGHT'} |", flush=True)
    print(f"{len(chosen) - missed} of {len(chosen)} caught")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
