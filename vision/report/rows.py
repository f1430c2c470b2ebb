"""The cues of an answer as rows: each part once, whoever spoke of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from vision.estimate.argument import told_once
from vision.estimate.factors import TENDER, TENDER_CUES
from vision.records import COUPLED, Answer, Cue, State
from vision.report.steps import is_set_aside
from vision.report.words import cue_words, percent, reading

Row = tuple[Cue, tuple[Cue, ...]]


def cue_rows(answer: Answer) -> tuple[Row, ...]:
    """Cues to tell, each with the photos' readings that gave way to it.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    tuple of (Cue, tuple of Cue)
        In the order of the answer; what a person says of a part stands where the
        photo's reading of it would. A photo's reading of nothing is not said to have
        given way. Axles and lamps give way to a tender that is named. What one reason
        hides of the tender is one row, whose cue is called "tender".
    """
    estimate = answer.estimate
    cues = told_once(answer.cues)
    by_hand = {cue.name for cue in cues if cue.source == "person"}
    dropped: dict[str, list[Cue]] = {}
    order: dict[str, None] = {}
    rows: list[tuple[str, Cue]] = []
    for index, cue in enumerate(cues):
        of = TENDER if cue.name in TENDER_CUES and cue.name not in by_hand else cue.name
        if estimate is not None and is_set_aside(cue, estimate) and of in by_hand:
            dropped.setdefault(of, []).append(cue)
            order.setdefault(of)
            continue
        place = cue.name if cue.source == "person" else f"{index} {cue.name}"
        order.setdefault(place)
        rows.append((place, cue))
    places = list(order)
    rows.sort(key=lambda row: places.index(row[0]))
    told: list[Row] = []
    for _, cue in rows:
        given_way = dropped.pop(cue.name, []) if cue.source == "person" else []
        told.append((cue, tuple(c for c in given_way if c.speaks)))
    return tuple(_hidden_once(told))


def _hidden_once(rows: Iterable[Row]) -> Iterator[Row]:
    """Rows in which one reason why nothing of the tender is seen stands once."""
    for reason, alike in groupby(rows, lambda row: row[0].because if _hidden(row[0]) else ""):
        hidden = tuple(alike)
        if not reason or len(hidden) == 1:
            yield from hidden
            continue
        because = f"{reason} ({_parts(cue for cue, _ in hidden)})"
        yield replace(hidden[0][0], name=TENDER, because=because), ()


def hidden_once(cues: Sequence[Cue]) -> tuple[Cue, ...]:
    """Cues of one photo in which what is not visible of the tender is one, for whatever reason.

    For where no reason is told, as in the drawn picture. Its name tells which parts it
    stands for, or is "tender" where nothing of the tender is told otherwise.
    """
    hidden = [cue for cue in cues if _hidden(cue)]
    if len(hidden) < 2:
        return tuple(cues)
    whole = len(hidden) == sum(_of_tender(cue) for cue in cues)
    joint = replace(hidden[0], name=TENDER if whole else f"{TENDER} {_parts(hidden)}")
    told = (joint if cue is hidden[0] else cue for cue in cues)
    return tuple(cue for cue in told if cue is joint or not _hidden(cue))


def _of_tender(cue: Cue) -> bool:
    return cue.name in TENDER_CUES or cue.name == COUPLED


def _hidden(cue: Cue) -> bool:
    """Whether a photo shows nothing of a part of the tender.

    What is in sight but unclear is told by itself: it may lean to something.
    """
    unseen = cue.state is State.UNSEEN and not cue.in_sight
    return unseen and _of_tender(cue) and cue.source == "photo"


def _parts(cues: Iterable[Cue]) -> str:
    """Name parts of the tender without saying each time whose they are."""
    return ", ".join(cue_words(cue.name).removeprefix(f"{TENDER} ") for cue in cues)


def set_aside_words(cue: Cue, said: Cue) -> str:
    """That a photo's reading gave way to a person's word, and what it was.

    It is named where the word is not of the same part: a tender's axles under the tender.
    """
    named = "" if cue.name == said.name else f"{cue_words(cue.name)} "
    sure = f" ({percent(cue.confidence)})" if cue.confidence else ""
    return f"set aside by hand: {named}{reading(cue)}{sure} in the photo"
