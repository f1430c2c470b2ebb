"""When a listing's engine was made by its photos, and what to ask, for every surface alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from vision.listings.values import Kind
from vision.records import YEAR_UNKNOWN, Conflict
from vision.report.narrowing import (
    favours_in_part_plain,
    names_no_year_plain,
    of_one_variation_plain,
    shows_several_plain,
    tells_nothing_plain,
)
from vision.report.words import (
    CANCELLED,
    NOT_NARROWED,
    NOTHING_TOLD,
    NOTHING_TOLD_OF_ONE,
    OUTSIDE_GUIDE,
    SEVERAL,
    confidence_words,
    conflict_words,
    percent,
    years_words,
)

# Over the listings that come last, on every surface.
NOTHING_SEEN = "No engine seen in a photo"
NOTHING_SEEN_WHY = "Their value is that of an engine of the guide of which nothing is known."


def estimate_of(record: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the estimate of a listing's record as `answer_json` gives it, or None."""
    estimate: dict[str, Any] | None = (record.get("answer") or {}).get("estimate")
    return estimate


def narrowed_estimate(record: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the estimate if anything in view tells one variation from another."""
    estimate = estimate_of(record)
    return None if estimate is None or names_no_year_plain(estimate) else estimate


def dating_words(record: Mapping[str, Any]) -> tuple[str, str]:
    """Years, and how sure they are; or that no engine was found, and why.

    Both are empty where there is no photo that can be read.
    """
    if estimate_of(record) is None:
        answer = record.get("answer")
        return ("no engine found", answer["not_found"]) if answer else ("", "")
    estimate = narrowed_estimate(record)
    if estimate is None:
        return NOT_NARROWED, _why_not(estimate_of(record) or {})
    sure = f"{confidence_words(estimate['confidence'])}, {percent(estimate['confidence'])}"
    if estimate["years"] == YEAR_UNKNOWN:
        return OUTSIDE_GUIDE, sure
    return years_words(estimate["years"]), sure


def _why_not(estimate: Mapping[str, Any]) -> str:
    if shows_several_plain(estimate):
        return SEVERAL
    if not tells_nothing_plain(estimate):
        return "no year of the guide is ruled out"
    if of_one_variation_plain(estimate):
        return NOTHING_TOLD_OF_ONE
    return CANCELLED if favours_in_part_plain(estimate) else NOTHING_TOLD


def first_unseen(records: Sequence[Mapping[str, Any]]) -> int | None:
    """Place, from 0, of the first ranked listing of which no photo shows an engine."""
    return next((n for n, record in enumerate(records) if not record["engine_seen"]), None)


def ask_words(record: Mapping[str, Any]) -> str:
    """Return what to ask the seller next, and what they should mind; empty for nothing."""
    ask = record.get("ask")
    return " ".join(filter(None, (ask["text"], ask["caution"]))) if ask else ""


def mismatch_words(record: Mapping[str, Any]) -> list[str]:
    """Say why engine and tender never left the works together; empty where they may have."""
    conflicts = (estimate_of(record) or {}).get("conflicts", ())
    return [
        conflict_words(Conflict(c["kind"], tuple(c["cues"]), c["text"]))
        for c in conflicts
        if c["kind"] == "engine_tender"
    ]


def told_claims(record: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Claims of a record, without those that another of the same words says as well.

    "Red stripe" claims a stripe and its colour. Where both fare alike, the colour tells all.
    """
    claims: Sequence[dict[str, Any]] = record.get("claims", ())
    colours = {(*c["span"], c["verdict"]) for c in claims if c["kind"] == Kind.COLOUR}
    return [
        c for c in claims if c["kind"] != Kind.PART or (*c["span"], c["verdict"]) not in colours
    ]
