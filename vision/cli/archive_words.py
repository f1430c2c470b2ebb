"""What `telltale tag` and `find` say of an archive's guide and of what it was asked about."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from typing import TYPE_CHECKING

from vision.cli.watching import shown

if TYPE_CHECKING:
    from vision.archive import Choice
    from vision.archive.told import Told

# So many are named where there may be hundreds. Chosen.
MOST_NAMED = 5


def guide_words(choice: Choice, *, named: bool) -> str:
    """Say by which guide an archive is dated, and whether by another than before."""
    guide = choice.guide
    words = f"dating by the guide {guide.name} {guide.version} ({guide.title})"
    if choice.before and choice.before != f"{guide.name} {guide.version}":
        return f"{words}, before by {choice.before}"
    if not named:
        example = ", an example that comes with telltale; --guide names yours"
        return words + (", as before" if choice.before else example)
    return words


def unknown_words(wanted: Sequence[str], guides: Mapping[str, Set[str]]) -> str:
    """Say which variations are none of those that an archive's guides have; empty for none.

    Parameters
    ----------
    wanted : sequence of str
        Ids, as they were typed.
    guides : mapping of str to set of str
        Name and version of each guide that dated an engine, and ids of its variations.
    """
    from vision.report.narrowing import NOT_IN_GUIDE

    # Where no photo shows an engine, no answer names a variation.
    named = {guide: ids for guide, ids in guides.items() if ids}
    known = {id.lower() for ids in named.values() for id in ids}
    strange = [id for id in wanted if id.lower() not in known]
    if not named or not strange:
        return ""
    by = "; ".join(
        f"{guide}, with {', '.join(sorted(ids - {NOT_IN_GUIDE}, key=lambda id: (len(id), id)))}"
        for guide, ids in named.items()
    )
    return f"telltale: no variation {' or '.join(strange)}; this archive was dated by {by}"


def unasked_words(names: Sequence[str]) -> str:
    """Say that no photo was looked at for some cues; "unseen" would mean that they were."""
    from vision.records import COUPLED
    from vision.report.words import cue_words

    words = f"telltale: no photo here was asked about {' or '.join(map(cue_words, names))}"
    return f"{words}; only guides of tank engines ask it" if list(names) == [COUPLED] else words


def engines_words(told: Told) -> str:
    """Count an archive's engines, and apart from them what is dated as none."""
    from vision.report.words import counted

    vague = f", {told.vague} not narrowed down" if told.vague else ""
    words = [f"{counted(told.engines, 'engine')} ({told.dated} dated anew{vague})"]
    if told.mixed:
        sets = counted(len(told.mixed), "set of photos", "sets of photos")
        words.append(f"{sets} with more than one engine (not dated)")
    if told.without:
        sets = counted(told.without, "photo or set of photos", "photos or sets of photos")
        words.append(f"{sets} without an engine")
    return ", ".join(words)


def turned_words(names: str, *, many: bool) -> str:
    """Say of photos, whose names stand in one line, that they may have to be turned."""
    from vision.locate.turned import TURNED

    if many:
        return (
            f"{names}: these photos may lie on their side or be upside down, since turned they "
            "show an engine more clearly; turn them upright"
        )
    return f"{names}: {TURNED}"


def some_names(names: Sequence[str]) -> str:
    """Write names in one line; where there may be hundreds, the first and how many more."""
    more = len(names) - MOST_NAMED
    return ", ".join(map(shown, names[:MOST_NAMED])) + (f" and {more} more" if more > 0 else "")
