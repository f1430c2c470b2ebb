"""A stock as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from vision.report.narrowing import NOT_IN_GUIDE
from vision.report.words import CAUTIONS, NOT_NARROWED, OUTSIDE_GUIDE, percent, years_words
from vision.shelf.values import Doubt, Holding, ShelfEngine, Stock

DOUBT_TITLE = "In doubt, by the photo or check that would settle it"
SHARED_TITLE = "The same picture lies in several, which count as one"
TOUCH_TITLE = "Before you touch an engine"


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
        ("Tender does not belong", [f"{e.name}: {text}" for e, text in stock.mismatched]),
        ("More than one of", [f"{v}: {_names(have)}" for v, have in stock.duplicates]),
        (SHARED_TITLE, [f"{v}: {shared_words(engines)}" for v, engines in stock.shared]),
        ("In no variation of this guide", [engine.name for engine in stock.strangers]),
        ("No engine found", [engine.name for engine in stock.without]),
        ("To see to", [f"{w.engine}: {w.part}: {w.finding}" for w in stock.work]),
        (TOUCH_TITLE, CAUTIONS if suggests_touching(stock) else ()),
    )
    if stock.doubts:
        yield from ("", DOUBT_TITLE)
    for look, doubts in doubts_by_look(stock).items():
        yield f"  {_one_line(look)}"
        yield from (f"    * {_one_line(f'{d.engine.name}: {may_be(d)}')}" for d in doubts)
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


def suggests_touching(stock: Stock) -> bool:
    """Whether anything is to be done that takes an engine in the hand."""
    return bool(stock.work) or any(doubt.hands_on for doubt in stock.doubts)


def doubts_by_look(stock: Stock) -> dict[str, list[Doubt]]:
    """Engines in doubt by what would settle it: a round with the camera is one entry."""
    by_look: dict[str, list[Doubt]] = {}
    for doubt in stock.doubts:
        how = doubt.look or "Nothing that this guide knows would settle it:"
        caution = f" {doubt.caution}" if doubt.caution else ""
        by_look.setdefault(f"{how}{caution}", []).append(doubt)
    return by_look


def shared_words(engines: tuple[ShelfEngine, ...]) -> str:
    """Which engines share a picture, and what to do."""
    return f"{_names(engines)}: put it into one folder, or name its engine in engines.csv"


def may_be(doubt: Doubt) -> str:
    """What an engine in doubt may be."""
    words = ", ".join(f"{candidate_name(id)} {percent(p)}" for id, p in doubt.candidates)
    return words or NOT_NARROWED


def candidate_name(id: str) -> str:
    """Name of a variation, or of the hypothesis that it is none."""
    return OUTSIDE_GUIDE if id == NOT_IN_GUIDE else id


def _names(engines: tuple[ShelfEngine, ...]) -> str:
    return ", ".join(engine.name for engine in engines)


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)
