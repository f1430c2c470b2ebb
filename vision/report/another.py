"""What is said of another engine in the picture: that it is there, where, and how to date it."""

from __future__ import annotations

from vision.records import Answer, Box, Sighting

# Written beside the box that is drawn round it.
LABEL = "another engine, not dated"
_SIDES = ("to the left of", "to the right of", "above", "below")


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
