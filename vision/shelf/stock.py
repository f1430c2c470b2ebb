"""What a collection holds, lacks and leaves in doubt, against a guide."""

from __future__ import annotations

from collections.abc import Sequence

from vision.guide import Guide
from vision.records import SEVERAL_ENGINES
from vision.report.narrowing import NOT_IN_GUIDE
from vision.shelf.condition import work_on
from vision.shelf.values import Doubt, Holding, ShelfEngine, Status, Stock

# Probability from which an engine counts as one of a variation, and from which it may
# be one. Chosen: a gap is not filled by an engine that is more likely something else.
SURE = 0.8
PERHAPS = 0.2


# What would settle an engine whose photos seem to be of several.
SORT = (
    "Sort the photos, which seem to show more than one engine, into a folder for each engine, "
    "or name the engines in engines.csv, and tag again."
)


def take_stock(engines: Sequence[ShelfEngine], guide: Guide) -> Stock:
    """Sort engines into the variations of a guide.

    Parameters
    ----------
    engines : sequence of ShelfEngine
        Dated by `guide`.
    guide : Guide
    """
    found = [engine for engine in engines if engine.candidates]
    told = [engine for engine in found if engine.narrowed]
    known = [engine for engine in told if not _is_stranger(engine)]
    holdings = tuple(_holding(v.id, v.edtf, told) for v in guide.variations)
    apart = [(h.variation, _by_picture(h.have)) for h in holdings]
    several = ((id, tuple(alike[0] for alike in sets)) for id, sets in apart if len(sets) > 1)
    shared = ((id, alike) for id, sets in apart for alike in sets if len(alike) > 1)
    return Stock(
        guide=f"{guide.name} {guide.version}",
        title=guide.title,
        holdings=holdings,
        doubts=tuple(_doubt(engine) for engine in found if _is_open(engine)),
        mismatched=tuple((e, text) for e in found for text in e.conflicts("engine_tender")),
        duplicates=tuple(several),
        shared=tuple(shared),
        strangers=tuple(e for e in told if _is_stranger(e) and not _is_open(e)),
        without=tuple(engine for engine in engines if not engine.candidates),
        work=tuple(work for engine in known for work in work_on(engine, guide)),
    )


def _is_stranger(engine: ShelfEngine) -> bool:
    return engine.candidates[0][0] == NOT_IN_GUIDE


def _is_open(engine: ShelfEngine) -> bool:
    return engine.candidates[0][1] < SURE or not engine.narrowed


def _holding(variation: str, years: str, engines: Sequence[ShelfEngine]) -> Holding:
    shares = [(engine, dict(engine.candidates).get(variation, 0.0)) for engine in engines]
    have = tuple(engine for engine, p in shares if p >= SURE)
    # What is surely one thing is not perhaps another.
    open_ = [(engine, p) for engine, p in shares if engine.candidates[0][1] < SURE]
    likely = ((engine, p) for engine, p in open_ if p >= PERHAPS)
    doubtful = tuple(sorted(likely, key=lambda pair: -pair[1]))
    status = Status.HAVE if have else Status.DOUBTFUL if doubtful else Status.LACK
    return Holding(variation, years, status, have, doubtful)


def _by_picture(engines: Sequence[ShelfEngine]) -> list[tuple[ShelfEngine, ...]]:
    """Sets of engines that share a picture, or would be counted twice; most hold one alone."""
    sets: list[tuple[ShelfEngine, ...]] = []
    for engine in engines:
        near = [s for s in sets if any(e.contents & engine.contents for e in s)]
        joined = tuple(e for s in near for e in s)
        sets = [s for s in sets if s not in near]
        sets.append((*joined, engine))
    return sets


def _doubt(engine: ShelfEngine) -> Doubt:
    likely = (pair for pair in engine.candidates if pair[1] >= PERHAPS)
    candidates = tuple(likely) if engine.narrowed else ()
    if engine.conflicts(SEVERAL_ENGINES):
        return Doubt(engine, candidates, SORT, "", False)
    looks = engine.answer["estimate"]["look_next"]
    if not looks:
        return Doubt(engine, candidates, "", "", False)
    # The answer names them by how much they are expected to tell, the most first.
    best = looks[0]
    return Doubt(engine, candidates, best["instruction"], best.get("caution", ""), best["hands_on"])
