"""Who has practised what, and how well: one small JSON file in the home, whole or not at all, for the user's eyes only.

A spoilt file is said and never overwritten. People go by nickname; nothing else is kept of them.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.base.private import write_private

PROGRESS_FILE = "practice.json"
FORMAT, VERSION = "winding-coach practice", 1
NOBODY = "you"
"""The nickname of who gives none."""
LONGEST_NAME = 40


@dataclass(frozen=True, slots=True)
class Record:
    """One person in one lesson. best, last: scores, 0-100. best_seed: which seed gave the best."""

    tries: int
    best: int
    last: int
    best_seed: int


def nickname(typed: str | None) -> str:
    """Return the nickname that progress is kept under.

    Raises:
        UsageProblem: it cannot be one.
    """
    name = NOBODY if typed is None else " ".join(typed.split())
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise UsageProblem(f"--person: type a nickname of 1 to {LONGEST_NAME} printable characters.")
    return name


@dataclass
class Progress:
    """The file's content. `noted` gives a record by person and lesson; `note` adds a try; `save` writes."""

    path: Path
    content: dict[str, Any] = field(default_factory=dict)

    def noted(self, person: str, lesson: str) -> Record | None:
        """Return what a person has done in a lesson, None if nothing yet."""
        kept = self.content.get("people", {}).get(person, {}).get(lesson)
        return None if kept is None else Record(kept["tries"], kept["best"], kept["last"], kept["best_seed"])

    def note(self, person: str, lesson: str, score: int, seed: int) -> Record:
        """Add a try and return the record with it."""
        before = self.noted(person, lesson)
        if before is None:
            now = Record(1, score, score, seed)
        elif score > before.best:
            now = Record(before.tries + 1, score, score, seed)
        else:
            now = Record(before.tries + 1, before.best, score, before.best_seed)
        lessons = self.content.setdefault("people", {}).setdefault(person, {})
        kept = {"tries": now.tries, "best": now.best, "last": now.last, "best_seed": now.best_seed}
        lessons[lesson] = lessons.get(lesson, {}) | kept
        return now

    def save(self) -> None:
        """Write the file whole or not at all.

        Raises:
            Problem: it cannot be written.
        """
        content = {"format": FORMAT, "version": VERSION} | self.content
        text = json.dumps(content, ensure_ascii=False, indent=1) + "\n"
        try:
            write_private(self.path, text)
        except OSError as error:
            raise Problem(
                f"Progress cannot be kept as '{self.path}' ({error.strerror}): name another --home."
            ) from None


def load_progress(folder: Path) -> Progress:
    """Return the progress kept in a home's folder; nothing yet is no mistake.

    Raises:
        Problem: there is a file that is no progress; it is left as it is.
    """
    path = folder / PROGRESS_FILE
    try:
        with path.open(encoding="utf-8") as opened:
            content = json.loads(opened.read(2_000_000))
    except (FileNotFoundError, NotADirectoryError):
        return Progress(path)
    except OSError as error:
        raise Problem(f"The progress '{path}' cannot be read ({error.strerror}): check its permissions.") from None
    except (ValueError, RecursionError):
        content = None
    if not _is_progress(content):
        raise Problem(f"The progress '{path}' is damaged: fix it or move it away. Until then nothing is added to it.")
    return Progress(path, content)


def _is_progress(content: object) -> bool:
    if not isinstance(content, dict) or content.get("format") != FORMAT or content.get("version") != VERSION:
        return False
    people = content.get("people", {})
    return isinstance(people, dict) and all(
        isinstance(lessons, dict) and all(_is_record(kept) for kept in lessons.values()) for lessons in people.values()
    )


def _is_record(kept: object) -> bool:
    if not isinstance(kept, dict):
        return False
    figures = [kept.get(name) for name in ("tries", "best", "last", "best_seed")]
    return all(type(figure) is int and figure >= 0 for figure in figures)
