"""Several photos of one engine: their numbers, and what each reads otherwise than all."""

from __future__ import annotations

from vision.records import Answer, Cue, State
from vision.report.names import one_line


def photo_names(answer: Answer) -> list[str]:
    """Names of the photos, each as one line; with the numbers of them where there are several."""
    names = [one_line(photo.name) for photo in answer.photos]
    if len(names) < 2:
        return names
    return [f"photo {number}: {name}" for number, name in enumerate(names, 1)]


def number_words(answer: Answer, index: int) -> str:
    """Which of several photos one is, counted from 1; empty where there is one."""
    count = len(answer.photos)
    return f"photo {index + 1} of {count}" if count > 1 else ""


def read_otherwise(answer: Answer, index: int) -> tuple[Cue, ...]:
    """What one photo reads otherwise than is said of all of them.

    Parameters
    ----------
    answer : Answer
    index : int
        Which of its photos, from 0.

    Returns
    -------
    tuple of Cue
        Of that photo by itself; none where the photos by themselves were not kept.
    """
    if len(answer.photos) < 2 or not answer.views:
        return ()
    fused = {cue.name: cue for cue in answer.cues if cue.source == "photo"}
    return tuple(
        cue
        for cue in answer.views[index]
        if cue.state is not State.UNSEEN
        and (of_all := fused.get(cue.name)) is not None
        and of_all.photo != index
        and (cue.state, cue.value) != (of_all.state, of_all.value)
    )
