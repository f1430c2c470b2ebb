"""An answer as one HTML page with nothing outside it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from vision.records import Answer, Estimate, State
from vision.report.another import photo_words
from vision.report.picture import picture_html
from vision.report.rows import cue_rows, set_aside_words
from vision.report.steps import bearing, fits_words, weighed_reading, weighing_step, why_unused
from vision.report.under import guide_words, under_years
from vision.report.views import photo_names
from vision.report.words import (
    CAUTIONS,
    best_view,
    candidate_words,
    conflict_words,
    cue_words,
    headline,
    next_looks,
    next_words,
    percent,
    reading,
    suggests_touching,
    taken_as,
)

# 360 px is the narrowest phone still common; the page has one column up to there.
STYLE = """
:root { color-scheme: light dark; --line: #8886; --quiet: #4b5460; }
@media (prefers-color-scheme: dark) { :root { --quiet: #a3adb9; } }
html { background: Canvas; color: CanvasText; }
body { font: 1rem/1.5 system-ui, sans-serif; margin: 0 auto; padding: 1rem; max-width: 44rem;
  background: inherit; }
article + article { border-top: 3px double var(--line); margin-top: 2rem; }
.years { font-size: 2.6rem; font-weight: 700; line-height: 1.1; margin: .6rem 0 0; }
.sure { font-size: 1.2rem; margin: 0; }
.by, .under { margin: .2rem 0 0; }
.under { font-weight: 600; }
.marked { margin: .8rem 0; }
.marked img { display: block; width: 100%; height: auto; border-radius: .4rem; }
h2 { font-size: 1.1rem; margin: 1.4rem 0 .3rem; }
table { border-collapse: collapse; width: 100%; }
th, td { border-top: 1px solid var(--line); padding: .3rem .5rem .3rem 0; text-align: left;
  vertical-align: top; overflow-wrap: anywhere; }
.quiet { color: var(--quiet); overflow-wrap: anywhere; }
.cards th, .cards td:not(:last-child) { overflow-wrap: break-word; }
@media (max-width: 40rem) {
  .cards thead { position: absolute; clip-path: inset(50%); height: 1px; width: 1px;
    overflow: hidden; }
  .cards tr { display: block; border: 1px solid var(--line); border-radius: .4rem;
    padding: .4rem .7rem; margin: .6rem 0; }
  .cards th, .cards td { display: flex; border: 0; padding: .1rem 0; }
  .cards th { font-size: 1.1rem; }
  .cards td::before { content: attr(data-label); flex: 0 0 var(--label, 45%);
    color: var(--quiet); }
}
"""
# Nothing runs and nothing is loaded; pictures stand in the page itself.
POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
BEARING_WORDS = {"for": "for", "against": "against", "neutral": "tells little"}
UNSEEN_WORDS = "changes nothing"


def answer_html(answer: Answer) -> str:
    """One page that shows one answer; see `page`."""
    return page([article(answer)], warn=suggests_touching(answer))


def page(articles: Iterable[str], *, warn: bool) -> str:
    """Put articles on a whole HTML page without scripts, links or other files.

    Parameters
    ----------
    articles : iterable of str
        From `article`.
    warn : bool
        Whether to add the usual cautions, once for all answers.
    """
    before, after = around(warn=warn)
    return before + "\n".join(articles) + after


def around(*, warn: bool) -> tuple[str, str]:
    """What stands before and after the articles of a page; `page` puts them together."""
    cautions = "\n" + _list("Before you touch it", CAUTIONS) if warn else ""
    place = "<main>\n"
    before, _, after = document("telltale", f"{place}{cautions}\n</main>").partition(place)
    return before + place, after


def document(title: str, body: str, *, style: str = "") -> str:
    """Return a whole HTML page that may load nothing and run nothing.

    Parameters
    ----------
    title : str
        Plain text; is escaped.
    body : str
        HTML.
    style : str
        CSS after the common one.
    """
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}{style}</style>\n</head>\n"
        f"<body>\n{body}\n</body>\n</html>\n"
    )


def article(answer: Answer) -> str:
    """One answer as an HTML article with its photos, marked.

    All text from files and guides is escaped.
    """
    years, sure = headline(answer)
    guide, under = guide_words(answer), under_years(answer)
    names = "<br>".join(map(escape, photo_names(answer)))
    notes = [note for photo in answer.photos for note in photo.notes] + photo_words(answer)
    parts = [
        f'<h1 class="years">{escape(years)}</h1>',
        f'<p class="sure">{escape(sure)}</p>',
        f'<p class="quiet by">{escape(guide)}</p>' if guide else "",
        f'<p class="under">{escape(under)}</p>' if under else "",
        f'<p class="quiet">{names}</p>',
        _list("", notes),
        *(picture_html(answer, index) for index in range(len(answer.photos))),
    ]
    estimate = answer.estimate
    if estimate is not None:
        parts += [
            _variations(estimate),
            _cues(answer, estimate),
            _list("What does not fit together", map(conflict_words, estimate.conflicts)),
            _list("What to look at next", [next_words(look) for look in next_looks(estimate)]),
        ]
    made_by = "; ".join(f"{key} {value}" for key, value in answer.versions.items())
    parts.append(f'<p class="quiet">{escape(made_by)}</p>')
    return "<article>\n" + "\n".join(part for part in parts if part) + "\n</article>"


def _variations(estimate: Estimate) -> str:
    rows = [(candidate_words(c), percent(c.p)) for c in estimate.variations]
    title = ", ".join(filter(None, ("Variations", taken_as(estimate))))
    return _table(title, ("Variation", "Probability"), rows)


def _cues(answer: Answer, estimate: Estimate) -> str:
    rows = []
    for cue, given_way in cue_rows(answer):
        step = weighing_step(cue, estimate)
        weight = BEARING_WORDS["neutral" if step is None else bearing(step, estimate)]
        weight = UNSEEN_WORDS if cue.state is State.UNSEEN and step is None else weight
        fits = fits_words(step, estimate) if step is not None else ""
        told = [cue.because, best_view(cue, answer), fits]
        told.append(why_unused(cue, estimate))
        told += [set_aside_words(other, cue) for other in given_way]
        read, p = weighed_reading(cue, estimate)
        sure = "you say so" if cue.source == "person" else percent(p)
        seen = reading(cue) if cue.state is State.UNSEEN else f"{read} ({sure})"
        seen = seen.replace(" %", "\u00a0%")  # a narrow column would break it there
        rows.append((cue_words(cue.name), seen, weight, "; ".join(t for t in told if t)))
    heads = ("Cue", "Seen", "Speaks", "Because")
    table = cards(heads, [tuple(escape(text) for text in row) for row in rows], label="25%")
    return f"<h2>Why</h2>\n{table}"


def cards(heads: Sequence[str], rows: Iterable[Sequence[str]], *, label: str = "45%") -> str:
    """Set a table whose rows become cards below 40rem, since it would not fit 360 px.

    The roles keep it a table for those who hear the page.

    Parameters
    ----------
    heads : sequence of str
        Plain text.
    rows : iterable of sequence of str
        HTML; the first cell of a row is its head.
    label : str
        Width of the labels on a card, CSS.
    """
    head = "".join(f'<th scope="col" role="columnheader">{escape(h)}</th>' for h in heads)
    lines = []
    for row in rows:
        cells = [f'<th scope="row" role="rowheader">{row[0]}</th>']
        for name, cell in zip(heads[1:], row[1:], strict=True):
            cells.append(f'<td role="cell" data-label="{escape(name)}"><span>{cell}</span></td>')
        lines.append(f'<tr role="row">{"".join(cells)}</tr>')
    body = "\n".join(lines)
    return (
        f'<table class="cards" role="table" style="--label: {label}">\n'
        f'<thead role="rowgroup"><tr role="row">{head}</tr></thead>\n'
        f'<tbody role="rowgroup">\n{body}\n</tbody>\n</table>'
    )


def _table(title: str, heads: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in heads)
    body = "\n".join(
        "<tr>" + "".join(f"<td>{escape(text)}</td>" for text in row) + "</tr>" for row in rows
    )
    return f"<h2>{escape(title)}</h2>\n<table>\n<tr>{head}</tr>\n{body}\n</table>"


def _list(title: str, items: Iterable[str]) -> str:
    entries = "\n".join(f"<li>{escape(item)}</li>" for item in items)
    if not entries:
        return ""
    head = f"<h2>{escape(title)}</h2>\n" if title else ""
    return f"{head}<ul>\n{entries}\n</ul>"
