"""The serial source: on real pseudo-terminals and loopback connections, and by a clock that nobody waits for."""

from __future__ import annotations

import os
import socket
import threading
from pathlib import Path

import pytest
import serial

from tests.sources.helpers import HELLO, FakeClock, FakeWire, at_once, eventually, line, pty, until
from winding_coach.base.inputs import BytesArrived, Ended, Input, KeyPressed, LinkDown, LinkUp, TimePassed
from winding_coach.live.sources.ports import Port
from winding_coach.live.sources.serial_port import SerialSource
from winding_coach.live.sources.wires import Wire

USB = (0x2341, 0x43, "85")


def received(events: list[Input]) -> bytes:
    return b"".join(event.data for event in events if isinstance(event, BytesArrived))


def read_all(source: SerialSource, wanted: bytes) -> list[Input]:
    """Read until these bytes are among what came since now."""
    got = b""

    def so(event: BytesArrived) -> bool:
        nonlocal got
        got += event.data
        return wanted in got

    return until(source, BytesArrived, so)[1]


# -- on real ports


def test_a_port_is_opened_asked_and_read() -> None:
    with pty() as port:
        source = SerialSource(port.device)
        up, before = until(source, LinkUp)
        assert up.port == port.device
        assert all(isinstance(event, TimePassed) for event in before[:-1])
        eventually(lambda: port.received() == b"?")
        port.send(HELLO + line(0))
        assert received(read_all(source, line(0))) == HELLO + line(0)
        assert isinstance(source.read(0.01), TimePassed)
        source.close()


def test_unplugged_and_back_under_another_name(tmp_path: Path) -> None:
    link = tmp_path / "meter"
    with pty() as first, pty() as second:
        assert first.device != second.device
        link.symlink_to(first.device)
        source = SerialSource(str(link))
        until(source, LinkUp)
        first.send(line(0))
        read_all(source, line(0))
        link.unlink()
        first.hang_up()
        down, _ = until(source, LinkDown)
        assert down.reason == "the meter was unplugged"
        link.symlink_to(second.device)
        _, events = until(source, LinkUp)
        assert all(isinstance(event, TimePassed) for event in events[:-1]), "that it is not there is no news"
        second.send(line(9))
        read_all(source, line(9))
        source.close()


def test_auto_finds_its_meter_again_by_usb_identity() -> None:
    with pty() as first, pty() as other, pty() as second:
        ports = [Port(first.device, usb=USB, location="1-2")]
        source = SerialSource("auto", list_ports=lambda: ports)

        def answer() -> None:
            eventually(lambda: b"?" in first.received())
            first.send(HELLO)

        answering = threading.Thread(target=answer)
        answering.start()
        up, _ = until(source, LinkUp)
        answering.join()
        assert up.port == first.device
        assert HELLO in received([source.read(0.1)]), "what it said when it was asked is the first of the link"
        first.hang_up()
        ports[:] = [Port(other.device, usb=(1, 1, "x"), location="1-3")]
        until(source, LinkDown)
        ports.append(Port(second.device, usb=USB, location="2-2"))
        up, _ = until(source, LinkUp)
        assert up.port == second.device
        assert other.received() == b"", "the other device is not even opened"
        source.close()


def test_a_port_in_use_is_said_once_and_opened_when_it_is_free() -> None:
    with pty() as port:
        holder = serial.Serial(port.device, exclusive=True)
        source = SerialSource(port.device)
        down, _ = until(source, LinkDown)
        assert down.reason == f"{port.device} is in use by another program: close that first"
        holder.close()
        _, events = until(source, LinkUp)
        assert not any(isinstance(event, LinkDown) for event in events)
        source.close()


def test_two_sources_do_not_share_a_port() -> None:
    with pty() as port:
        first, second = SerialSource(port.device), SerialSource(port.device)
        until(first, LinkUp)
        down, _ = until(second, LinkDown)
        assert "in use" in down.reason
        port.send(line(0))
        read_all(first, line(0))
        first.close()
        second.close()


def test_a_connection_is_lost_and_found_again() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(10)
        source = SerialSource(f"socket://127.0.0.1:{server.getsockname()[1]}")
        for number in range(2):
            until(source, LinkUp)
            far, _ = server.accept()
            with far:
                far.settimeout(10)
                assert far.recv(1) == b"?"
                far.sendall(line(number))
                read_all(source, line(number))
            down, _ = until(source, LinkDown)
            assert down.reason == "the other end closed the connection"
        source.close()


def test_nothing_listens_there() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        address = f"socket://127.0.0.1:{server.getsockname()[1]}"
    source = SerialSource(address)
    down, _ = until(source, LinkDown)
    assert down.reason == f"nothing answers at {address}"
    source.close()


def test_garbage_is_passed_on_as_it_is() -> None:
    garbage = bytes(range(255, -1, -1)) * 4
    with pty() as port:
        source = SerialSource(port.device)
        until(source, LinkUp)
        port.send(garbage)
        assert received(read_all(source, garbage[-10:])) == garbage
        source.close()


def test_time_never_goes_back_through_losses_and_keys(tmp_path: Path) -> None:
    link = tmp_path / "meter"
    source = SerialSource(str(link))
    events = until(source, LinkDown)[1]
    for number in range(3):
        with pty() as port:
            link.symlink_to(port.device)
            events += until(source, LinkUp)[1]
            source.press("count")
            events += until(source, KeyPressed)[1]
            port.send(line(number))
            events += read_all(source, line(number))
            link.unlink()
            port.hang_up()
            events += until(source, LinkDown)[1]
    source.press("quit")
    events += until(source, Ended)[1]
    source.close()
    times = [event.at_s for event in events]
    assert times == sorted(times)
    assert all(time == round(time, 6) for time in times)


def test_a_source_that_is_closed_leaves_no_handle_and_no_thread() -> None:
    with pty() as port:
        handles, threads = len(os.listdir("/dev/fd")), threading.active_count()
        for _ in range(3):
            source = SerialSource(port.device)
            until(source, LinkUp)
            source.close()
            source.close()
        eventually(lambda: threading.active_count() == threads)
        assert len(os.listdir("/dev/fd")) == handles


def test_keys_are_heard_while_a_port_is_slow_to_open() -> None:
    opening, go_on = threading.Event(), threading.Event()
    wire = FakeWire(FakeClock())

    def slow(_: str) -> Wire:
        opening.set()
        assert go_on.wait(10)
        return wire

    source = SerialSource("/dev/slow", open_wire=slow, list_ports=list)
    assert isinstance(source.read(0.01), TimePassed)
    assert opening.wait(10)
    source.press("quit")
    assert until(source, KeyPressed)[0].name == "quit"
    assert isinstance(source.read(0.01), Ended)
    source.close()
    go_on.set()
    eventually(lambda: wire.closed == 1)


# -- by a clock of our own


class Bench:
    """A source whose port is a list of wires, one for each time that it is opened (an error: it cannot be)."""

    def __init__(self, *opened: FakeWire | Exception) -> None:
        self.clock = FakeClock()
        self.began = self.clock()
        self.opened = list(opened)
        self.tried_at: list[float] = []
        for wire in self.opened:
            if isinstance(wire, FakeWire):
                wire.clock = self.clock
        self.source = SerialSource(
            "/dev/meter",
            clock=self.clock,
            sleep=self.clock.sleep,
            open_wire=self.open_wire,
            list_ports=list,
            start=at_once,
        )

    def open_wire(self, name: str) -> Wire:
        assert name == "/dev/meter"
        self.tried_at.append(round(self.clock() - self.began, 6))
        wire = self.opened.pop(0) if self.opened else OSError(2, "No such file")
        if isinstance(wire, Exception):
            raise wire
        return wire

    def until_s(self, end_s: float) -> list[Input]:
        """All inputs but TimePassed up to a time."""
        events: list[Input] = []
        while self.clock() - self.began < end_s:
            event = self.source.read(0.1)
            if not isinstance(event, TimePassed):
                events.append(event)
        return events


def wire(*gives: bytes | Exception) -> FakeWire:
    return FakeWire(FakeClock(), list(gives))


def test_the_pause_grows_to_two_seconds_and_the_reason_is_said_once() -> None:
    bench = Bench()
    events = bench.until_s(12.0)
    (down,) = events
    assert isinstance(down, LinkDown)
    assert down.reason == "there is no port /dev/meter: plug the meter in or name another"
    gaps = [after - before for before, after in zip(bench.tried_at, bench.tried_at[1:], strict=False)]
    assert gaps[:4] == [pytest.approx(gap, abs=0.06) for gap in (0.25, 0.5, 1.0, 2.0)]
    assert all(gap == pytest.approx(2.0, abs=0.06) for gap in gaps[3:])
    assert len(gaps) >= 6


def test_time_passes_between_tries_as_asked_for() -> None:
    bench = Bench()
    bench.source.read(0.1)
    before = bench.clock()
    event = bench.source.read(0.1)
    assert event == TimePassed(round(bench.clock() - bench.began, 6))
    assert bench.clock() - before == pytest.approx(0.1, abs=0.051)


def test_a_new_reason_is_news_and_an_absent_port_is_not() -> None:
    lost = wire(line(0), OSError(5, "gone"))
    bench = Bench(lost, OSError(2, "none"), OSError(13, "denied"), OSError(2, "none"), OSError(13, "denied"), wire())
    events = bench.until_s(8.0)
    assert [type(event).__name__ for event in events] == ["LinkUp", "BytesArrived", "LinkDown", "LinkDown", "LinkUp"]
    reasons = [event.reason for event in events if isinstance(event, LinkDown)]
    assert reasons[0] == "the meter was unplugged"
    assert "no permission" in reasons[1]
    assert lost.closed == 1, "a failed port is closed at once"


def test_the_pause_is_short_again_after_a_link() -> None:
    bench = Bench(*[OSError(2, "none")] * 5, wire(OSError(5, "gone")), OSError(2, "none"), wire())
    bench.until_s(9.0)
    lost_at, again_at = bench.tried_at[5], bench.tried_at[6]
    assert again_at - lost_at == pytest.approx(0.25, abs=0.11)


@pytest.mark.parametrize(
    "error", [OSError(5, "io"), TypeError("closed under it"), ValueError("fd"), RuntimeError("url")]
)
def test_no_error_of_a_port_reaches_the_caller(error: Exception) -> None:
    bench = Bench(wire(error), wire(line(1)))
    assert [type(event).__name__ for event in bench.until_s(1.0)] == ["LinkUp", "LinkDown", "LinkUp", "BytesArrived"]


def test_silence_is_asked_after_then_reopened_with_how_long_and_why() -> None:
    silent, back = wire(line(0)), wire(line(1))
    bench = Bench(silent, back)
    events = bench.until_s(7.0)
    assert [type(event).__name__ for event in events] == [
        "LinkUp",
        "BytesArrived",
        "LinkDown",
        "LinkUp",
        "BytesArrived",
    ]
    down = events[2]
    assert isinstance(down, LinkDown)
    assert down.reason == "no data for 6 seconds, even when asked: opening /dev/meter again"
    assert silent.sent == [b"?", b"?"]
    asked_at = silent.sent_at[1] - bench.began
    assert 2.0 < asked_at < 2.3
    assert silent.closed == 1


def test_a_meter_that_answers_is_not_reopened() -> None:
    bench = Bench(wire(line(0), *[b""] * 50, HELLO, *[b""] * 50, line(1)))
    events = bench.until_s(6.0)
    assert not any(isinstance(event, LinkDown) for event in events)


def test_a_port_that_takes_no_question_is_not_lost_for_it() -> None:
    deaf = wire(line(0), *[b""] * 50, line(1))
    deaf.deaf = True
    assert received(Bench(deaf).until_s(4.0)) == line(0) + line(1)


def test_keys_are_inputs_of_the_source_s_own_time_and_quit_ends_it() -> None:
    bench = Bench(wire(line(0), line(1)))
    bench.source.read(0.1)
    bench.source.press("tare")
    bench.source.press("quit")
    bench.source.press("peak")
    tare, quit_key, *rest = (bench.source.read(0.1) for _ in range(4))
    assert tare == KeyPressed(tare.at_s, "tare")
    assert quit_key == KeyPressed(quit_key.at_s, "quit")
    assert all(isinstance(event, Ended) for event in rest)


def test_a_key_interrupts_a_long_read() -> None:
    silent = wire()
    bench = Bench(silent)
    bench.source.read(0.1)
    threading.Thread(target=bench.source.press, args=("next",)).start()
    begun = bench.clock()
    event = bench.source.read(3600.0)
    while not isinstance(event, KeyPressed):
        assert isinstance(event, LinkDown | LinkUp | TimePassed)
        event = bench.source.read(3600.0)
    assert event.name == "next"
    assert bench.clock() - begun < 3600.0


def test_a_second_of_a_simulated_meter_is_a_second_of_the_wind() -> None:
    """At three times real time the hands took their motor off before the coach had seen it held at launch torque."""
    clock = FakeClock()
    source = SerialSource("/dev/none", clock=clock, sleep=clock.sleep, start=lambda work: work(), speed=4.0)
    began_s = clock()
    while not isinstance(event := source.read(2.0), TimePassed):
        pass
    assert event.at_s == pytest.approx(4.0 * (clock() - began_s))
