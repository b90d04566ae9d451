"""A bad link on a real pseudo-terminal: whatever comes through is what the meter sent, or is not shown at all."""

from __future__ import annotations

import os
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.scenario import MOTOR, PLAN, TICK_S, WINDER
from tests.sources.helpers import DEADLINE_S, FakeClock, FakeWire, Pty, at_once, pty, until
from tests.sources.uart import heard
from winding_coach.base.inputs import BytesArrived, Input, LinkDown, LinkUp, TimePassed
from winding_coach.live.sources.serial_port import SerialSource
from winding_coach.live.sources.wires import Wire
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.commissioning.checking import check_meter
from winding_coach.meter.frames import FrameParser, Sample
from winding_coach.meter.reader import MeterReader, TorqueSample
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.hands import STYLES, ScriptedHands
from winding_coach.simulator.motor import SimulatedMotor

METER_BYTES_PER_S = 12_000
"""As a quick meter sends; faster is a flood, which the source does not pass on."""


@lru_cache(maxsize=1)
def sent() -> tuple[bytes, ...]:
    """The bytes of the first 100 s of a simulated wind, tick by tick."""
    rng = np.random.default_rng(11)
    hands = ScriptedHands(PLAN, MOTOR, WINDER, STYLES["good"], rng)
    bench = Bench(SimulatedMotor(MOTOR), hands, WINDER.ratio, MeterModel(), rng)
    return tuple(bench.advance(TICK_S) for _ in range(8000))


@lru_cache(maxsize=1)
def truth() -> dict[tuple[int, int], Sample]:
    """Every sample that was sent, by sequence number and device time."""
    samples = [frame for frame in FrameParser().feed(b"".join(sent())) if isinstance(frame, Sample)]
    return {(sample.seq, sample.t_us): sample for sample in samples}


def spoilt(kind: str, seed: int) -> bytes:
    """The wind's bytes with a fault in them."""
    rng = np.random.default_rng(seed)
    data = b"".join(sent())
    if kind == "bits":
        bits = np.frombuffer(data, np.uint8).copy()
        for i in np.flatnonzero(rng.random(len(bits)) < 0.01):
            bits[i] ^= 1 << int(rng.integers(0, 8))
        return bits.tobytes()
    if kind == "bytes lost":
        keep = rng.random(len(data)) > 0.01
        return np.frombuffer(data, np.uint8)[keep].tobytes()
    if kind == "pieces doubled":
        pieces = []
        at = 0
        while at < len(data):
            piece = data[at : at + int(rng.integers(1, 400))]
            pieces += [piece] * (2 if rng.random() < 0.1 else 1)
            at += len(piece)
        return b"".join(pieces)
    return b"".join(
        data[at : at + 500] + rng.integers(0, 256, int(rng.integers(0, 90)), dtype=np.uint8).tobytes()
        for at in range(0, len(data), 500)
    )


def through_a_port(data: bytes, seed: int = 0) -> tuple[MeterReader, list[TorqueSample]]:
    """Send bytes through a real port, cut anywhere, and read them as the coach does."""
    rng = np.random.default_rng(seed)
    reader = MeterReader(SIMULATED)
    samples: list[TorqueSample] = []
    received = 0
    with pty() as port:
        clock = FakeClock()
        source = SerialSource(port.device, start=at_once, clock=clock, sleep=clock.sleep)
        until(source, LinkUp)
        reader.link_up()
        at = 0
        while received < len(data):
            if at < len(data) and at - received < 2000:
                piece = data[at : at + int(rng.integers(1, 900))]
                port.send(piece)
                at += len(piece)
                clock.sleep(len(piece) / METER_BYTES_PER_S)
            event = source.read(DEADLINE_S)
            assert isinstance(event, BytesArrived)
            received += len(event.data)
            samples += reader.feed(event.data)
        source.close()
    return reader, samples


@pytest.mark.parametrize("kind", ["bits", "bytes lost", "pieces doubled", "rubbish between"])
def test_no_reading_is_accepted_that_the_meter_did_not_send(kind: str) -> None:
    data = spoilt(kind, 5)
    accepted = [frame for frame in FrameParser().feed(data) if isinstance(frame, Sample)]
    for sample in accepted:
        assert truth()[(sample.seq, sample.t_us)] == sample
    reader, samples = through_a_port(data)
    if kind != "pieces doubled":  # Of a line that comes twice the reader takes one.
        assert len(samples) == len(accepted), "a real port and its cuts change nothing"
    right = {sample.raw for sample in truth().values()}
    assert {sample.raw for sample in samples} <= right
    assert len(truth()) > len(samples) > 0.5 * len(truth()) or kind == "pieces doubled"
    assert reader.bad_lines > 20


def test_a_clean_port_loses_nothing() -> None:
    reader, samples = through_a_port(b"".join(sent()))
    assert len(samples) == len(truth())
    assert (reader.bad_lines, reader.lost_lines, reader.restarts) == (0, 0, 0)


@pytest.mark.parametrize("baud", [9600, 57600, 230400, 250000, 1000000])
def test_another_speed_shows_no_torque_and_is_named(baud: int) -> None:
    data = b"".join(sent()[:120])
    reader = MeterReader(SIMULATED)
    received = heard(data, baud, 115200)
    assert reader.feed(received) == []
    verdict = check_meter(reader, [], len(received), 5.0).verdict
    assert verdict == ("It speaks something else: this is no meter of this protocol, or its speed is not 115200 baud.",)


def test_the_receiver_of_these_tests_hears_its_own_speed() -> None:
    data = b"".join(sent()[:40])
    assert heard(data, 115200, 115200) == data
    assert heard(data, 113000, 115200) == data, "two per cent off is near enough, as receivers of this kind have it"


OPENINGS = st.one_of(
    st.sampled_from([OSError(2, "none"), OSError(13, "denied"), OSError(11, "Could not exclusively lock port")]),
    st.lists(
        st.one_of(
            st.binary(min_size=1, max_size=40), st.just(b""), st.sampled_from([OSError(5, "io"), TypeError("x")])
        ),
        max_size=12,
    ),
)


@settings(max_examples=60)
@given(st.lists(OPENINGS, max_size=8), st.lists(st.floats(0.001, 3.0), min_size=1, max_size=5))
def test_any_coming_and_going_of_a_port(
    openings: list[Exception | list[bytes | Exception]], timeouts: list[float]
) -> None:
    clock = FakeClock()
    wires: list[FakeWire] = []
    delivered: list[bytes] = []
    left = list(openings)

    def open_wire(_: str) -> Wire:
        opening = left.pop(0) if left else OSError(2, "none")
        if isinstance(opening, Exception):
            raise opening
        lost = next((i for i, given_ in enumerate(opening) if isinstance(given_, Exception)), len(opening))
        delivered.extend(given_ for given_ in opening[:lost] if isinstance(given_, bytes) and given_)
        wires.append(FakeWire(clock, [*opening[:lost], OSError(5, "gone")]))
        return wires[-1]

    source = SerialSource(
        "/dev/meter", clock=clock, sleep=clock.sleep, open_wire=open_wire, list_ports=list, start=at_once
    )
    events: list[Input] = []
    end = clock() + 12.0
    while clock() < end:
        timeout_s = timeouts[len(events) % len(timeouts)]
        asked_at = clock()
        events.append(source.read(timeout_s))
        assert clock() - asked_at <= timeout_s + 0.06, "a read comes back in time, whatever the port does"
    source.close()
    times = [event.at_s for event in events]
    assert times == sorted(times)
    assert [event.data for event in events if isinstance(event, BytesArrived)] == delivered, "in order, each once"
    up = False
    for event in events:
        if isinstance(event, LinkUp):
            assert not up, "no link comes up twice"
            up = True
        elif isinstance(event, LinkDown):
            up = False
            assert event.reason
        elif isinstance(event, BytesArrived):
            assert up, "no bytes without a link"
        else:
            assert isinstance(event, TimePassed)
    assert all(wire.closed >= 1 for wire in wires)


def test_pulled_and_put_back_at_random_under_other_names(tmp_path: str) -> None:
    rng = np.random.default_rng(4)
    link = os.path.join(tmp_path, "meter")
    reader = MeterReader(SIMULATED)
    samples: list[TorqueSample] = []
    ticks = list(sent())
    spare: list[Pty] = []
    source = SerialSource(link)
    at = 0
    try:
        for _ in range(8):
            port = Pty()
            spare.append(port)
            os.symlink(port.device, link)
            until(source, LinkUp)
            reader.link_up()
            want = at + int(rng.integers(20, 400))
            data = b"".join(ticks[at:want])
            # The lead comes back in the middle of a line, and is pulled in the middle of one.
            data = data[int(rng.integers(0, 25)) : len(data) - int(rng.integers(0, 25))]
            got = 0
            while got < len(data):
                port.send(data[got : got + 1000])
                _, events = until(source, BytesArrived)
                got += sum(len(event.data) for event in events if isinstance(event, BytesArrived))
                samples += [s for e in events if isinstance(e, BytesArrived) for s in reader.feed(e.data)]
                while got % 1000 and got < len(data):
                    event, _ = until(source, BytesArrived)
                    got += len(event.data)
                    samples += reader.feed(event.data)
            at = want + int(rng.integers(8, 100))
            os.unlink(link)
            port.hang_up()
            until(source, LinkDown)
    finally:
        source.close()
        for port in spare:
            port.hang_up()
    assert len({port.device for port in spare}) >= 1
    assert {sample.raw for sample in samples} <= {sample.raw for sample in truth().values()}
    assert reader.bad_lines == 0, "a cut first or last line is no error"
    assert reader.restarts == 0, "nor is a gap a restart of the meter"
    device = [sample.device_s for sample in samples]
    assert device == sorted(device)
    assert device[-1] == pytest.approx(at * TICK_S, abs=2.0), "the device's own time bridges the gaps"
