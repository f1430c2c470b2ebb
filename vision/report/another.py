"""What is said of a photo beside its engine: that another is in it and where, or that none is."""

from __future__ import annotations

from vision.records import Answer, Box, NotFound, Sighting

# Written beside the box that is drawn round it.
LABEL = "another engine, not dated"
_SIDES = ("to the left of", "to the right of", "above", "below")


def photo_words(answer: Answer) -> list[str]:
    """Say of each photo what is not said of its engine: `another_words`, `unfound_words`."""
    return another_words(answer) + unfound_words(answer)


def unfound_words(answer: Answer) -> list[str]:
    """Say in which photos of a dated engine none was found, and why; they count for nothing.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    list of str
        One sentence for each such photo; none where no photo shows an engine, which the
        headline says.
    """
    if answer.estimate is None:
        return []
    return [
        f"No engine was found in photo {number}, so it counts for nothing: {seen.reason}."
        for number, seen in enumerate(answer.sightings, 1)
        if isinstance(seen, NotFound)
    ]


def another_words(answer: Answer) -> list[str]:
    """Say of each photo that shows another engine where it is; nothing of the others.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    list of str
        One sentence for each such photo.
    """
    several = len(answer.photos) > 1
    told = []
    for number, seen in enumerate(answer.sightings, 1):
        if isinstance(seen, Sighting) and seen.another is not None:
            where = place_words(seen.another, seen.locomotive)
            picture = f"photo {number}" if several else "the picture"
            told.append(
                f"Another engine is in {picture}, {where} the one that is dated: "
                "crop the photo to it to date that one."
            )
    return told


def place_words(box: Box, of: Box) -> str:
    """Say on which side of one box another lies, by the wider of the gaps between them.

    Parameters
    ----------
    box, of : Box
        Pixels of the upright photo.

    Examples
    --------
    >>> place_words(Box(0, 0, 40, 20), of=Box(60, 5, 200, 80))
    'to the left of'
    >>> place_words(Box(80, 90, 120, 110), of=Box(60, 5, 200, 80))
    'below'
    """
    gaps = dict(zip(_SIDES, box.gaps_to(of), strict=True))
    return max(gaps, key=lambda side: gaps[side])
