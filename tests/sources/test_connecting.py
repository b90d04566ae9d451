"""Which port is taken for the meter: by name, by an answer, by the identity of a meter that was open before."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.sources.helpers import HELLO, FakeClock, FakeWire, Pty, eventually, line, pty
from winding_coach.live.sources.connecting import (
    ANSWER_WITHIN_S,
    Attempt,
    Found,
    Known,
    NotFound,
    Wanted,
    candidates,
    connect,
    in_thread,
)
from winding_coach.live.sources.ports import Port
from winding_coach.live.sources.wires import Wire, open_wire
from winding_coach.meter.frames import Hello, encode_hello

METER = Port("/dev/ttyACM0", "board", (0x2341, 0x43, "85"), "1-2")
OTHER = Port("/dev/ttyACM1", "phone", (0x18D1, 0x4EE7, "p1"), "1-3")
PHANTOM = Port("/dev/ttyS0")
TWIN_A = Port("/dev/ttyUSB0", "", (0x1A86, 0x7523, None), "1-1")
TWIN_B = Port("/dev/ttyUSB1", "", (0x1A86, 0x7523, None), "1-4")


class Desk:
    """Ports that are plugged in, and what is behind each name."""

    def __init__(self, ports: list[Port], wires: dict[str, FakeWire | Exception], clock: FakeClock) -> None:
        self.ports, self.wires, self.clock = ports, wires, clock
        self.opened: list[str] = []

    def open_wire(self, name: str) -> Wire:
        self.opened.append(name)
        behind = self.wires[name]
        if isinstance(behind, Exception):
            raise behind
        return behind

    def connect(self, wanted: Wanted, stopped: Callable[[], bool] = lambda: False) -> Found | NotFound:
        return connect(
            wanted, open_wire=self.open_wire, list_ports=lambda: self.ports, clock=self.clock, stopped=stopped
        )


def test_auto_takes_the_port_that_answers_and_keeps_what_it_said() -> None:
    clock = FakeClock()
    phone, meter = FakeWire(clock, [b"AT\r\n"]), FakeWire(clock, [b"", HELLO + line(0)])
    desk = Desk([OTHER, METER, PHANTOM], {OTHER.device: phone, METER.device: meter}, clock)
    found = desk.connect(Wanted("auto"))
    assert found == Found(meter, METER.device, Known((0x2341, 0x43, "85"), "1-2", frozenset()), HELLO + line(0))
    assert (phone.closed, meter.closed) == (1, 0)
    assert desk.opened == [OTHER.device, METER.device], "a phantom port is left alone while USB ports are there"


def test_a_meter_that_never_says_hello_is_taken_for_its_lines() -> None:
    clock = FakeClock()
    begun = clock()
    meter = FakeWire(clock, [line(0)])
    found = Desk([METER], {METER.device: meter}, clock).connect(Wanted("auto"))
    assert isinstance(found, Found)
    assert found.heard == line(0)
    assert clock() - begun >= ANSWER_WITHIN_S
    assert len(meter.sent) == 6, "asked each half second: a board's loader swallows what comes while it boots"
    assert set(meter.sent) == {b"?"}


def test_auto_says_of_each_port_why_not() -> None:
    clock = FakeClock()
    wires: dict[str, FakeWire | Exception] = {
        METER.device: PermissionError(13, "no"),
        OTHER.device: FakeWire(clock, [b"hello\r\n"]),
        TWIN_A.device: FakeWire(clock, [encode_hello(Hello(2))]),
        TWIN_B.device: FakeWire(clock, [OSError(5, "gone")]),
    }
    found = Desk([METER, OTHER, TWIN_A, TWIN_B], wires, clock).connect(Wanted("auto"))
    assert isinstance(found, NotFound)
    assert found.reason == (
        "no permission to open /dev/ttyACM0: join the group dialout, then log in again; "
        "/dev/ttyACM1 speaks something else: it is no meter, or not at this speed; "
        "/dev/ttyUSB0 speaks protocol 2: this program knows 1; "
        "/dev/ttyUSB1 went away while it was asked"
    )
    assert not found.absent


@pytest.mark.parametrize(
    ("gives", "reason"),
    [
        ([], "sends nothing, even when asked"),
        ([b"$GPGGA,1,2*47\r\n"] * 90, "speaks something else: it is no meter, or not at this speed"),
        ([line(0)[:-3] + b"0\r\n"] * 90, "speaks something else: it is no meter, or not at this speed"),
        ([b"\x80\xff\x00" * 30] * 90, "speaks something else: it is no meter, or not at this speed"),
    ],
)
def test_a_stranger_is_given_up_and_the_next_port_tried(gives: list[bytes | Exception], reason: str) -> None:
    clock = FakeClock()
    begun = clock()
    stranger, meter = FakeWire(clock, gives), FakeWire(clock, [HELLO])
    alone = Desk([OTHER], {OTHER.device: stranger}, clock).connect(Wanted("auto"))
    assert alone == NotFound(f"{OTHER.device} {reason}", absent=False)
    assert ANSWER_WITHIN_S <= clock() - begun < ANSWER_WITHIN_S + 0.1
    stranger.gives = list(gives)
    beside = Desk([OTHER, METER], {OTHER.device: stranger, METER.device: meter}, clock).connect(Wanted("auto"))
    assert isinstance(beside, Found)
    assert beside.wire is meter
    assert stranger.closed == 2


def test_ports_without_identity_are_asked_where_there_are_no_others() -> None:
    clock = FakeClock()
    found = Desk([PHANTOM], {PHANTOM.device: FakeWire(clock, [HELLO])}, clock).connect(Wanted("auto"))
    assert isinstance(found, Found)
    assert found.known is None
    nothing = Desk([], {}, clock).connect(Wanted("auto"))
    assert nothing == NotFound("no meter is plugged in: connect it by USB", absent=True)


def test_a_named_port_is_opened_as_it_is_and_asked_once() -> None:
    clock = FakeClock()
    wire = FakeWire(clock)
    wire.deaf = True
    found = Desk([METER, OTHER], {OTHER.device: wire}, clock).connect(Wanted(OTHER.device))
    assert isinstance(found, Found)
    assert found.known is not None
    assert found.known.usb == OTHER.usb
    assert wire.sent == [b"?"], "a port that takes nothing may still speak"


def test_a_url_needs_no_list_of_ports_and_a_list_that_fails_is_an_empty_one() -> None:
    clock = FakeClock()
    wire = FakeWire(clock)

    def no_list() -> list[Port]:
        raise OSError("no list here")

    for name in ("socket://127.0.0.1:1", "/dev/by-hand"):
        found = connect(Wanted(name), open_wire=lambda _: wire, list_ports=no_list, clock=clock, stopped=lambda: False)
        assert found == Found(wire, name, None)


def test_a_meter_is_known_again_under_another_name() -> None:
    known = Known((0x2341, 0x43, "85"), "1-2", frozenset())
    renamed = Port("/dev/ttyACM7", "board", METER.usb, "2-1")
    for named in ("auto", METER.device):
        assert candidates(Wanted(named, known), [OTHER, renamed]) == ["/dev/ttyACM7"]


def test_another_device_under_the_meter_s_name_is_not_taken_for_it() -> None:
    known = Known((0x2341, 0x43, "85"), "1-2", frozenset())
    usurper = Port(METER.device, "phone", OTHER.usb, "1-3")
    told = candidates(Wanted(METER.device, known), [usurper])
    assert told == NotFound("another device is at /dev/ttyACM0 now: plug the meter in", absent=False)
    assert candidates(Wanted(METER.device, known), []) == [METER.device], "the system says best that it is not there"
    told = candidates(Wanted("auto", known), [usurper])
    assert isinstance(told, NotFound), "in mid-wind another meter, with another calibration, is none"


def test_of_two_meters_without_serial_numbers_the_other_is_not_taken() -> None:
    clock = FakeClock()
    desk = Desk([TWIN_A, TWIN_B], {TWIN_A.device: FakeWire(clock, [HELLO])}, clock)
    found = desk.connect(Wanted("auto"))
    assert isinstance(found, Found)
    known = found.known
    assert known is not None
    assert isinstance(candidates(Wanted("auto", known), [TWIN_B]), NotFound)
    renamed = Port("/dev/ttyUSB0", "", TWIN_B.usb, "1-4")
    assert isinstance(candidates(Wanted("auto", known), [renamed]), NotFound), "nor when it takes over the name"
    back = Port("/dev/ttyUSB5", "", TWIN_A.usb, "1-1")
    assert candidates(Wanted("auto", known), [TWIN_B, back]) == ["/dev/ttyUSB5"]
    elsewhere = Port("/dev/ttyUSB5", "", TWIN_A.usb, "3-1")
    assert candidates(Wanted("auto", known), [TWIN_B, elsewhere]) == ["/dev/ttyUSB5"]


def test_a_board_with_two_ports_is_known_again_by_the_right_one() -> None:
    first = Port("/dev/ttyACM0", "", (1, 2, "x"), "1-2:1.0")
    second = Port("/dev/ttyACM1", "", (1, 2, "x"), "1-2:1.2")
    known = Known((1, 2, "x"), "1-2:1.2", frozenset({"1-2:1.0"}))
    assert candidates(Wanted("auto", known), [first, second]) == ["/dev/ttyACM1"]


def test_a_link_to_a_device_is_known_by_the_device(tmp_path: Path) -> None:
    clock = FakeClock()
    device = tmp_path / "ttyACM3"
    device.write_text("")
    by_id = tmp_path / "by-id"
    by_id.symlink_to(device)
    listed = Port(str(device), "", (1, 2, "x"))
    found = Desk([listed], {str(by_id): FakeWire(clock)}, clock).connect(Wanted(str(by_id)))
    assert isinstance(found, Found)
    assert found.known is not None
    assert found.known.usb == (1, 2, "x")


@contextmanager
def stranger_and_meter() -> Iterator[tuple[Pty, Pty]]:
    with pty() as stranger, pty() as meter:
        stop = threading.Event()

        def play() -> None:
            while not stop.wait(0.005):
                if b"?" in meter.received():
                    meter.send(HELLO)
                if stranger.received():
                    stranger.send(b"ERROR\r\n")

        playing = threading.Thread(target=play)
        playing.start()
        try:
            yield stranger, meter
        finally:
            stop.set()
            playing.join()


def test_auto_on_real_ports_asks_the_stranger_and_takes_the_meter() -> None:
    clock = FakeClock()

    def open_counted(name: str) -> Wire:
        clock.now_s += 1.0
        return open_wire(name)

    with stranger_and_meter() as (stranger, meter):
        looks = iter(range(10_000))

        def ticking() -> float:
            # Ten looks are three seconds for the stranger: nobody waits for them.
            return 0.35 * next(looks)

        found = connect(
            Wanted("auto"),
            open_wire=open_counted,
            list_ports=lambda: [Port(stranger.device, usb=(1, 1, "s")), Port(meter.device, usb=(2, 2, "m"))],
            clock=ticking,
            stopped=lambda: False,
        )
        assert isinstance(found, Found), found
        assert found.name == meter.device
        assert HELLO in found.heard
        found.wire.close()


def test_an_attempt_in_a_thread_gives_its_result() -> None:
    attempt = Attempt(lambda _: NotFound("nothing", absent=True), in_thread)
    eventually(lambda: attempt.result is not None)
    assert attempt.result == NotFound("nothing", absent=True)


@pytest.mark.parametrize("too_late", [False, True])
def test_what_an_abandoned_attempt_opens_is_closed(too_late: bool) -> None:
    wire = FakeWire(FakeClock())
    go_on, done = threading.Event(), threading.Event()
    told: list[bool] = []

    def work(stopped: Callable[[], bool]) -> Found:
        assert go_on.wait(10)
        told.append(stopped())
        return Found(wire, "x", None)

    def start(run: Callable[[], None]) -> None:
        def then_done() -> None:
            run()
            done.set()

        in_thread(then_done)

    attempt = Attempt(work, start)
    if too_late:
        go_on.set()
        assert done.wait(10)
    attempt.abandon()
    go_on.set()
    assert done.wait(10)
    assert wire.closed == 1
    assert told == [not too_late]


def test_asking_ends_at_once_when_it_is_wanted_no_more() -> None:
    clock = FakeClock()
    begun = clock()
    wires: dict[str, FakeWire | Exception] = {METER.device: FakeWire(clock), OTHER.device: FakeWire(clock)}
    desk = Desk([METER, OTHER], wires, clock)
    found = desk.connect(Wanted("auto"), stopped=lambda: clock() > begun + 0.2)
    assert isinstance(found, NotFound)
    assert desk.opened == [METER.device]
    assert clock() - begun < 0.5
