"""What a restorer would see to: parts that are missing, added, or of another year."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from vision.guide import Guide, Tender, Variation
from vision.records import BINARY_CUES, State
from vision.report.words import cue_words
from vision.shelf.values import ShelfEngine, Work

# Probability of the variation, and confidence in what was seen, below which nothing is
# said: work on a part that was right all along does harm. Chosen.
LEAST = 0.8
# A lever goes that way, and leaves a stub; common practice, no source.
_LOST = {"switch_lever": "broken off or taken off", "edge_stripe": "worn off or painted over"}


def work_on(engine: ShelfEngine, guide: Guide) -> Iterator[Work]:
    """List the parts of an engine that are not as its variation was made.

    Parameters
    ----------
    engine : ShelfEngine
        Its most probable variation is one of the guide's.
    guide : Guide
    """
    id, p = engine.candidates[0]
    if p < LEAST:
        return
    variation = guide.variation(id)
    cues = {cue["name"]: cue for cue in engine.answer["cues"] if _is_sure(cue)}
    for name in BINARY_CUES:
        finding = _part(name, cues.get(name), variation)
        if finding:
            yield Work(engine.name, id, cue_words(name), finding)
    number = cues.get("cab_number")
    if number is not None and variation.numbers and number["value"] not in variation.numbers:
        sold = " or ".join(variation.numbers)
        text = f"{number['value']} on the cab; {id} was sold as {sold}"
        yield Work(engine.name, id, "cab number", text)
    finding = _tender(cues, variation, guide)
    if finding:
        yield Work(engine.name, id, "tender", finding)


def _is_sure(cue: Mapping[str, Any]) -> bool:
    return cue["state"] != State.UNSEEN.value and float(cue["confidence"]) >= LEAST


def _part(name: str, cue: Mapping[str, Any] | None, variation: Variation) -> str:
    if cue is None or name not in variation.expects:
        return ""
    made, seen = variation.expects[name], State(cue["state"])
    if made is State.PRESENT and seen is State.ABSENT:
        return f"missing ({_LOST.get(name, 'taken off')}?); {variation.id} was made with it"
    if made is State.ABSENT and seen is State.PRESENT:
        return f"out of period; {variation.id} was made without it"
    return ""


def _tender(cues: Mapping[str, Mapping[str, Any]], variation: Variation, guide: Guide) -> str:
    axles, lamps = _count(cues.get("tender_axles")), _count(cues.get("tender_lamps"))
    own = [tender for tender in guide.tenders if tender.id in variation.tenders]
    if not own or (axles is None and lamps is None):
        return ""
    fitting = [t for t in own if axles in (None, t.axles)]
    if not fitting:
        others = [t for t in guide.tenders if t.axles == axles and lamps in (None, t.lamps)]
        seen = f"a tender of {axles} axles{_ids(others)}"
        return f"{seen}; {variation.id} was sold with {_listed(own)}"
    if lamps is not None and all(t.lamps != lamps for t in fitting):
        nearest = min(fitting, key=lambda t: abs(t.lamps - lamps))
        what = "lamp or lens missing" if lamps < nearest.lamps else "lamp added"
        return f"{what}: {lamps} at the rear; {_listed([nearest])} has {nearest.lamps}"
    return ""


def _count(cue: Mapping[str, Any] | None) -> int | None:
    if cue is None:
        return None
    if cue["state"] == State.ABSENT.value:
        return 0
    value = cue.get("value")
    return int(value) if value is not None and str(value).isdigit() else None


def _ids(tenders: list[Tender]) -> str:
    return f" (as {' or '.join(t.id for t in tenders)})" if tenders else ""


def _listed(tenders: list[Tender]) -> str:
    return "tender " + " or ".join(t.id for t in tenders)
