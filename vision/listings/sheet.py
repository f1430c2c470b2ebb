"""The ranked listings as a CSV table (RFC 4180) that no spreadsheet will run."""

from __future__ import annotations

import csv
import io
from typing import Any

from vision.listings.dating import (
    NOTHING_SEEN,
    ask_words,
    mismatch_words,
    narrowed_estimate,
    told_claims,
)
from vision.listings.run import Ranked
from vision.listings.values import Verdict

COLUMNS = (
    *("rank", "value", "verdict", "id", "title", "price", "currency", "years", "confidence"),
    *("wanted", "together", "complete", "cheap", "supported", "contradicted", "cannot_tell"),
    *("does_not_fit_together", "ask", "notes", "failures", "link", "source"),
)
# What spreadsheets take for the beginning of a formula, also in its full-width form, and
# the blanks they skip before it. OWASP, CSV Injection; from memory.
_LIVE = ("=", "+", "-", "@", "＝", "＋", "－", "＠", "\t", "\r", "\n")


def neutral(cell: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would run as a formula.

    Examples
    --------
    >>> neutral("=cmd|'/c calc'!A1"), neutral("310")
    ("'=cmd|'/c calc'!A1", '310')
    """
    return (
        f"'{cell}" if cell.lstrip(" \u00a0").startswith(_LIVE) or cell.startswith(_LIVE) else cell
    )


def sheet(judged: Ranked) -> str:
    """Return the table: one row a listing, and one for each row that could not be read."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for rank, record in enumerate(judged.records, 1):
        row = _row(rank, record)
        writer.writerow([neutral(str(row[column])) for column in COLUMNS])
    for bad in judged.bad:
        row = dict.fromkeys(COLUMNS, "") | {"failures": bad.reason, "source": bad.source}
        writer.writerow([neutral(row[column]) for column in COLUMNS])
    return stream.getvalue()


def _row(rank: int, record: dict[str, Any]) -> dict[str, Any]:
    claims = told_claims(record)
    estimate = narrowed_estimate(record) or {}

    def told(verdict: Verdict) -> str:
        words = [f"{c['words']}: {c['text']}" for c in claims if c["verdict"] == verdict.value]
        return "; ".join(words)

    unseen = [] if record["engine_seen"] else [f"{NOTHING_SEEN[0].lower()}{NOTHING_SEEN[1:]}"]
    photos = [p for p in record.get("photos", ()) if "error" in p]
    failures = [record["failure"]] if "failure" in record else []
    return {
        "rank": rank,
        "value": record["value"],
        "verdict": record.get("verdict", Verdict.CANNOT_TELL.value),
        "id": record["id"],
        "title": record["title"],
        "price": record.get("price") or "",
        "currency": record.get("currency", ""),
        "years": estimate.get("years", ""),
        "confidence": estimate.get("confidence", ""),
        **record["worth"],
        "supported": told(Verdict.SUPPORTED),
        "contradicted": told(Verdict.CONTRADICTED),
        "cannot_tell": told(Verdict.CANNOT_TELL),
        "does_not_fit_together": "; ".join(mismatch_words(record)),
        "ask": ask_words(record),
        "notes": "; ".join([*record.get("notes", ()), *unseen]),
        "failures": "; ".join([*failures, *(f"{p['path']}: {p['error']}" for p in photos)]),
        "link": record.get("link", ""),
        "source": record["source"],
    }
