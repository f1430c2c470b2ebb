"""The ranked listings as plain text for a terminal."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from vision.listings.dating import (
    NOTHING_SEEN,
    NOTHING_SEEN_WHY,
    ask_words,
    dating_words,
    first_unseen,
    mismatch_words,
    told_claims,
)
from vision.listings.markup import SIGNS
from vision.listings.money import write_price
from vision.listings.run import Ranked
from vision.listings.values import Kind, Verdict
from vision.report.terminal import WIDTH, wrapped

# Before what of a line goes on below it.
INDENT = "     "


def listings_text(judged: Ranked, *, width: int = WIDTH) -> str:
    """Return one paragraph a listing, the most promising first; empty without listings.

    Parameters
    ----------
    judged : Ranked
    width : int
        Columns; of fewer than 40, 40.
    """
    if not judged.records:
        return ""
    width = max(40, width)
    weights = ", ".join(f"{name} {weight:g}" for name, weight in judged.weights.as_dict().items())
    paragraphs = [_paragraph(rank, record, width) for rank, record in enumerate(judged.records, 1)]
    unseen = first_unseen(judged.records)
    if unseen is not None:
        paragraphs.insert(unseen, f"{_wrapped(f'{NOTHING_SEEN}. {NOTHING_SEEN_WHY}', width)}\n")
    paragraphs.append(f"{_wrapped(f'weights: {weights}', width)}\n")
    return "\n".join(paragraphs)


def _paragraph(rank: int, record: dict[str, Any], width: int) -> str:
    verdict = record.get("verdict", Verdict.CANNOT_TELL.value)
    price = ""
    if record.get("price") is not None:
        price = f"  {write_price(Decimal(record['price']), record['currency'])}"
    lines = [f"{rank}. {_line(record['title'] or record['id'])}  [{verdict}]{price}"]
    years, sure = dating_words(record)
    years = f"; by its photos {years} ({sure})" if years else ""
    lines.append(f"   value {record['value']:.2f}{years}  ({_line(record['id'])})")
    claims = told_claims(record)
    for claim in claims:
        if claim["kind"] != Kind.CONDITION:
            sign = SIGNS[claim["verdict"]]
            lines.append(f'   {sign} "{_line(claim["words"])}": {_line(claim["text"])}')
    condition = [claim["words"] for claim in claims if claim["kind"] == Kind.CONDITION]
    if condition:
        lines.append(f"   not judged from photos: {_line(', '.join(condition))}")
    lines += [f"   does not fit together: {_line(words)}" for words in mismatch_words(record)]
    if record.get("ask"):
        lines.append(f"   ask next: {_line(ask_words(record))}")
    lines += [f"   note: {_line(note)}" for note in record.get("notes", ())]
    for photo in record.get("photos", ()):
        if "error" in photo:
            lines.append(f"   {_line(photo['path'])}: {_line(photo['error'])}")
    if "failure" in record:
        lines.append(f"   {record['failure']}")
    return "\n".join(_wrapped(line, width) for line in lines) + "\n"


def _wrapped(line: str, width: int) -> str:
    """Break a line, and indent what follows more than its beginning."""
    return "\n".join(wrapped(line, width, "", INDENT, hyphens=False))


def _line(text: str) -> str:
    """On one line, and without what would steer a terminal."""
    return re.sub(r"[\s\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]+", " ", text).strip()
