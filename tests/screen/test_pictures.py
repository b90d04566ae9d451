"""The pictures of docs/guides/screen.md are those that the screen draws now."""

from __future__ import annotations

import importlib.util
from pathlib import Path

DOCS = Path(__file__).parents[2] / "docs"


def test_the_pictures_of_the_page_are_those_of_the_screen(update_golden: bool) -> None:
    spec = importlib.util.spec_from_file_location("screen_pictures", DOCS / "made_by" / "screen.py")
    assert spec is not None
    assert spec.loader is not None
    drawing = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(drawing)
    page = (DOCS / "guides" / "screen.md").read_text(encoding="utf-8")
    for name, picture in drawing.pictures().items():
        if update_golden:
            (DOCS / "pictures" / name).write_text(picture, encoding="utf-8")
        assert (DOCS / "pictures" / name).read_text(encoding="utf-8") == picture
        assert f"(../pictures/{name})" in page
