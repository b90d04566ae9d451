"""Meters with one planted defect each, and what a check must say of it. Written from physics and protocol alone,
before the check that it judges: what the check says must hold each `says`, and its exit status must be 1.

Counts are of the simulated cell: 72,994 for 1 mN·m, 29.4 mN·m at its rating. Launch torque taken: 3.5 mN·m.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from winding_coach.meter.frames import (
    FROZEN,
    NO_DATA,
    OVERLOAD,
    RAW_MAX,
    SATURATED,
    SETTLING,
    U32,
    Hello,
    Sample,
    encode_hello,
    encode_sample,
)

COUNTS_PER_NM = 72_994e3
LAUNCH_NM = 3.5e-3
Floats = NDArray[np.float64]
HELLO = Hello(1, (("board", "uno"), ("rate", "80"), ("ch", "c"), ("rst", "por"), ("adc", "hx711")))


def _as_it_is(raw: Floats, rng: np.random.Generator) -> Floats:
    return raw


@dataclass(frozen=True, slots=True)
class Stream:
    """What a meter with nothing on its hook sends. shape: counts added at a time; spoil: what becomes of all counts.

    clock_us: the device's clock at a time in seconds. late_s: by which a line's stamp may be late.
    """

    seconds: float = 10.0
    rate_hz: float = 80.0
    noise: float = 45.0
    zero: float = 84_200.0
    shape: Callable[[Floats], Floats] = np.zeros_like
    spoil: Callable[[Floats, np.random.Generator], Floats] = _as_it_is
    clock_us: Callable[[float], float] = lambda t: 50_000 + 1e6 * t
    late_s: float = 0.0
    hello: Hello | None = HELLO
    hello_every_s: float = 5.0
    flags: Callable[[int, float], int] = lambda i, raw: SETTLING if i < 4 else 0
    crank: Callable[[float], int | None] = lambda t: 0
    drop: Callable[[int], bool] = lambda i: False
    damage: Callable[[int], bool] = lambda i: False
    seq: Callable[[int], int] = lambda i: i
    silent: tuple[float, float] = (0.0, 0.0)
    end: bytes = b"\r\n"

    def chunks(self, seed: int) -> list[tuple[float, bytes]]:
        """The bytes with the times in seconds at which they come, in bunches of 20 ms as USB delivers them."""
        bunches: dict[int, bytes] = {}
        for at_s, line in self._lines(seed):
            key = int(at_s / 0.02) + 1
            bunches[key] = bunches.get(key, b"") + line
        return [(0.02 * key, data) for key, data in sorted(bunches.items())]

    def _lines(self, seed: int) -> Iterator[tuple[float, bytes]]:
        rng = np.random.default_rng(seed)
        times = np.arange(round(self.seconds * self.rate_hz)) / self.rate_hz
        raws = self.zero + self.shape(times) + rng.normal(0.0, self.noise, times.size)
        raws = self.spoil(raws, rng)
        late = rng.uniform(0.0, self.late_s, times.size) if self.late_s else np.zeros(times.size)
        hello_at_s = 0.0
        for i, (at_s, raw) in enumerate(zip(times, raws, strict=True)):
            if self.silent[0] <= at_s < self.silent[1]:
                continue
            if self.hello is not None and at_s >= hello_at_s:
                hello_at_s += self.hello_every_s
                yield at_s, encode_hello(self.hello).replace(b"\r\n", self.end)
            flags = self.flags(i, float(raw))
            counts = None if flags & NO_DATA else round(min(max(float(raw), -RAW_MAX - 1), RAW_MAX))
            stamp = round(self.clock_us(float(at_s + late[i])))
            line = encode_sample(Sample(self.seq(i) % 2**16, stamp % U32, counts, flags, self.crank(float(at_s))))
            if self.damage(i):
                line = line[:-4] + b"\r\n"
            if not self.drop(i):
                yield at_s, line.replace(b"\r\n", self.end)


@dataclass(frozen=True, slots=True)
class Defect:
    """A defect: its stream, or the bytes themselves, and what must be said of it (a regular expression)."""

    name: str
    says: str
    stream: Stream = field(default_factory=Stream)
    made: Callable[[int], list[tuple[float, bytes]]] | None = None

    def chunks(self, seed: int) -> list[tuple[float, bytes]]:
        """The bytes and when they come."""
        return self.stream.chunks(seed) if self.made is None else self.made(seed)


def _hum(hz: float, rms: float) -> Callable[[Floats], Floats]:
    return lambda t: rms * np.sqrt(2.0) * np.sin(2.0 * np.pi * hz * t + 0.7)


def _spikes(raw: Floats, rng: np.random.Generator) -> Floats:
    hit = rng.random(raw.size) < 0.02
    return np.asarray(raw + hit * rng.choice([-1.0, 1.0], raw.size) * rng.uniform(2e4, 2e5, raw.size))


def _stuck(bit: int, value: int) -> Callable[[Floats, np.random.Generator], Floats]:
    def spoil(raw: Floats, rng: np.random.Generator) -> Floats:
        whole = np.round(raw).astype(np.int64)
        return ((whole | 1 << bit) if value else (whole & ~(1 << bit))).astype(np.float64)

    return spoil


def _repeated(times: int) -> Callable[[Floats, np.random.Generator], Floats]:
    return lambda raw, rng: np.repeat(raw[::times], times)[: raw.size]


def _frozen_from(share: float) -> Callable[[Floats, np.random.Generator], Floats]:
    def spoil(raw: Floats, rng: np.random.Generator) -> Floats:
        at = int(share * raw.size)
        return np.concatenate([raw[:at], np.full(raw.size - at, raw[at])])

    return spoil


def _telegraph(raw: Floats, rng: np.random.Generator) -> Floats:
    """A loose contact: two levels, changing once a second or so."""
    return raw + 4000.0 * (np.cumsum(rng.random(raw.size) < 1.0 / 80.0) % 2)


def _garbage(seed: int) -> list[tuple[float, bytes]]:
    """A line at 9,600 baud read at 115,200: hardly two values of a byte, and no line ends."""
    rng = np.random.default_rng(seed)
    return [(0.02 * i, bytes(rng.choice([0x00, 0x80, 0xE0, 0xF8, 0xFE], 20).tolist())) for i in range(250)]


def _other_device(seed: int) -> list[tuple[float, bytes]]:
    return [(0.2 * i, b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n") for i in range(50)]


def _rated(rate: str, adc: str = "hx711", ch: str = "c") -> Hello:
    return Hello(1, (("board", "uno"), ("rate", rate), ("ch", ch), ("rst", "por"), ("adc", adc)))


DEFECTS: tuple[Defect, ...] = (
    Defect(
        "drift of 13 % of launch torque a minute",
        "drift",
        Stream(shape=lambda t: 0.13 * LAUNCH_NM * COUNTS_PER_NM * t / 60.0),
    ),
    Defect(
        "the same drift in five seconds",
        "drift",
        Stream(seconds=5.0, shape=lambda t: 0.13 * LAUNCH_NM * COUNTS_PER_NM * t / 60.0),
    ),
    Defect("spikes on 2 % of the lines", "spike", Stream(spoil=_spikes)),
    Defect("bit 4 always set", "[Bb]it 4\\b", Stream(spoil=_stuck(4, 1))),
    Defect("bit 3 always clear", "[Bb]it 3\\b", Stream(spoil=_stuck(3, 0))),
    Defect("bit 5 always set", "[Bb]it 5\\b", Stream(noise=60.0, spoil=_stuck(5, 1))),
    Defect("every value eight times", "8 times", Stream(spoil=_repeated(8))),
    Defect("every value twice", "twice|2 times", Stream(spoil=_repeated(2))),
    Defect("nothing but settling lines", "settling", Stream(flags=lambda i, raw: SETTLING)),
    Defect("frozen from the start", "frozen", Stream(spoil=_frozen_from(0.0))),
    Defect("frozen after six of ten seconds", "frozen", Stream(spoil=_frozen_from(0.6))),
    Defect("hum of 50 Hz, 39 times the converter's noise", "50 Hz", Stream(shape=_hum(50.0, 1509.0))),
    Defect("hum of 50 Hz, six times the noise", "50 Hz", Stream(shape=_hum(50.0, 270.0))),
    Defect("hum of 60 Hz", "60 Hz", Stream(shape=_hum(60.0, 800.0))),
    Defect(
        "hum of 50 Hz at ten lines per second",
        "50 Hz",
        Stream(seconds=20.0, rate_hz=10.3, hello=_rated("10"), noise=25.0, shape=_hum(50.0, 800.0)),
    ),
    Defect("something shakes at 7 Hz", "7\\.0 Hz", Stream(shape=_hum(7.0, 600.0))),
    Defect("wide scatter", "scatter", Stream(noise=15_000.0)),
    Defect("at the end of the range", "end of its range", Stream(zero=9e6, flags=lambda i, raw: SATURATED)),
    Defect("past the rating", "rating", Stream(zero=3.2e6, flags=lambda i, raw: OVERLOAD | (SETTLING if i < 4 else 0))),
    Defect(
        "the converter is not connected",
        "no readings",
        Stream(rate_hz=1 / 0.6, seconds=10.0, flags=lambda i, raw: NO_DATA),
    ),
    Defect(
        "one line in ten without a reading", "no readings", Stream(flags=lambda i, raw: NO_DATA if i % 10 == 9 else 0)
    ),
    Defect("data line held low: 783 lines per second of 0", "data line", Stream(rate_hz=783.0, noise=0.0, zero=0.0)),
    Defect(
        "a restart",
        "restarted",
        Stream(
            seq=lambda i: i if i < 400 else i - 400,
            clock_us=lambda t: 50_000 + 1e6 * (t if t < 5 else t - 5),
            flags=lambda i, raw: SETTLING if i % 400 < 4 else 0,
        ),
    ),
    Defect("2 % of the lines lost", "lost", Stream(drop=lambda i: i % 50 == 49)),
    Defect("2 % of the lines damaged", "damaged", Stream(damage=lambda i: i % 50 == 49)),
    Defect("jumper at 10, hello says 80", "rate jumper", Stream(rate_hz=10.0)),
    Defect("no hello", "no hello", Stream(hello=None)),
    Defect("one hello in twenty seconds", "hello", Stream(seconds=20.0, hello_every_s=60.0)),
    Defect("nothing is sent", "sends nothing", made=lambda seed: []),
    Defect("another device", "something else", made=_other_device),
    Defect("another speed of the port", "Bytes came, no line", made=_garbage),
    Defect("carriage return alone", "carriage return", Stream(end=b"\r")),
    Defect("t_us in milliseconds", "millisecond", Stream(clock_us=lambda t: 50 + 1e3 * t)),
    Defect("a clock 10 % fast", "clock", Stream(clock_us=lambda t: 50_000 + 1.1e6 * t)),
    Defect(
        "a clock that wraps at 2^30",
        "2\\^30",
        Stream(clock_us=lambda t: (2**30 - 5e6 + 1e6 * t) % 2**30),
    ),
    Defect("stamps up to 9 ms late", "time", Stream(late_s=9e-3)),
    Defect("ch=c and no c=", "crank", Stream(crank=lambda t: None)),
    Defect("zero at four fifths of the range", "far from", Stream(zero=6.7e6, flags=lambda i, raw: 0)),
    Defect(
        "the zero jumps by 0.3 mN·m", "jump", Stream(shape=lambda t: np.where(t < 5.3, 0.0, 0.3e-3 * COUNTS_PER_NM))
    ),
    Defect("a loose contact", "jump", Stream(spoil=_telegraph)),
    Defect("the meter itself flags a frozen value", "frozen", Stream(flags=lambda i, raw: FROZEN)),
    Defect("0.9 s without a line", "without a line", Stream(silent=(4.0, 4.9))),
)

GOOD: dict[str, Stream] = {
    "usual": Stream(),
    "five seconds": Stream(seconds=5.0),
    "one second": Stream(seconds=1.0),
    "twenty seconds": Stream(seconds=20.0),
    "ten a second": Stream(rate_hz=10.0, hello=_rated("10"), noise=24.0, seconds=20.0),
    "ten a second for five seconds": Stream(rate_hz=10.0, hello=_rated("10"), noise=24.0, seconds=5.0),
    "a fast converter": Stream(rate_hz=112.0, late_s=5e-4),
    "a slow converter": Stream(rate_hz=71.3, late_s=5e-4),
    "three times the converter's noise": Stream(noise=116.0),
    "hardly any noise": Stream(noise=9.0, hello=_rated("80", adc="ads1220")),
    "a zero far to one side": Stream(zero=-1.8e6),
    "a slow drift": Stream(shape=lambda t: 0.01 * LAUNCH_NM * COUNTS_PER_NM * t / 60.0),
    "the crank turns": Stream(crank=lambda t: int(1.3 * t)),
    "no crank sensor": Stream(hello=_rated("80", ch=""), crank=lambda t: None),
    "a crystal 0.3 % slow": Stream(clock_us=lambda t: 1e6 * 0.997 * t, seconds=20.0),
    "steps of four counts": Stream(hello=_rated("80", adc="other"), spoil=lambda raw, rng: 4.0 * np.round(raw / 4.0)),
    "the clock's own wrap": Stream(clock_us=lambda t: 2**32 - 5e6 + 1e6 * t),
    "one line lost": Stream(drop=lambda i: i == 300),
}
