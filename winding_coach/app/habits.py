"""What the coach has learnt of each person: the last winds' habits in one small file of the home, for its user alone.

People go by nickname. A spoilt file is as good as none: nothing in it is typed, and the next wind writes it again.
"""

from __future__ import annotations

import contextlib
import json
from pathlib import Path

from winding_coach.base.private import write_private
from winding_coach.coach.person import UNKNOWN, Habits, habits_from, learnt_from

HABITS_FILE = "habits.json"
FORMAT, VERSION = "winding-coach habits", 1
KEPT = 5
"""Winds of a person; each older one counts half as much as the next."""
NOBODY = "you"


def _people(folder: Path) -> dict[str, list[object]]:
    try:
        found = json.loads((folder / HABITS_FILE).read_text(encoding="utf-8"))
        right = isinstance(found, dict) and found.get("format") == FORMAT and found.get("version") == VERSION
        people = found.get("people") if right else None
    except (OSError, ValueError, RecursionError):
        return {}
    return {name: kept for name, kept in people.items() if isinstance(kept, list)} if isinstance(people, dict) else {}


def habits_of(folder: Path, person: str | None) -> Habits:
    """Return what the last winds showed of a person, nothing known if there are none."""
    kept = _people(folder).get(person or NOBODY, [])
    return learnt_from([habits_from(one) for one in kept]) if kept else UNKNOWN


def keep_habits(folder: Path, person: str | None, habits: Habits) -> None:
    """Add a wind's. A file that cannot be written is no reason to lose a wind: it is left."""
    people = _people(folder)
    people[person or NOBODY] = [*people.get(person or NOBODY, []), habits.as_json()][-KEPT:]
    with contextlib.suppress(OSError):
        text = json.dumps({"format": FORMAT, "version": VERSION, "people": people}, ensure_ascii=False, indent=1)
        write_private(folder / HABITS_FILE, text + "\n")
