"""A simulated meter that prints one number a line, as sketches for load cells do."""

from __future__ import annotations

from tests.scenario import wind
from winding_coach.base.inputs import BytesArrived
from winding_coach.meter.frames import FrameParser, Sample
from winding_coach.simulator.plain import PlainPrinter


def test_each_reading_is_a_line_of_its_own_whatever_pieces_the_bytes_come_in() -> None:
    data = b"".join(event.data for event in wind("good", 3)[:1500] if isinstance(event, BytesArrived))
    samples = [frame for frame in FrameParser().feed(data) if isinstance(frame, Sample)]
    whole, parted = PlainPrinter().print(data), b""
    printer = PlainPrinter()
    for at in range(0, len(data), 7):
        parted += printer.print(data[at : at + 7])
    assert whole == parted
    assert [int(line) for line in whole.splitlines()] == [one.raw for one in samples if one.raw is not None]
    assert len(samples) > 500


def test_lines_without_a_reading_print_nothing() -> None:
    assert PlainPrinter().print(b"$H,1,board=uno*0000\r\nrubbish\r\n") == b""
