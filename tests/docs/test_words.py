"""Words that were retired do not come back in what users read: the program's sentences, its help and the pages.

What each means and which word is used instead is in `docs/reference/glossary.md`.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from winding_coach.cli import COMMANDS, MODULES

TOP = Path(__file__).parents[2]
PROGRAM = TOP / "winding_coach"
PAGES = (
    *(page for page in sorted((TOP / "docs").rglob("*.md")) if page.name not in ("reference.md", "benchmarks.md")),
    TOP / "README.md",
    TOP / "recordings" / "README.md",
)
HELP = {MODULES.get(name, name) for name in COMMANDS} | {"calibrate", "conform", "emulate"}
RETIRED = (
    (r"\b(wrapper|tag)\b", "label", "Write it on the wrapper."),
    (r"\bturns? of the crank\b", "crank turn", "Back off three turns of the crank."),
    (r"\bcrank (on|stood|stands)\b", "keep cranking; stopped", "Step in; crank on."),
    (r"\b(goes on|going on)\b", "continues", "Coaching goes on."),
    (r"\b(lines|turns|times|pulses|pictures|revolutions|readings) a (second|turn)\b", "/s, per", "80 lines a second"),
    (r"\btells\b|\bis told so\b", "shows, says", "A meter that tells nothing: stop."),
    (r"(?<!there )\b(is|are) none\b", "is not one, does not count", "Reading glasses are none."),
    (r"\bmend(s|ed|ing)?\b", "fix", "Nothing to mend."),
    (r"\banew\b", "again", "The index made anew."),
    (r"\b(some|no)body\b", "someone, no one", "Somebody is at the meter."),
    (r"\bheld against\b", "compared with", "A wind held against earlier ones."),
    (r"\bon the mean\b", "on average", "2 % below on the mean"),
    (r"\broot mean square\b", "rms", "5 % root mean square"),
    (r"\bmoderate\b", "good", "The rate is moderate."),
    (r"\bfor who\b|\bwho winds\b", "a noun", "For who winds"),
    (r"\bbroken off\b", "interrupted", "It resumes where it was broken off."),
    (r"\bfor ever\b", "for good", "It waits for ever."),
    (r"\b(cannot tell|fit for use|stands still)\b", "unknown; OK; stopped", "The crank stands still."),
    (r"\bOver: ", "Cleared:", "Over: Target torque in 6 seconds."),
)
"""Pattern, what is said instead, and a sentence that must be found."""
ALLOWED = ("works, mend, without",)
"""A word of an interface that keeps its value."""


def _documentation(tree: ast.Module) -> set[ast.AST]:
    """Docstrings of the module and all in it, attributes' too."""
    found: set[ast.AST] = set()
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        for statement in body if isinstance(body, list) else []:
            if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
                found.add(statement.value)
    return found


def sentences() -> Iterator[tuple[str, str]]:
    """Every text of the program with a space in it, and where it is; the docstrings that open a command's help."""
    for path in sorted(PROGRAM.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        hidden = _documentation(tree)
        if path.parent.name == "commands" and path.stem in HELP:
            yield f"{path.name}:1", ast.get_docstring(tree) or ""
        for node in ast.walk(tree):
            if not isinstance(node, ast.Constant) or not isinstance(node.value, str) or node in hidden:
                continue
            if " " in node.value and "CREATE TABLE" not in node.value:
                yield f"{path.name}:{node.lineno}", node.value
    page = PROGRAM / "screen" / "page.html"
    text = page.read_text(encoding="utf-8")
    outside = re.sub(r"<(script|style)>.*?</\1>|<[^>]*>", " ", text, flags=re.DOTALL)
    yield page.name, " ".join([outside, *re.findall(r'"[^"\n]*"', text)])


def retired_in(text: str) -> list[str]:
    """Return what was retired and is in a text, with what to say instead."""
    plain = " ".join(text.split())
    for kept in ALLOWED:
        plain = plain.replace(kept, "")
    hits = ((re.search(pattern, plain, re.IGNORECASE), instead) for pattern, instead, _ in RETIRED)
    return [
        f"'{hit[0]}' (say: {instead}): …{plain[max(hit.start() - 40, 0) : hit.end() + 40]}…"
        for hit, instead in hits
        if hit
    ]


@pytest.mark.parametrize(("pattern", "instead", "sentence"), RETIRED)
def test_each_retired_word_is_found(pattern: str, instead: str, sentence: str) -> None:
    assert re.search(pattern, sentence, re.IGNORECASE)
    assert retired_in(sentence)
    assert not re.search(pattern, instead, re.IGNORECASE)


def test_the_program_says_no_retired_word() -> None:
    found = [f"{where}: {words}" for where, text in sentences() for words in retired_in(text)]
    assert not found, "\n".join(found)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_no_page_says_a_retired_word(page: Path) -> None:
    text = re.sub(r"`[^`\n]*`", "", re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL))
    assert not retired_in(text), "\n".join(retired_in(text))
