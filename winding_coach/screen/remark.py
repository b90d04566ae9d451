"""What stands beside the coach's own words: the lesson that is being taken, and what came of it. Values only."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Remark:
    """line: for the row of alarms while there is none. notice: lines in the chart's place. word: once it is over, in
    block letters instead of the wind's outcome; the line is then what to do."""

    line: str = ""
    notice: tuple[str, ...] = ()
    word: str = ""
