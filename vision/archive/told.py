"""What became of an archive's engines and photos, by the answers that are kept."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, field
from typing import Any

from vision.archive.index import EngineRow
from vision.locate.turned import TURNED
from vision.report.narrowing import names_no_year_plain, shows_several_plain


@dataclass(slots=True)
class Told:
    """What the answers of an archive say; every engine or set of photos is in one place.

    Attributes
    ----------
    engines : int
        Those of which the photos show one, and no more.
    dated, vague : int
        Of these the ones of this run: that have years, and that nothing narrows down.
    mixed : list of str
        Names of those whose photos seem to show several engines, which are dated as none.
    without : int
        Those in whose photos no engine was found.
    turned : list of str
        Photos that may lie on their side or be upside down.
    """

    engines: int = 0
    dated: int = 0
    vague: int = 0
    mixed: list[str] = field(default_factory=list)
    without: int = 0
    turned: list[str] = field(default_factory=list)


def told_apart(rows: Iterable[EngineRow], fresh: Set[str]) -> Told:
    """Sort engines by what their answers say of them.

    Parameters
    ----------
    rows : iterable of EngineRow
    fresh : set of str
        Names of those that this run has dated, or tried to.
    """
    told = Told()
    for row in rows:
        told.turned += _turned(row.answer)
        estimate = row.answer["estimate"]
        if estimate is None:
            told.without += 1
        elif shows_several_plain(estimate):
            told.mixed.append(row.name)
        else:
            told.engines += 1
            if row.name in fresh and names_no_year_plain(estimate):
                told.vague += 1
            elif row.name in fresh:
                told.dated += 1
    return told


def _turned(answer: Mapping[str, Any]) -> Iterator[str]:
    # An answer from one photo says at its top what it says photo by photo from several.
    sightings = answer.get("sightings", (answer,))
    for photo, sighting in zip(answer["photos"], sightings, strict=True):
        if sighting.get("not_found") == TURNED:
            yield photo["path"]
