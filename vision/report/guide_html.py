"""A guide as one HTML page with nothing outside it, that reads on paper and on a phone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from vision.guide import Guide
from vision.report.guide_rows import (
    KEY,
    NO,
    OPEN,
    RATES,
    YES,
    hard_pairs,
    heading,
    lever_words,
    rates_rows,
    table,
    tender_words,
)
from vision.report.markup import cards, document
from vision.report.words import CAUTIONS, cue_words

# Signs beside the words, so that a column can be scanned; never colour alone.
SIGNS = {YES: "●", NO: "○"}
MADE = '<td class="made"><span aria-hidden="true">●</span><span class="hidden">made</span></td>'
STYLE = """
:root { --made: #1d5b79; }
@media (prefers-color-scheme: dark) { :root { --made: #7cc4e8; } }
body { max-width: 64rem; }
h1 { font-size: 1.5rem; line-height: 1.2; margin: .4rem 0; }
.sign { display: inline-block; width: 1.2em; color: var(--made); }
.scroll { overflow-x: auto; }
.scroll:focus-visible { outline: 3px solid var(--made); outline-offset: 2px; }
.chart th, .chart td { padding: .15rem; text-align: center; border-left: 1px solid var(--line);
  overflow-wrap: normal; font-weight: 400; }
.chart th:first-child { position: sticky; left: 0; background: Canvas; text-align: left;
  font-weight: 700; border-left: 0; padding-right: .5rem; }
.chart .made { background: var(--made); color: Canvas; }
.chart + .chart { margin-top: 1rem; }
.hidden { position: absolute; clip-path: inset(50%); height: 1px; width: 1px; overflow: hidden; }
.shares td + td { text-align: right; padding-right: 0; }
.short { display: none; }
dt { font-weight: 700; margin-top: .6rem; }
dd { margin-left: 1rem; }
@media (max-width: 40rem) {
  .full { display: none; }
  .short { display: inline; }
}
@media print {
  .scroll { overflow: visible; }
  .chart { font-size: .65rem; }
  .chart th:first-child { position: static; max-width: 6rem; overflow-wrap: anywhere; }
  .chart tr { break-inside: avoid; }
  .chart .made { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
}
"""
# Years side by side in one part of the chart; as many as fit the width of A4, in print.
PART_YEARS = 20


def guide_page(guide: Guide) -> str:
    """One page that shows a guide; no script, no picture, no link.

    Parameters
    ----------
    guide : Guide

    Returns
    -------
    str
        HTML; all text of the guide is escaped.
    """
    title, about = heading(guide)
    heads, rows = table(guide)
    parts = [
        f"<h1>{escape(title)}</h1>",
        f'<p class="quiet">{escape(about)}</p>',
        f'<p class="quiet">{escape(lever_words(guide))}</p>',
        "<h2>Variations</h2>",
        _cards(heads, rows),
        f'<p class="quiet">{escape(KEY)}</p>',
        "<h2>Years</h2>",
        _years(guide),
        _terms("Tenders", [(t.id, [tender_words(t)]) for t in guide.tenders]),
        _terms(
            "Checks by hand",
            [(cue_words(c.id), [c.question, c.instruction, c.caution]) for c in guide.checks],
        ),
        _terms("Notes", [(v.id, [v.text]) for v in guide.variations if v.text]),
        _list("Hard to tell apart", hard_pairs(guide)),
        _shares(guide),
        _list("Before you touch an engine", CAUTIONS if guide.checks else ()),
        f'<p class="quiet">guide {escape(guide.name)} {escape(guide.version)}</p>',
    ]
    body = "<main>\n" + "\n".join(part for part in parts if part) + "\n</main>"
    return document(f"{title} – telltale", body, style=STYLE)


def _cards(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    cells = [
        (
            escape(row[0]),
            *(_cell(head, text) for head, text in zip(heads[1:], row[1:], strict=True)),
        )
        for row in rows
    ]
    return cards(heads, cells)


def _cell(head: str, text: str) -> str:
    mark = SIGNS.get(text, SIGNS[YES] if head == "stripe" and text != OPEN else "")
    sign = f'<span class="sign" aria-hidden="true">{mark}</span>' if mark else ""
    return sign + escape(text)


def _years(guide: Guide) -> str:
    every = range(guide.years[0], guide.years[-1] + 1)
    count = -(-len(every) // PART_YEARS)
    size = -(-len(every) // count)
    parts = [every[start : start + size] for start in range(0, len(every), size)]
    # Focusable, so that the arrow keys can scroll what is wider than the window.
    return (
        '<div class="scroll" tabindex="0" role="region" aria-label="Years of each variation">\n'
        + "\n".join(_chart(guide, part) for part in parts)
        + "\n</div>"
    )


def _chart(guide: Guide, part: range) -> str:
    """One part of the years, with a row for each variation."""
    head = "".join(
        f'<th scope="col"><span class="full">{year}</span>'
        f'<span class="short" aria-label="{year}">{year % 100:02d}</span></th>'
        for year in part
    )
    rows = []
    for variation in guide.variations:
        cells = (MADE if year in variation.years else "<td></td>" for year in part)
        rows.append(f'<tr><th scope="row">{escape(variation.id)}</th>{"".join(cells)}</tr>')
    body = "\n".join(rows)
    span = f"{part[0]}–{part[-1]}"
    return (
        f'<table class="chart" aria-label="{span}">\n<thead><tr><th></th>{head}</tr></thead>\n'
        f"<tbody>\n{body}\n</tbody>\n</table>"
    )


def _shares(guide: Guide) -> str:
    rows = "\n".join(
        f"<tr><td>{escape(what)}</td><td>{escape(share)}</td></tr>"
        for what, share in rates_rows(guide)
    )
    return f'<h2>{RATES}</h2>\n<table class="shares">\n{rows}\n</table>'


def _terms(title: str, entries: Iterable[tuple[str, Sequence[str]]]) -> str:
    lines = []
    for term, texts in entries:
        lines.append(f"<dt>{escape(term)}</dt>")
        lines += [f"<dd>{escape(text)}</dd>" for text in texts if text]
    if not lines:
        return ""
    return f"<h2>{escape(title)}</h2>\n<dl>\n" + "\n".join(lines) + "\n</dl>"


def _list(title: str, items: Iterable[str]) -> str:
    entries = "\n".join(f"<li>{escape(item)}</li>" for item in items)
    return f"<h2>{escape(title)}</h2>\n<ul>\n{entries}\n</ul>" if entries else ""
