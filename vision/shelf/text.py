"""A stock as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from vision.report.narrowing import NOT_IN_GUIDE
from vision.report.words import NOT_NARROWED, percent, years_words
from vision.shelf.values import Doubt, Holding, ShelfEngine, Stock


def stock_text(stock: Stock) -> str:
    """Lay a stock out as lines without a final newline."""
    return "\n".join(_lines(stock))


def _lines(stock: Stock) -> Iterator[str]:
    yield f"{stock.title} (guide {stock.guide})"
    width = max((len(h.variation) for h in stock.holdings), default=0)
    for holding in stock.holdings:
        words = f"{holding.variation:<{width}}  {years_words(holding.years):<9}"
        yield f"  {words}  {holding.status.value:<8}  {holding_words(holding)}".rstrip()
    sections = (
        ("In doubt", [doubt_words(doubt) for doubt in stock.doubts]),
        ("Tender does not belong", [f"{e.name}: {text}" for e, text in stock.mismatched]),
        ("More than one of", [f"{v}: {_names(have)}" for v, have in stock.duplicates]),
        ("Not narrowed down", [e.name for e in stock.unknown]),
        ("In no variation of this guide", [engine.name for engine in stock.strangers]),
        ("No engine found", [engine.name for engine in stock.without]),
        ("To see to", [f"{w.engine}: {w.part}: {w.finding}" for w in stock.work]),
    )
    for title, items in sections:
        if items:
            yield ""
            yield title
            yield from (f"  * {_one_line(item)}" for item in items)


def holding_words(holding: Holding) -> str:
    """Which engines are or may be of a variation."""
    sure = _names(holding.have)
    perhaps = ", ".join(f"{engine.name} ({percent(p)})" for engine, p in holding.doubtful)
    return "; ".join(text for text in (sure, perhaps and f"perhaps {perhaps}") if text)


def doubt_words(doubt: Doubt) -> str:
    """What an engine may be, and what would settle it."""
    may_be = ", ".join(f"{candidate_name(id)} {percent(p)}" for id, p in doubt.candidates)
    may_be = may_be or NOT_NARROWED
    how = doubt.look or "nothing that this guide knows would settle it"
    caution = f" {doubt.caution}" if doubt.caution else ""
    return f"{doubt.engine.name}: {may_be}. {how}{caution}"


def candidate_name(id: str) -> str:
    """Name of a variation, or of the hypothesis that it is none."""
    return "not in this guide" if id == NOT_IN_GUIDE else id


def _names(engines: tuple[ShelfEngine, ...]) -> str:
    return ", ".join(engine.name for engine in engines)


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)
