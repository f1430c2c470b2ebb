"""A stock as one HTML page: a wall of pictures by variation and year."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Iterator
from html import escape

from vision.guide import Guide
from vision.report.words import CAUTIONS, percent, years_words
from vision.shelf.text import (
    DOUBT_TITLE,
    SHARED_TITLE,
    TOUCH_TITLE,
    doubts_by_look,
    may_be,
    shared_words,
    suggests_touching,
)
from vision.shelf.values import Holding, ShelfEngine, Status, Stock

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
# Signs beside the words, never colour alone.
SIGNS = {Status.HAVE: "●", Status.DOUBTFUL: "◐", Status.LACK: "○"}
STYLE = """
:root { color-scheme: light dark; --line: #8886; --made: #1d5b7918; --quiet: #5a636e; }
@media (prefers-color-scheme: dark) { :root { --made: #7cc4e828; --quiet: #a8b2bd; } }
body { font: 1rem/1.5 system-ui, sans-serif; margin: 0 auto; padding: 1rem; max-width: 80rem; }
h1 { font-size: 1.5rem; line-height: 1.2; }
h2 { font-size: 1.15rem; margin: 1.6rem 0 .3rem; }
h3 { font-size: 1rem; font-weight: 600; margin: 1rem 0 .4rem; max-width: 48rem; }
.scroll { overflow-x: auto; }
.scroll:focus-visible { outline: 3px solid; outline-offset: 2px; }
table { border-collapse: collapse; }
th, td { border: 1px solid var(--line); padding: .3rem; vertical-align: top; text-align: left; }
.wall td { min-width: 3rem; }
.wall .made { background: var(--made); }
figure { display: inline-block; margin: 0 .4rem .4rem 0; width: 9rem; vertical-align: top; }
figure.perhaps { width: 7rem; }
.when { display: none; }
/* On a phone a wall of years is mostly empty: each variation becomes a card. */
@media (max-width: 48rem) {
  .wall, .wall tbody, .wall tr, .wall th, .wall td { display: block; border: 0; }
  .wall tr:first-child, .wall td:not(.made), .wall td:empty { display: none; }
  .wall tr { border: 1px solid var(--line); border-radius: .5rem; margin: 0 0 .6rem; }
  .wall .when { display: inline; font-weight: 400; }
  .wall th br { display: none; }
}
img { width: 100%; height: auto; display: block; }
figcaption, .quiet { font-size: .85rem; color: var(--quiet); overflow-wrap: anywhere; }
li { overflow-wrap: anywhere; }
@media print { .scroll { overflow: visible; } figure { break-inside: avoid; } }
"""


def stock_page(stock: Stock, guide: Guide) -> str:
    """Lay a stock out as a page with nothing outside it.

    Parameters
    ----------
    stock : Stock
    guide : Guide
        The one that the stock was taken against.
    """
    body = [
        f"<h1>{escape(stock.title)}</h1>",
        f'<p class="quiet">Guide {escape(stock.guide)}. {_counts(stock)}</p>',
        _wall(stock, guide),
        _doubts(stock),
        _list("Tender does not belong", (f"{e.name}: {text}" for e, text in stock.mismatched)),
        _list(
            "More than one of",
            (f"{v}: {', '.join(e.name for e in have)}" for v, have in stock.duplicates),
        ),
        _list(SHARED_TITLE, (f"{v}: {shared_words(engines)}" for v, engines in stock.shared)),
        _list(
            "Wanted",
            (
                f"{h.variation} ({years_words(h.years)})"
                for h in stock.holdings
                if h.status is Status.LACK
            ),
        ),
        _list("To see to", (f"{w.engine}: {w.part}: {w.finding}" for w in stock.work)),
        _pictures("In no variation of this guide", ((e, "") for e in stock.strangers)),
        _pictures("No engine found", ((e, e.missing_because) for e in stock.without)),
    ]
    if suggests_touching(stock):
        body.append(_list(TOUCH_TITLE, CAUTIONS))
    inside = "\n".join(part for part in body if part)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(stock.title)}: the shelf</title>\n<style>{STYLE}</style>\n</head>\n"
        f"<body>\n<main>\n{inside}\n</main>\n</body>\n</html>\n"
    )


def _counts(stock: Stock) -> str:
    words = []
    for status in Status:
        count = sum(holding.status is status for holding in stock.holdings)
        words.append(f"{SIGNS[status]} {status.value} {count}")
    return f"Variations: {', '.join(words)} of {len(stock.holdings)}."


def _wall(stock: Stock, guide: Guide) -> str:
    years = range(guide.years[0], guide.years[-1] + 1)
    head = "".join(f'<th scope="col">{year}</th>' for year in years)
    rows = "\n".join(
        _row(holding, set(guide.variation(holding.variation).years), years)
        for holding in stock.holdings
    )
    return (
        '<div class="scroll" tabindex="0" role="region" aria-label="Variations by year">\n'
        f'<table class="wall">\n<tr><th scope="col">Variation</th>{head}</tr>\n{rows}\n'
        "</table>\n</div>"
    )


def _row(holding: Holding, made: set[int], years: range) -> str:
    sign = f'<span aria-hidden="true">{SIGNS[holding.status]}</span>'
    when = f'<span class="when">({escape(years_words(holding.years))})</span>'
    name = f"{escape(holding.variation)} {when} <br>{sign} {holding.status.value}"
    cells = []
    shown = False
    for is_made, count in _runs(made, years):
        if not is_made:
            cells.append("<td></td>" * count)
        else:
            pictures = "" if shown else "".join(_figures(holding))
            shown = True
            cells.append(f'<td class="made" colspan="{count}">{pictures}</td>')
    return f'<tr><th scope="row">{name}</th>{"".join(cells)}</tr>'


def _runs(made: set[int], years: range) -> Iterator[tuple[bool, int]]:
    """Runs of years in which a variation was made, or was not."""
    begin = 0
    flags = [year in made for year in years]
    for at in range(1, len(flags) + 1):
        if at == len(flags) or flags[at] != flags[begin]:
            yield flags[begin], at - begin
            begin = at


def _figures(holding: Holding) -> Iterator[str]:
    for engine in holding.have:
        yield _figure(engine, percent(dict(engine.candidates)[holding.variation]))
    for engine, p in holding.doubtful:
        yield _figure(engine, f"perhaps, {percent(p)}", kind="perhaps")


def _figure(engine: ShelfEngine, words: str, *, kind: str = "sure") -> str:
    # A number and its sign stay on one line.
    said = escape(words.replace(" %", "\u00a0%"))
    caption = f"<figcaption>{escape(engine.name)}{'<br>' if words else ''}{said}</figcaption>"
    if not engine.picture:
        return f'<figure class="{kind}">{caption}</figure>'
    data = base64.b64encode(engine.picture).decode("ascii")
    alt = escape(f"Photo of {engine.name}", quote=True)
    image = f'<img src="data:image/jpeg;base64,{data}" alt="{alt}">'
    return f'<figure class="{kind}">{image}{caption}</figure>'


def _doubts(stock: Stock) -> str:
    if not stock.doubts:
        return ""
    groups = (
        f"<h3>{escape(look)}</h3>\n" + "".join(_figure(d.engine, may_be(d)) for d in doubts)
        for look, doubts in doubts_by_look(stock).items()
    )
    return f"<h2>{DOUBT_TITLE}</h2>\n" + "\n".join(groups)


def _pictures(title: str, engines: Iterable[tuple[ShelfEngine, str]]) -> str:
    """Engines under a heading, each with words below its name; nothing without any."""
    figures = "".join(_figure(engine, words) for engine, words in engines)
    return f"<h2>{escape(title)}</h2>\n{figures}" if figures else ""


def _list(title: str, items: Iterable[str]) -> str:
    entries = "\n".join(f"<li>{escape(item)}</li>" for item in items)
    return f"<h2>{escape(title)}</h2>\n<ul>\n{entries}\n</ul>" if entries else ""
