"""The cues of an answer as rows: each part once, whoever spoke of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
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
    for reason, alike in groupby(rows, _why_hidden):
        hidden = tuple(alike)
        if not reason or len(hidden) == 1:
            yield from hidden
            continue
        named = [cue_words(cue.name).removeprefix(f"{TENDER} ") for cue, _ in hidden]
        because = f"{reason} ({', '.join(named)})"
        yield replace(hidden[0][0], name=TENDER, because=because), ()


def _why_hidden(row: Row) -> str:
    """Why a photo shows nothing of a part of the tender; empty for every other row.

    What is in sight but unclear is told by itself: it may lean to something.
    """
    cue, given_way = row
    of_tender = cue.name in TENDER_CUES or cue.name == COUPLED
    told_alone = cue.state is not State.UNSEEN or cue.in_sight or given_way
    return cue.because if of_tender and cue.source == "photo" and not told_alone else ""


def set_aside_words(cue: Cue, said: Cue) -> str:
    """That a photo's reading gave way to a person's word, and what it was.

    It is named where the word is not of the same part: a tender's axles under the tender.
    """
    named = "" if cue.name == said.name else f"{cue_words(cue.name)} "
    sure = f" ({percent(cue.confidence)})" if cue.confidence else ""
    return f"set aside by hand: {named}{reading(cue)}{sure} in the photo"
