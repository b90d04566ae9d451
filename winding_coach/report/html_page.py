"""A report in, one HTML page out: whole in itself, no script, nothing from outside, light and dark, printable."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator

from winding_coach.report.drawn import inline_svg
from winding_coach.report.inks import DARK, LIGHT, variables
from winding_coach.report.page import Report, Section, Table
from winding_coach.report.svg import clean

STYLE = f"""
:root {{ color-scheme: light dark; {variables(LIGHT)} }}
@media (prefers-color-scheme: dark) {{ :root {{ {variables(DARK)} }} }}
@media print {{ :root {{ color-scheme: light; {variables(LIGHT)} }} }}
* {{ box-sizing: border-box }}
body {{ margin: 0 auto; padding: 1rem 1rem 3rem; max-width: 66rem; background: var(--ground); color: var(--ink);
  font: 1rem/1.5 system-ui, "Helvetica Neue", Helvetica, Arial, sans-serif; overflow-wrap: anywhere }}
h1 {{ font-size: 1.6rem; line-height: 1.2; margin: .5rem 0 .3rem }}
h2 {{ font-size: 1.2rem; line-height: 1.3; margin: 2rem 0 .5rem; padding-top: .6rem;
  border-top: 1px solid var(--grid) }}
p, li {{ max-width: 44rem; margin: .4rem 0 }}
.lead {{ color: var(--dim) }}
.warning {{ border-left: .3rem solid var(--warning); padding: .4rem .8rem; background: var(--panel) }}
.charts {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 26rem), 1fr)); gap: 1rem;
  margin: 1rem 0 0 }}
.charts svg {{ width: 100%; max-width: 36rem; height: auto; display: block }}
.legend, .remark, footer {{ color: var(--dim); font-size: .9rem }}
.scroll {{ overflow-x: auto; margin: .8rem 0 }}
table {{ border-collapse: collapse; font-variant-numeric: tabular-nums }}
th, td {{ padding: .2rem .9rem .2rem 0; border-bottom: 1px solid var(--grid); text-align: left; vertical-align: top;
  overflow-wrap: normal }}
thead th {{ border-bottom: 2px solid var(--dim) }}
tbody th {{ font-weight: normal; min-width: 8.5rem }}
.figures td {{ white-space: nowrap }}
.figures td, .figures thead th + th {{ text-align: right; padding: .2rem 0 .2rem 1.1rem; min-width: 4rem }}
footer {{ margin-top: 2rem; border-top: 1px solid var(--grid); padding-top: .6rem }}
@page {{ margin: 14mm }}
@media print {{
  body {{ padding: 0; font-size: 10pt; max-width: none }}
  h2 {{ break-after: avoid }}
  .charts {{ grid-template-columns: 1fr 1fr; gap: 4mm }}
  .charts svg, tr, li, .warning {{ break-inside: avoid }}
  .scroll {{ overflow: visible }}
}}
"""


def page_html(report: Report) -> str:
    """Return the page. Every text in it is escaped; its policy allows nothing but its own style."""
    hashed = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{hashed}'; base-uri 'none'; form-action 'none'"
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="referrer" content="no-referrer">',
            f"<title>{clean(report.title)}</title>",
            f"<style>{STYLE}</style>",
            "</head>",
            "<body>",
            "<main>",
            f"<h1>{clean(report.title)}</h1>",
            *_maybe("p", report.lead, "lead"),
            *_maybe("p", report.warning, "warning"),
            *_sections(report),
            "</main>",
            "<footer>",
            *(line for text in report.foot for line in _maybe("p", text)),
            "</footer>",
            "</body>",
            "</html>\n",
        ]
    )


def _maybe(tag: str, text: str, name: str = "") -> Iterator[str]:
    if text:
        yield f'<{tag} class="{name}">{clean(text)}</{tag}>' if name else f"<{tag}>{clean(text)}</{tag}>"


def _sections(report: Report) -> Iterator[str]:
    number = 0
    for section in report.sections:
        yield "<section>"
        yield from _maybe("h2", section.heading)
        for text in section.paragraphs:
            yield from _maybe("p", text)
        shown = [chart for chart in section.charts if not chart.empty]
        if shown:
            yield '<div class="charts">'
            for chart in shown:
                number += 1
                yield inline_svg(chart, number)
            yield "</div>"
            yield from _maybe("p", section.legend, "legend")
        yield from _rest(section)
        yield "</section>"


def _rest(section: Section) -> Iterator[str]:
    if section.table is not None:
        yield from _table(section.table, section.heading)
    if section.items:
        yield "<ul>"
        for item in section.items:
            yield from _maybe("li", item)
        yield "</ul>"
    yield from _maybe("p", section.remark, "remark")


def _table(table: Table, name: str) -> Iterator[str]:
    # A wide table scrolls by itself; the keyboard reaches it.
    yield f'<div class="scroll" role="region" tabindex="0" aria-label="{clean(name)}">'
    yield '<table class="figures">' if table.figures else "<table>"
    heads = "".join(f'<th scope="col">{clean(cell)}</th>' for cell in table.head)
    yield f"<thead><tr>{heads}</tr></thead><tbody>"
    for first, *rest in table.rows:
        cells = "".join(f"<td>{clean(cell)}</td>" for cell in rest)
        yield f'<tr><th scope="row">{clean(first)}</th>{cells}</tr>'
    yield "</tbody></table></div>"
