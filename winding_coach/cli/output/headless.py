"""The coach without a screen: plain sentences or JSON lines on stdout, key names on stdin, signals close the wind."""

from __future__ import annotations

import json
import sys
import threading
from collections.abc import Callable
from typing import Any

from winding_coach.base.inputs import KEYS
from winding_coach.base.system import take_signals
from winding_coach.base.units import UnitSystem, show, show_energy
from winding_coach.base.wind_values import VALUES, told
from winding_coach.cli.output.lines_out import LinesOut
from winding_coach.coach.said import Alarm, LinkSaid, Phase, PhaseSaid, Prompt, ReadingSaid, Said, Summary, Unwound
from winding_coach.coach.wording import PHASE_WORDS
from winding_coach.simulator.hands import COMMANDS

BEFORE_YOU_START = (
    "Before you start: eye protection on, everyone near the motor; a break whips back. Bystanders out of the motor's"
    " line, children only beside their adult. Winder, hooks and stand within their ratings, for {peak} and more. Local"
    " rules and the adult in charge come first."
)
HAND_OVER = (
    "Care: hold the motor behind the O-ring, hook it to the strong part of the model; keep out of its line (common"
    " practice, no source)."
)
_LINK_WORDS = {"up": "The meter is connected", "down": "The meter is not connected", "silent": "The meter is silent"}


def sentence(said: Said, units: UnitSystem) -> str:
    """Return what the coach said as one plain sentence."""
    match said:
        case LinkSaid(_, state, port, reason):
            where = f" ({port})" if port else ""
            return f"{_LINK_WORDS[state]}{where}: {reason}." if reason else f"{_LINK_WORDS[state]}{where}."
        case PhaseSaid(_, phase):
            more = f" {HAND_OVER}" if phase is Phase.READY else ""
            return f"Now: {PHASE_WORDS[phase]}.{more}"
        case Prompt():
            return said.text
        case Alarm():
            return f"{said.level.upper()}: {said.text}" if said.active else f"Cleared: {said.text}"
        case ReadingSaid():
            return _reading(said, units)
        case Summary():
            return _summary(said, units)
        case Unwound():
            return unwound_words(said, units)


def _reading(reading: ReadingSaid, units: UnitSystem) -> str:
    torque = "not known" if reading.torque_Nm is None else show(reading.torque_Nm, "torque", units)
    rate = reading.torque_rate_Nm_per_s
    rising = "" if rate is None else f", {show(rate, 'torque', units)}/s"
    turns = "" if reading.turns is None else f", {reading.turns:.0f} turns ({reading.turns_source})"
    return f"Torque {torque}{rising}{turns}."


def unwound_words(found: Unwound, units: UnitSystem) -> str:
    """Return what letting a motor down has found, as one sentence."""
    if found.turns_left is None:
        return "Nothing was found: no wound motor was held still on the hook."
    doubt = f" ± {found.turns_left_sd:.0f}" if found.turns_left_sd is not None and found.turns_left_sd >= 0.5 else ""
    how = f"counted over {found.crank_turns:.1f} crank turns" if found.crank_turns is not None else "by its torque"
    gave = (
        ""
        if found.returned_J is None
        else f" It gave back {show_energy(found.returned_J, units, 2)} as it was let down."
    )
    kept = "" if found.trace is None else f" Saved as {found.trace}."
    return f"{found.turns_left:.0f}{doubt} turns were left, {how}.{gave}{kept}"


PLACED = ("energy_stored_J", "wait_s", "time_in_rate_band", "lost_lines")
TOLD_BY_THEMSELVES = tuple(value.name for value in VALUES if value.told and value.name not in PLACED)
"""Values of the table that have no place of their own in the sentence."""


def _summary(summary: Summary, units: UnitSystem) -> str:
    def torque(value_Nm: float | None) -> str:
        return "not known" if value_Nm is None else show(value_Nm, "torque", units)

    def turns(value: float | None) -> str:
        return "turns not counted" if value is None else f"{value:.0f} turns"

    words = {
        "done": "Done",
        "broken": "Broken",
        "gone": "Torque went, the motor broke or came off",
        "stopped": "Stopped",
        "lost": "The meter was lost",
    }
    parts = [f"{words[summary.outcome]}. Peak {torque(summary.peak_torque_Nm)}, {turns(summary.peak_turns)}"]
    if summary.launch_torque_Nm is not None:
        parts.append(f"launch {torque(summary.launch_torque_Nm)}, {turns(summary.launch_turns)}")
    parts += told(summary, units, "energy_stored_J", "wait_s")
    parts.append(f"{summary.stalls} stalls, {summary.stalled_s:.0f} s in all")
    parts += told(summary, units, "time_in_rate_band", *TOLD_BY_THEMSELVES, "lost_lines")
    kept = "" if summary.trace is None else f" Saved as {summary.trace}."
    return "; ".join(parts) + "." + kept


LEFT_OUT = "({count} sentences were left out while the output was not read.)"


def output(press: Callable[[str], None], *, as_json: bool, live: bool) -> LinesOut:
    """Return standard output for a wind; when it is closed, the wind is closed and saved."""
    return LinesOut(
        sys.stdout,
        drops_old=None if as_json or not live else lambda count: LEFT_OUT.format(count=count),
        closed=lambda: press("quit"),
        waits=not live,
    )


def teller(as_json: bool, units: UnitSystem, out: LinesOut) -> Callable[[Said], None]:
    """Return a function that writes what it is told, one line each, at once."""

    def tell(said: Said) -> None:
        line = json.dumps(said.as_json(), ensure_ascii=False) if as_json else sentence(said, units).replace("\n", " ")
        out.put(line, lasting=isinstance(said, Summary))

    return tell


class KeysFromStdin:
    """Lines on stdin are key presses by name; the end of stdin only means no more keys.

    hand: takes the commands of practised hands, None outside practice.
    """

    def __init__(self, press: Callable[[str], None], hand: Callable[[str], None] | None = None) -> None:
        self._press = press
        self._hand = hand
        threading.Thread(target=self._listen, name="keys from stdin", daemon=True).start()

    def _listen(self) -> None:
        for line in sys.stdin:
            name = line.strip()
            if name in KEYS:
                self._press(name)
            elif self._hand is not None and name in COMMANDS:
                self._hand(name)
            elif name:
                print(f"There is no key '{name[:20]!a}': press one of {', '.join(KEYS)}.", file=sys.stderr, flush=True)


def close_on_signals(press: Callable[[str], None]) -> None:
    """Let signals to end close the wind as the key `quit` does."""

    def handle(_number: int, _frame: Any) -> None:
        press("quit")

    take_signals(handle)
