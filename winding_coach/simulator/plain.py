"""Lines of the protocol in, one number a line out: a simulated meter as thousands of load-cell sketches print."""

from __future__ import annotations

from winding_coach.meter.frames import FrameParser, Sample


class PlainPrinter:
    """`print` takes what a simulated meter sends, and returns what such a sketch would print instead."""

    def __init__(self) -> None:
        self._parser = FrameParser()

    def print(self, data: bytes) -> bytes:
        """Return the counts of the lines that these bytes complete; of a line without a reading nothing."""
        frames = self._parser.feed(data)
        return b"".join(b"%d\r\n" % f.raw for f in frames if isinstance(f, Sample) and f.raw is not None)
