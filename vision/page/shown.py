"""An answer in words and choices, for the page: the same words as every other surface."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from vision.estimate.factors import ANOTHER_COLOUR, COUNTED_CUES
from vision.estimate.reading import counts_possible
from vision.estimate.strength import six_digits
from vision.guide import Guide
from vision.records import DRIVING, Answer, Cue, Estimate, State
from vision.report.another import photo_words
from vision.report.narrowing import shows_several
from vision.report.steps import bearing, fits_words, weighed_reading, weighing_step, why_unused
from vision.report.under import guide_words, under_years
from vision.report.views import read_otherwise
from vision.report.words import (
    CAUTIONS,
    best_view,
    candidate_words,
    conflict_words,
    cue_words,
    headline,
    next_looks,
    percent,
    reading,
    suggests_touching,
    years_words,
)

Choice = dict[str, str]


def shown(answer: Answer, guide: Guide, *, skip: Collection[str] = ()) -> dict[str, Any]:
    """What the page shows of an answer.

    Parameters
    ----------
    answer : Answer
    guide : Guide
        By which it was dated; its values become the choices of the buttons.
    skip : collection of str
        Looks that a person cannot take.

    Returns
    -------
    dict
        "years", "sure", by which "guide", and what stands "under" them in words;
        "candidates", "cues", "conflicts", "looks", "skipped", "notes" and "cautions", each a
        list. A choice holds the statement that it makes, and a "word" of the page or a "text"
        of the guide. "apart" has a list for each photo, of what that photo reads otherwise than
        all of them; "as_one" is whether they seem to show several engines all the same.
    """
    years, sure = headline(answer)
    estimate = answer.estimate
    return {
        "years": years,
        "sure": sure,
        "guide": guide_words(answer),
        "under": under_years(answer),
        "found": estimate is not None,
        "as_one": shows_several(estimate),
        "apart": [_apart(answer, index) for index in range(len(answer.photos))],
        "candidates": [] if estimate is None else _candidates(estimate),
        "cues": [] if estimate is None else [_cue(c, answer, guide) for c in answer.cues],
        "conflicts": [] if estimate is None else [conflict_words(c) for c in estimate.conflicts],
        "looks": [] if estimate is None else _looks(estimate, guide, skip),
        "skipped": [] if estimate is None else _skipped(estimate, guide, skip),
        "notes": [note for photo in answer.photos for note in photo.notes] + photo_words(answer),
        "cautions": list(CAUTIONS) if suggests_touching(answer) else [],
    }


def choices(guide: Guide, name: str) -> list[Choice]:
    """What a person can say of a cue or check, most usual first.

    Each makes a statement ("saw"), or asks for a value to make one with ("ask").
    """
    made: list[Choice]
    if name == "cab_number":
        numbers = dict.fromkeys(n for v in guide.variations for n in v.numbers)
        made = [_text(name, number) for number in numbers]
        made.append({"word": "another_number", "ask": name})
    elif name in (DRIVING, *COUNTED_CUES):
        made = [_text(name, count) for count in counts_possible(guide, name)]
    elif name == "edge_stripe" and guide.stripe_colours:
        made = [_text(name, colour) for colour in (*guide.stripe_colours, ANOTHER_COLOUR)]
        made.append({"word": "no", "saw": f"{name}=absent"})
    else:
        made = [
            {"word": "yes", "saw": f"{name}=present"},
            {"word": "no", "saw": f"{name}=absent"},
        ]
    return made


def corrections(guide: Guide, name: str) -> list[Choice]:
    """What a person can say of a part that the photo was read to show, or not to show.

    "Cannot be told" takes the reading back without putting another in its place.
    """
    if name == "tender":
        return []
    return [*choices(guide, name), {"word": "cannot_tell", "saw": f"{name}={State.UNSEEN.value}"}]


def guide_table(guide: Guide) -> dict[str, Any]:
    """The guide as the page's table: a row for each variation, a cell for each cue."""
    columns = dict.fromkeys(name for v in guide.variations for name in v.expects)
    names = [*columns, *(["cab_number"] if any(v.numbers for v in guide.variations) else [])]
    if guide.tenders:
        names.append("tender")
    return {
        "title": guide.title,
        "columns": [{"name": name, "words": cue_words(name)} for name in names],
        "rows": [
            {
                "id": v.id,
                "years": years_words(v.edtf),
                "text": v.text,
                "cells": {name: _cell(guide, v.id, name) for name in names},
            }
            for v in guide.variations
        ],
        "tenders": [{"id": t.id, "axles": t.axles, "lamps": t.lamps} for t in guide.tenders],
    }


def _text(name: str, value: str) -> Choice:
    return {"text": value, "saw": f"{name}={value}"}


def _cell(guide: Guide, id: str, name: str) -> str:
    """What a variation shows: "present", "absent", a value; "" where the guide is silent."""
    variation = guide.variation(id)
    if name == "cab_number":
        return ", ".join(variation.numbers)
    if name == "tender":
        return ", ".join(variation.tenders)
    if name == "edge_stripe" and variation.stripe_colour:
        return variation.stripe_colour
    state = variation.expects.get(name)
    return "" if state is None else state.value


def _candidates(estimate: Estimate) -> list[dict[str, Any]]:
    return [
        {"id": c.id, "words": candidate_words(c), "percent": percent(c.p), "p": six_digits(c.p)}
        for c in estimate.variations
    ]


def _cue(cue: Cue, answer: Answer, guide: Guide) -> dict[str, Any]:
    step = weighing_step(cue, answer.estimate) if answer.estimate is not None else None
    fits = fits_words(step, answer.estimate) if step is not None else ""
    unused = why_unused(cue, answer.estimate) if answer.estimate is not None else ""
    seen, by_photo = cue.state is not State.UNSEEN, cue.source == "photo"
    read, sure = reading(cue), cue.confidence
    if answer.estimate is not None:
        read, sure = weighed_reading(cue, answer.estimate)
    silent = "neutral" if seen else "changes_nothing"
    because = cue.because if by_photo else ""
    return {
        "name": cue.name,
        "words": cue_words(cue.name),
        "state": cue.state.value,
        "reading": read,
        "sure": percent(sure) if seen and by_photo else "",
        "speaks": silent if step is None else bearing(step, answer.estimate),
        "told": [part for part in (because, best_view(cue, answer), fits, unused) if part],
        "source": cue.source,
        "choices": corrections(guide, cue.name),
    }


def _apart(answer: Answer, index: int) -> list[dict[str, Any]]:
    """What one photo reads otherwise than all; "cue" is the place of that in the answer's cues."""
    places = {cue.name: place for place, cue in enumerate(answer.cues) if cue.source == "photo"}
    return [
        {
            "name": cue.name,
            "cue": places[cue.name],
            "state": cue.state.value,
            "words": f"{cue_words(cue.name)}: {reading(cue)} ({percent(cue.confidence)})",
            "where": None if cue.where is None else list(cue.where.as_tuple()),
        }
        for cue in read_otherwise(answer, index)
    ]


def _looks(estimate: Estimate, guide: Guide, skip: Collection[str]) -> list[dict[str, Any]]:
    return [
        {
            "name": look.name,
            "words": _asked(guide, look.name),
            "instruction": look.instruction,
            "caution": look.caution,
            "hands_on": look.hands_on,
            "choices": choices(guide, look.name),
        }
        for look in next_looks(estimate, skip=skip)
    ]


def _skipped(estimate: Estimate, guide: Guide, skip: Collection[str]) -> list[Choice]:
    """Looks that a person took in vain; those that something else has settled are gone."""
    return [
        {"name": look.name, "words": _asked(guide, look.name)}
        for look in estimate.look_next
        if look.name in skip
    ]


def _asked(guide: Guide, name: str) -> str:
    questions = {check.id: check.question for check in guide.checks}
    return questions.get(name) or cue_words(name)
