"""Photos put together: sets of one engine, and sets into which another engine strayed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from tools.evaluate.dated import Dated
from tools.evaluate.rows import Row, share
from vision.guide import load_guide
from vision.pipeline.several import one_or_several
from vision.records import Cue

View = tuple[Cue, ...]


def mixed_rows(dated: Sequence[Dated], numbers: Mapping[str, Cue]) -> list[Row]:
    """How often photos are taken for those of several engines, where they are of one and not.

    A set is all views of one scene in which an engine is stated, two at least. Into each
    one strays the first view of the next scene that shows another variation of its guide;
    of what no cue in view tells apart nothing can be told.
    """
    sets: dict[tuple[str, str, str], list[View]] = {}
    for one in dated:
        if one.judged.stated:
            key = (one.guide, one.true, str(one.judged.look.name.scene))
            sets.setdefault(key, []).append(_view(one, numbers))
    keys = [key for key, views in sets.items() if len(views) > 1]
    strays = [(key, other) for key in keys if (other := _next(key, keys)) is not None]
    return [
        share(
            "photos of one engine taken for several, of sets of views",
            [_several(key[0], sets[key]) for key in keys],
        ),
        share(
            "two engines told, of pairs of photos of two variations",
            [_several(key[0], [sets[key][0], sets[other][0]]) for key, other in strays],
        ),
        share(
            "another engine told among photos of one, of sets with one stray",
            [_several(key[0], [*sets[key], sets[other][0]]) for key, other in strays],
        ),
    ]


def _next(
    key: tuple[str, str, str], keys: Sequence[tuple[str, str, str]]
) -> tuple[str, str, str] | None:
    place = keys.index(key)
    later = (*keys[place + 1 :], *keys[:place])
    return next((k for k in later if k[0] == key[0] and k[1] != key[1]), None)


def _view(dated: Dated, numbers: Mapping[str, Cue]) -> View:
    number = numbers.get(dated.judged.look.file)
    return (*dated.judged.cues.values(), *([number] if number is not None else []))


def _several(guide: str, views: Sequence[View]) -> bool:
    return bool(one_or_several(load_guide(guide), views, (), ()))
