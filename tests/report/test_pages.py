"""Pages are whole in themselves: escaped, without script, nothing from outside; pictures are what they say."""

from __future__ import annotations

import base64
import hashlib
import re
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from functools import lru_cache
from html.parser import HTMLParser

import pytest

from tests.review.recorded import NAMES, recorded
from tests.review.test_season import winds
from winding_coach.report import drawn
from winding_coach.report.batches import LearnedWind, batch_report
from winding_coach.report.drawn import NoPlots, inline_svg, picture_png, picture_svg
from winding_coach.report.html_page import page_html
from winding_coach.report.page import Report, Section, Table
from winding_coach.report.seasons import person_report, season_report, simulated_words
from winding_coach.report.winds import INVENTED, one_wind, several_winds, short_names
from winding_coach.review.season.table import season_of
from winding_coach.review.wind.record import WindRecord
from winding_coach.rubber.batch import Batch, fitted
from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.strength import Wound

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = '"><script>alert(1)</script><img src=x onerror=y>&amp;\x1b[31m\x00$x^2$'


def hostile() -> WindRecord:
    record = recorded("stalled-crank")
    motor = replace(record.header.motor or MotorFigures(0.3, 1.4e-3), name=HOSTILE)
    return replace(record, name=HOSTILE, header=replace(record.header, person=HOSTILE, motor=motor))


@lru_cache
def reports() -> tuple[Report, ...]:
    good = recorded("good-wind")
    pairs = [(replace(wind, person=HOSTILE), flight) for wind, flight in winds("x", 12, 0.01)]
    seasons = season_of(pairs)
    wound = (Wound(9.3, True), Wound(8.9, False), Wound(9.1, False))
    batch = Batch(HOSTILE, wound, (0.97, 1.02, 1.0))
    learned = [LearnedWind(HOSTILE, 0.97, wound[0]), LearnedWind("x", None, None), LearnedWind("y", 1.0, wound[1])]
    return (
        one_wind(hostile(), [], "metric"),
        one_wind(hostile(), [good], "inch"),
        one_wind(hostile(), [good, good], "metric"),
        several_winds([hostile(), good, hostile()], "metric"),
        person_report(seasons[0]),
        season_report(seasons),
        batch_report(batch, fitted(batch), learned, (2.2e-3, 2.21e-3, 2.19e-3), "metric"),
        batch_report(Batch("new"), fitted(Batch("new")), [], (), "inch", "Invented."),
        batch_report(Batch("new"), fitted(Batch("new")), [], (2.2e-3,), "inch"),
    )


class Seen(HTMLParser):
    """Collects tags, attributes and text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: list[tuple[str, str | None]] = []
        self.open: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes += attrs
        if tag not in ("meta", "!doctype"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_pages_hold_no_script_and_nothing_from_outside() -> None:
    for report in reports():
        page = page_html(report)
        seen = Seen(page)
        assert seen.open == []
        assert not seen.tags & {
            "script",
            "img",
            "link",
            "iframe",
            "object",
            "embed",
            "form",
            "base",
            "a",
            "foreignobject",
        }
        assert not [name for name, _ in seen.attributes if name.startswith("on") or name in ("src", "href", "style")]
        assert "http://" not in page
        assert "https://" not in page
        assert "url(" not in page
        assert "@import" not in page
        assert "\x1b" not in page
        assert "\x00" not in page
        assert "nan" not in re.sub("[^a-z ]", "", page.lower()).split()
        assert not re.search(r'"-?(nan|inf)|>-?(nan|inf)', page)


def test_the_policy_allows_the_page_s_own_style_and_no_more() -> None:
    page = page_html(reports()[0])
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)
    assert policy is not None
    assert style is not None
    hashed = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert policy[1].split("; ") == [
        "default-src 'none'",
        f"style-src 'sha256-{hashed}'",
        "base-uri 'none'",
        "form-action 'none'",
    ]
    # The policy stands before what it is about.
    assert page.index("Content-Security-Policy") < page.index("<style>")
    assert "prefers-color-scheme: dark" in style[1]
    assert "@media print" in style[1]


def test_pictures_have_words_for_who_cannot_see_them_and_ids_of_their_own() -> None:
    for report in reports():
        page = page_html(report)
        ids = re.findall(r' id="([^"]*)"', page)
        assert len(ids) == len(set(ids)) == 2 * len(report.charts)
        for number, chart in enumerate(report.charts, 1):
            root = ET.fromstring(inline_svg(chart, number))
            assert root.attrib["aria-labelledby"] == f"t{number} d{number}"
            assert [child.text for child in root if child.tag in ("title", "desc")][1]
            assert len(chart.about) > 20


def test_a_picture_is_one_svg_with_every_chart_in_it() -> None:
    for report in reports():
        root = ET.fromstring(picture_svg(report.title, report.charts, report.notes))
        assert len([child for child in root if child.tag == f"{SVG}g"]) == len(report.charts) + 1
        told = " ".join(text.text or "" for text in root.iter(f"{SVG}text"))
        assert report.warning in told
        assert not [e for e in root.iter() if e.tag in (f"{SVG}script", f"{SVG}image", f"{SVG}style")]
        wide, high = float(root.attrib["width"]), float(root.attrib["height"])
        assert root.attrib["viewBox"] == f"0 0 {wide:g} {high:g}"


def test_a_png_is_as_large_as_it_says() -> None:
    report = reports()[0]
    png = picture_png(report.title, report.charts)
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    root = ET.fromstring(picture_svg(report.title, report.charts))
    width, height = int.from_bytes(png[16:20]), int.from_bytes(png[20:24])
    assert (width, height) == (2 * float(root.attrib["width"]), 2 * float(root.attrib["height"]))


def test_a_png_without_its_extra_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "resvg_py", None)
    with pytest.raises(NoPlots, match=r"winding-coach\[plots\]"):
        picture_png("x", ())


def test_a_png_has_its_words_or_there_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """The renderer leaves out what it has no font for, and does not say so."""
    charts = reports()[0].charts
    assert picture_png("x", charts) != picture_png("y", charts)
    monkeypatch.setattr(drawn, "FACES", ("No Such Face",))
    with pytest.raises(NoPlots, match="needs a font"):
        picture_png("x", ())


def test_names_tell_winds_apart_by_what_differs() -> None:
    good = recorded("good-wind")
    pip = replace(good, header=replace(good.header, person="Pip"))
    assert short_names([good, pip]) == ["A Wren", "B Pip"]
    other = replace(good, header=replace(good.header, motor=MotorFigures(0.3, 1.4e-3, name="th-08")))
    assert short_names([good, other]) == ["A th-07", "B th-08"]
    assert short_names([good, good]) == ["A good-wind", "B good-wind"]
    assert short_names([recorded(name) for name in NAMES])[3] == "D meter-reset…"
    assert short_names([good] * 27)[26] == "A2 good-wind"


def test_every_wind_of_a_table_has_its_column() -> None:
    report = several_winds([recorded(name) for name in NAMES], "metric")
    tables = [section.table for section in report.sections if section.table is not None]
    assert len(tables) == 1
    assert len(tables[0].head) == 5
    assert all(len(row) == 5 for row in tables[0].rows)
    assert "nothing measures it" in report.sections[-1].remark


def test_what_was_simulated_says_so() -> None:
    assert "simulated" in one_wind(recorded("good-wind"), [], "metric").warning
    good = recorded("good-wind")
    invented = replace(good, header=replace(good.header, more={"invented": "all"}))
    assert one_wind(invented, [], "metric").warning == INVENTED
    assert several_winds([invented, invented], "metric").warning == INVENTED
    calibration = replace(good.settings.calibration, id="mine")
    real = replace(good, header=replace(good.header, more={}), settings=replace(good.settings, calibration=calibration))
    assert several_winds([real, good], "metric").warning.startswith("Some of these")
    assert several_winds([real, real], "metric").warning == ""
    assert several_winds([good, good], "metric").warning.startswith("These winds")
    assert simulated_words(0, 4) == ""
    assert simulated_words(4, 4).startswith("All of these")
    assert simulated_words(1, 4).startswith("1 of these 4")


def test_a_section_with_nothing_to_draw_has_no_empty_frame() -> None:
    page = page_html(Report("t", "", (Section("h", table=Table(("a", "b"), (("c", "d"),), figures=False)),)))
    assert 'class="charts"' not in page
    assert "<table>" in page
