"""A guide as rows of words, for the terminal and the page alike."""

from __future__ import annotations

from collections.abc import Callable

from vision.guide import Guide, Pair, Tender, Variation, pairs
from vision.records import BINARY_CUES, State
from vision.report.words import cue_words, years_words

OPEN = "–"
YES, NO = "yes", "no"
RATES = "How surviving engines differ"
KEY = f"{YES}: made with it; {NO}: made without it; {OPEN}: the guide does not say"


def heading(guide: Guide) -> tuple[str, str]:
    """Title of a guide, and one line about the family."""
    first, last = guide.years[0], guide.years[-1]
    span = str(first) if first == last else f"{first}–{last}"
    about = (
        guide.maker,
        f"gauge {guide.gauge} ({guide.gauge_mm:g} mm)",
        f"1:{guide.scale:g}",
        _wheels(guide),
        span,
    )
    return guide.title, ", ".join(part for part in about if part)


def _wheels(guide: Guide) -> str:
    """The arrangement, and what is weighed of it."""
    axles = guide.driving_axles
    if axles is None:
        return guide.wheels
    kind = "a tank engine, " if guide.tank_engine else ""
    return f"{guide.wheels} ({kind}{axles} driving axle{'' if axles == 1 else 's'})"


def lever_words(guide: Guide) -> str:
    """Say where the guide has this casting's lever, or that it does not say."""
    if guide.lever_at is None:
        return "lever_at: not said, so a lever is sought all along the boiler top"
    return (
        f"lever_at: {guide.lever_at:g} of the boiler top, from the front of the smokebox (0) to "
        "the cab (1)"
    )


def rates_rows(guide: Guide) -> list[tuple[str, str]]:
    """What share of surviving engines is not as made, as the dating reckons: what, and how many.

    The guide's own rates, and the usual ones for what it says nothing about.
    """
    rates = guide.rates
    shares = [
        ("in no variation here", rates.other),
        ("a reproduction, or put together from several", rates.reproduction),
    ]
    if guide.tenders:
        shares.append(("with another engine's tender", rates.tender_swapped))
    if guide.numbers:
        shares.append(("with another number", rates.number_changed))
    if guide.stripe_colours:
        shares.append(("with the stripe in another colour", rates.recoloured))
    said = [(what, _percent(share)) for what, share in shares]
    stated = [part for v in guide.variations for part in v.expects]
    stated += ["tender_lamps"] if guide.tenders else []
    for name in dict.fromkeys((*rates.parts, *stated)):
        part = rates.of(name)
        told = f"{_percent(part.lost)} lost, {_percent(part.added)} added later"
        said.append((cue_words(name), told))
    return said


def _percent(share: float) -> str:
    """Write a share as the guide states it: 0 is none, and 0.025 no whole percent."""
    return f"{100 * share:.3g} %"


def table(guide: Guide) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Heads and one row for each variation: id, years, then what each part should be.

    A column in which the guide says nothing of any variation is left out.
    """
    columns: list[tuple[str, Callable[[Variation], str]]] = [
        ("years", lambda v: years_words(v.edtf)),
        ("number", lambda v: " or ".join(v.numbers) or OPEN),
    ]
    short = {"switch_lever": "lever", "side_linkage": "linkage", "edge_stripe": "stripe"}
    for name in BINARY_CUES:
        columns.append((short[name], lambda v, name=name: _state(v, name)))  # type: ignore[misc]
    if guide.tenders:
        columns.append(("tender", lambda v: " or ".join(v.tenders) or OPEN))
    for name in guide.check_names:
        columns.append((cue_words(name), lambda v, name=name: _state(v, name)))  # type: ignore[misc]
    cells = [(head, [cell(v) for v in guide.variations]) for head, cell in columns]
    kept = [(head, cell) for head, cell in cells if set(cell) != {OPEN}]
    rows = zip(*(cell for _, cell in kept), strict=True)
    heads = ("id", *(head for head, _ in kept))
    return heads, [(v.id, *row) for v, row in zip(guide.variations, rows, strict=True)]


def _state(variation: Variation, name: str) -> str:
    if name == "edge_stripe" and variation.stripe_colour:
        return variation.stripe_colour
    state = variation.expects.get(name)
    return OPEN if state is None else YES if state is State.PRESENT else NO


def tender_words(tender: Tender) -> str:
    """Axles, lamps and lettering of a tender, and the author's note."""
    lamps = {0: "no rear lamp", 1: "1 rear lamp"}.get(tender.lamps, f"{tender.lamps} rear lamps")
    axles = "1 axle" if tender.axles == 1 else f"{tender.axles} axles"
    note = f" ({tender.text})" if tender.text else ""
    lettered = ", lettered" if tender.lettering else ", no lettering"
    lettering = "" if tender.lettering is None else lettered
    return f"{axles}, {lamps}{lettering}{note}"


def hard_pairs(guide: Guide) -> list[str]:
    """Pairs that photos tell apart by one cue or by none, and what else would.

    A cue that is hidden or was altered takes such a pair's only difference with it.
    """
    return [_pair_words(pair) for pair in pairs(guide) if len(pair.in_photos) < 2]


def _pair_words(pair: Pair) -> str:
    checks = " or ".join(map(cue_words, pair.told_apart_by))
    names = f"{pair.first} and {pair.second}"
    if pair.in_photos:
        also = f"; by hand also {checks}" if checks else ""
        return f"{names}: in photos only the {cue_words(pair.in_photos[0])}{also}"
    if checks:
        return f"{names}: nothing in photos; by hand {checks}"
    return f"{names}: nothing in this guide"
