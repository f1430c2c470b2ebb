"""A stock as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from vision.report.narrowing import NOT_IN_GUIDE
from vision.report.terminal import WIDTH, wrapped
from vision.report.words import CAUTIONS, NOT_NARROWED, OUTSIDE_GUIDE, percent, years_words
from vision.shelf.values import Doubt, Holding, ShelfEngine, Stock

DOUBT_TITLE = "In doubt, by the photo or check that would settle it"
# Columns below which nothing can be laid out.
LEAST_WIDTH = 40
SHARED_TITLE = "The same picture lies in several, which count as one"
TOUCH_TITLE = "Before you touch an engine"


def stock_text(stock: Stock, *, width: int = WIDTH) -> str:
    """Lay a stock out as lines without a final newline.

    Parameters
    ----------
    stock : Stock
    width : int
        Columns; longer lines are wrapped, but no name is taken apart. At least 40.
    """
    width = max(LEAST_WIDTH, width)
    return "\n".join(
        line
        for first, text, rest in _lines(stock)
        # Set in far on a narrow screen, hardly a name would fit beside the margin.
        for line in _wrapped(text, width, first, rest if 3 * rest <= width else 4)
    )


def _wrapped(text: str, width: int, first: str, rest: int) -> list[str]:
    lines = wrapped(_one_line(text), width, first, " " * rest, hyphens=False)
    return lines or [first.rstrip()]


def _lines(stock: Stock) -> Iterator[tuple[str, str, int]]:
    """Each line as what it begins with, its text, and how far the rest of it is set in."""
    yield "", f"{stock.title} (guide {stock.guide})", 2
    width = max((len(h.variation) for h in stock.holdings), default=0)
    for holding in stock.holdings:
        words = f"{holding.variation:<{width}}  {years_words(holding.years):<9}"
        first = f"  {words}  {holding.status.value:<8}  "
        yield first, holding_words(holding), len(first)
    sections = (
        ("Tender does not belong", [f"{e.name}: {text}" for e, text in stock.mismatched]),
        ("More than one of", [f"{v}: {_names(have)}" for v, have in stock.duplicates]),
        (SHARED_TITLE, [f"{v}: {shared_words(engines)}" for v, engines in stock.shared]),
        ("In no variation of this guide", [engine.name for engine in stock.strangers]),
        ("No engine found", [without_words(engine) for engine in stock.without]),
        ("To see to", [f"{w.engine}: {w.part}: {w.finding}" for w in stock.work]),
        (TOUCH_TITLE, CAUTIONS if suggests_touching(stock) else ()),
    )
    if stock.doubts:
        yield from (("", "", 0), ("", DOUBT_TITLE, 0))
    for look, doubts in doubts_by_look(stock).items():
        yield "  ", look, 2
        yield from (("    * ", f"{d.engine.name}: {may_be(d)}", 6) for d in doubts)
    for title, items in sections:
        if items:
            yield from (("", "", 0), ("", title, 0))
            yield from (("  * ", item, 4) for item in items)


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


def without_words(engine: ShelfEngine) -> str:
    """Name what shows no engine, and why none was found where that is known."""
    return ": ".join(text for text in (engine.name, engine.missing_because) if text)


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
