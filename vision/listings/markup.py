"""The ranked listings as one HTML page that needs nothing else, runs nothing, and prints."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from decimal import Decimal
from html import escape
from pathlib import Path
from typing import Any

from vision.listings.dating import (
    NOTHING_SEEN,
    NOTHING_SEEN_WHY,
    ask_words,
    dating_words,
    first_unseen,
    mismatch_words,
    narrowed_estimate,
    told_claims,
)
from vision.listings.money import write_price
from vision.listings.pictures import LIMITS, card_picture
from vision.listings.run import Ranked
from vision.listings.values import Verdict
from vision.photo import open_photo
from vision.records import TelltaleError
from vision.report.markup import STYLE
from vision.report.narrowing import NOT_IN_GUIDE
from vision.report.words import CAUTIONS, counted, percent

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
SIGNS = {"supported": "✓", "contradicted": "✗", "cannot tell": "?"}
# Colours reach 4.5 to 1 on their ground in both schemes (WCAG 2.2, 1.4.3); tested by axe.
OWN_STYLE = """
html { background: #fff; color: #15191e; overflow-wrap: anywhere; }
@media (prefers-color-scheme: dark) { html { background: #15191e; color: #eef1f4; } }
@media print { html { background: #fff; color: #000; } :root { --quiet: #444; } }
main { display: grid; gap: 1.2rem; grid-template-columns: minmax(0, 1fr); }
article, article + article { border: 1px solid var(--line); border-radius: .6rem; margin: 0;
  padding: .8rem 1rem; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: .4rem 0; }
article h2 { font-size: 1.15rem; margin: .2rem 0; overflow-wrap: anywhere; }
h3 { font-size: 1rem; margin: .8rem 0 .2rem; }
figure { margin: .6rem 0; position: relative; }
figure img, figure svg { display: block; width: 100%; height: auto; }
figure svg { position: absolute; inset: 0; height: 100%; }
figcaption { font-size: .9rem; }
.claims { list-style: none; margin: .3rem 0; padding: 0; }
.claims li { border-top: 1px solid var(--line); display: grid; gap: 0 .6rem;
  grid-template-columns: 1.6rem minmax(0, 1fr); padding: .35rem 0; overflow-wrap: anywhere; }
.sign { font-weight: 700; text-align: center; }
.verdict { border: 2px solid currentColor; border-radius: .3rem; display: inline-block;
  font-weight: 700; padding: 0 .5rem; }
.ask { border-left: .3rem solid currentColor; margin: .8rem 0; padding: .1rem .8rem; }
a { color: inherit; display: inline-block; min-height: 1.8rem; overflow-wrap: anywhere; }
summary { min-height: 1.8rem; }
mark { background: none; color: inherit; text-decoration: underline dotted; }
pre { font: inherit; margin: .3rem 0; overflow-wrap: anywhere; white-space: pre-wrap; }
dl { display: grid; gap: .1rem .8rem; grid-template-columns: max-content minmax(0, 1fr);
  margin: 0; }
dt { color: var(--quiet); } dd { margin: 0; }
@media screen and (min-width: 60rem) { body { max-width: 58rem; }
  article { display: flow-root; }
  article figure { float: left; margin: .3rem 1.2rem .6rem 0; width: 24rem; } }
@media print { body { max-width: none; font-size: 10pt; } article { break-inside: avoid; }
  figure { max-width: 9cm; } a[href]::after { content: " (" attr(href) ")"; } }
"""
STROKES = {
    "supported": ("#56b4e9", ""),
    "contradicted": ("#e69f00", "7 4"),
    "cannot tell": ("#f0e442", "1.2 3"),
}


def listings_page(judged: Ranked) -> Iterator[str]:
    """Return the page piece by piece, so that all pictures are never in memory at once."""
    title = f"{counted(len(judged.records), 'listing')} by the guide {judged.guide.title}"
    yield (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="referrer" content="no-referrer">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}{OWN_STYLE}</style>\n</head>\n<body>\n"
        f"<header>\n<h1>{escape(title)}</h1>\n{_lead(judged)}</header>\n<main>\n"
    )
    unseen = first_unseen(judged.records)
    for rank, record in enumerate(judged.records, 1):
        if rank - 1 == unseen:
            yield f"<div><h2>{NOTHING_SEEN}</h2>\n<p>{NOTHING_SEEN_WHY}</p></div>\n"
        yield _card(rank, record)
    yield f"</main>\n<footer>\n{_foot(judged)}</footer>\n</body>\n</html>\n"


def _lead(judged: Ranked) -> str:
    counts = {v.value: 0 for v in Verdict}
    for record in judged.records:
        counts[record.get("verdict", Verdict.CANNOT_TELL.value)] += 1
    said = (
        f"{counts['contradicted']} with a claim that the photos speak against, "
        f"{counts['supported']} with claims that they bear out, "
        f"{counts['cannot tell']} that they leave open."
    )
    wants = ", ".join(judged.wants) or "any variation of the guide"
    weights = ", ".join(f"{name} {weight:g}" for name, weight in judged.weights.as_dict().items())
    return (
        f"<p>{escape(said)} A photo may mislead, and so may the reading of it: ask before you "
        "judge.</p>\n"
        "<p>The most promising come first, those without an engine in a photo last. "
        f"Wanted: {escape(wants)}. Weights: {escape(weights)}. "
        "Value is the probability that the engine is wanted times the weighted mean of 1 (wanted), "
        "the probability that engine and tender belong together, the share of its parts that the "
        "photos show, and the share of listings that ask more.</p>\n"
    )


def _card(rank: int, record: dict[str, Any]) -> str:
    name = f"listing-{rank}"
    verdict = record.get("verdict", Verdict.CANNOT_TELL.value)
    parts = [
        f'<article aria-labelledby="{name}">',
        f'<h2 id="{name}">{rank}. <bdi>{escape(record["title"] or record["id"])}</bdi></h2>',
        f'<p><span class="verdict">{SIGNS[verdict]} {verdict}</span> {_price(record)}</p>',
        _picture(record),
        _dating(record),
        _claims(record),
        _mismatch(record),
        _question(record),
        _notes(record),
        _worth(record),
        _text(record),
        _link(record),
        "</article>\n",
    ]
    return "\n".join(part for part in parts if part)


def _price(record: dict[str, Any]) -> str:
    if record.get("price") is None:
        return ""
    return escape(write_price(Decimal(record["price"]), record["currency"]))


def _picture(record: dict[str, Any]) -> str:
    """Return the photo with the regions that the claims are judged by drawn over it."""
    shown = record.get("shown")
    if shown is None:
        return ""
    photo = record["photos"][shown]
    try:
        data = card_picture(open_photo(Path(photo["file"]), limits=LIMITS))
    except TelltaleError:
        return ""  # moved since it was looked at; the claims below still stand
    width, height = photo["size"]
    marks, told = [], []
    for number, claim in enumerate(told_claims(record), 1):
        if claim["photo"] != shown or not (claim["region"] or claim["where"]):
            continue
        marks.append(_mark(number, claim, max(width, height)))
        told.append(str(number))
    legend = f"Photo {shown + 1}"
    if told:
        legend += f"; marked: what speaks to claim {', '.join(told)}"
    encoded = base64.b64encode(data).decode("ascii")
    return (
        f'<figure><div style="position:relative"><img alt="Photo {shown + 1} of this listing" '
        f'width="{width}" height="{height}" src="data:image/webp;base64,{encoded}">'
        f'<svg viewBox="0 0 {width} {height}" aria-hidden="true">{"".join(marks)}</svg></div>'
        f"<figcaption>{escape(legend)}</figcaption></figure>"
    )


def _mark(number: int, claim: dict[str, Any], side: float) -> str:
    """Outline on a dark casing, so that it shows on white walls and on black engines."""
    if claim["region"]:
        corners = claim["region"]
    else:
        left, top, right, bottom = claim["where"]
        corners = [[left, top], [right, top], [right, bottom], [left, bottom]]
    points = " ".join(f"{float(x):g},{float(y):g}" for x, y in corners)
    colour, dashes = STROKES[claim["verdict"]]
    wide = side * 0.006
    dashed = " ".join(f"{float(d) * wide:g}" for d in dashes.split())
    x, y = (min(float(c[i]) for c in corners) for i in (0, 1))
    size = side * 0.045
    return (
        f'<polygon points="{points}" fill="none" stroke="#101418" stroke-width="{wide * 2:g}"/>'
        f'<polygon points="{points}" fill="none" stroke="{colour}" stroke-width="{wide:g}" '
        f'stroke-dasharray="{dashed or "none"}"/>'
        f'<text x="{x:g}" y="{max(y - wide * 2, size):g}" font-size="{size:g}" font-weight="700" '
        f'fill="#fff" stroke="#101418" stroke-width="{wide:g}" paint-order="stroke">{number}</text>'
    )


def _dating(record: dict[str, Any]) -> str:
    years, sure = dating_words(record)
    if not years:
        return ""
    estimate = narrowed_estimate(record)
    best = estimate["variations"][0]["id"] if estimate else NOT_IN_GUIDE
    best = "" if best == NOT_IN_GUIDE else f", most likely {best}"
    return f"<p>By its photos: <strong>{escape(years)}</strong> ({escape(sure)}){escape(best)}.</p>"


def _claims(record: dict[str, Any]) -> str:
    rows = []
    for number, claim in enumerate(told_claims(record), 1):
        words = f"<q><bdi>{escape(claim['words'])}</bdi></q>"
        if claim["verdict"] == Verdict.CONTRADICTED.value:
            words = f"<s>{words}</s>"
        ratio = claim["ratio"]
        weight = f" Likelihood ratio {_ratio_words(ratio)}." if ratio is not None else ""
        rows.append(
            f'<li><span class="sign" aria-hidden="true">{SIGNS[claim["verdict"]]}</span>'
            f"<div>{number}. {words} <strong>{claim['verdict']}</strong>: "
            f"{escape(claim['text'])}.{escape(weight)}</div></li>"
        )
    if not rows:
        return "<p>The listing claims nothing that photos could tell.</p>"
    return f'<h3>What it claims</h3>\n<ul class="claims">{"".join(rows)}</ul>'


def _ratio_words(ratio: float) -> str:
    """Write a ratio, the larger number first, in two figures.

    Examples
    --------
    >>> _ratio_words(13.7), _ratio_words(0.04)
    ('14 to 1 for', '25 to 1 against')
    """
    large = max(ratio, 1 / ratio)
    text = f"{large:,.0f}" if large >= 10 else f"{large:.1f}"
    return f"{text} to 1 {'for' if ratio >= 1 else 'against'}"


def _mismatch(record: dict[str, Any]) -> str:
    items = "".join(f"<li>{escape(words)}</li>" for words in mismatch_words(record))
    return f"<h3>What does not fit together</h3>\n<ul>{items}</ul>" if items else ""


def _question(record: dict[str, Any]) -> str:
    words = ask_words(record)
    if not words:
        return ""
    return f'<div class="ask"><h3>What to ask next</h3><p>{escape(words)}</p></div>'


def _notes(record: dict[str, Any]) -> str:
    notes = list(record.get("notes", ()))
    if "failure" in record:
        notes.append(record["failure"])
    notes += [f"{p['path']}: {p['error']}" for p in record.get("photos", ()) if "error" in p]
    items = "".join(f"<li><bdi>{escape(note)}</bdi></li>" for note in notes)
    return f"<h3>Notes</h3>\n<ul>{items}</ul>" if items else ""


def _worth(record: dict[str, Any]) -> str:
    rows = "".join(
        f"<dt>{name}</dt><dd>{percent(share)}</dd>" for name, share in record["worth"].items()
    )
    return f"<details><summary>Value {record['value']:.2f}</summary>\n<dl>{rows}</dl></details>"


def _text(record: dict[str, Any]) -> str:
    """Return the listing's own words, with the claims marked where they stand."""
    if not record.get("description"):
        return ""
    text, pieces, at = record["description"], [], 0
    spans = sorted(
        (c["span"][1], c["span"][2]) for c in record["claims"] if c["span"][0] == "description"
    )
    for start, end in spans:
        if start >= at:
            pieces += [escape(text[at:start]), f"<mark>{escape(text[start:end])}</mark>"]
            at = end
    pieces.append(escape(text[at:]))
    words = f'<pre dir="auto">{"".join(pieces)}</pre>'
    return f"<details><summary>The listing's own words</summary>\n{words}</details>"


def _link(record: dict[str, Any]) -> str:
    """Return a link where it leads to the web; anything else is shown and not followed."""
    link = record.get("link", "")
    shown = f'<p class="quiet">{escape(record["id"])}; {escape(record["source"])}</p>'
    if not link:
        return shown
    if not link.lower().startswith(("https://", "http://")):
        return f"{shown}\n<p>{escape(link)}</p>"
    target = escape(link, quote=True)
    label = escape(record["title"] or record["id"])
    anchor = f'<a rel="noreferrer noopener" href="{target}">Open the listing: {label}</a>'
    return f"{shown}\n<p>{anchor}</p>"


def _foot(judged: Ranked) -> str:
    parts = []
    if judged.bad:
        rows = "".join(f"<li>{escape(bad.source)}: {escape(bad.reason)}</li>" for bad in judged.bad)
        parts.append(f"<h2>Rows that could not be read</h2>\n<ul>{rows}</ul>")
    cautions = "".join(f"<li>{escape(caution)}</li>" for caution in CAUTIONS)
    parts.append(f"<h2>Before you touch an engine</h2>\n<ul>{cautions}</ul>\n")
    return "\n".join(parts)
