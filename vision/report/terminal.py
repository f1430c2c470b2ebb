"""An answer as text for a terminal: the years first, then why, then what to look at next."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from vision.records import Answer, Cue, Estimate, State, Step
from vision.report.another import photo_words
from vision.report.rows import cue_rows, set_aside_words
from vision.report.steps import bearing, fits_words, weighed_reading, weighing_step, why_unused
from vision.report.under import guide_words, under_years
from vision.report.views import photo_names
from vision.report.words import (
    CAUTIONS,
    best_view,
    candidates_words,
    conflict_words,
    cue_words,
    headline,
    next_looks,
    next_words,
    percent,
    reading,
    suggests_touching,
)

# Columns: what a terminal has had since the punched card, and still opens with.
WIDTH = 80
INDENT = "  "
# Signs in front of a cue, explained under the list; words repeat them.
SIGNS = {"for": "+", "against": "-", "neutral": "."}

BOLD, PLAIN = "\x1b[1m", "\x1b[0m"


def terminal_text(
    answer: Answer, *, width: int = WIDTH, bold: bool = False, warn: bool = True
) -> str:
    """Lay an answer out as text.

    Parameters
    ----------
    answer : Answer
    width : int
        Columns; longer lines are wrapped. At least 40.
    bold : bool
        Whether to make the years bold with terminal codes. Nothing depends on it.
    warn : bool
        Whether to add the cautions where a hands-on check is suggested; whoever
        shows many answers says them once, with `caution_text`.

    Returns
    -------
    str
        Lines without a final newline.
    """
    width = max(40, width)
    lines = list(_names(answer, width))
    lines += _frame(*headline(answer), guide_words(answer), bold=bold, width=width)
    lines += wrapped(under_years(answer), width)
    estimate = answer.estimate
    if estimate is not None:
        lines += wrapped(candidates_words(estimate), width)
        for words in photo_words(answer):
            lines += wrapped(words, width)
        lines += ["", "Why", *_why(answer, estimate, width)]
        if estimate.conflicts:
            lines += ["", "What does not fit together"]
            lines += _bullets([conflict_words(conflict) for conflict in estimate.conflicts], width)
        if next_looks(estimate):
            lines += ["", "What to look at next"]
            lines += _bullets([next_words(look) for look in next_looks(estimate)], width)
    if warn and suggests_touching(answer):
        lines += ["", caution_text(width=width)]
    return "\n".join(lines)


def caution_text(*, width: int = WIDTH) -> str:
    """Lay out the usual cautions for whoever takes an engine in the hand."""
    return "\n".join(["Before you touch it", *_bullets(list(CAUTIONS), max(40, width))])


def _names(answer: Answer, width: int) -> Iterator[str]:
    for photo, name in zip(answer.photos, photo_names(answer), strict=True):
        # A path may be longer than the terminal; cutting it would make it useless.
        yield name
        for note in photo.notes:
            yield from wrapped(f"note: {note}", width)


def _frame(years: str, sure: str, guide: str, *, bold: bool, width: int) -> Iterator[str]:
    """Years in a box, for want of larger letters, with how sure and by which guide beside it."""
    rule = "═" * (len(years) + 4)
    free = max(20, width - len(years) - 12)
    beside = [*(textwrap.wrap(sure, free) or [""]), *textwrap.wrap(guide, free)]
    shown = f"{BOLD}{years}{PLAIN}" if bold else years
    yield f"{INDENT}╔{rule}╗"
    yield f"{INDENT}║  {shown}  ║   {beside[0]}".rstrip()
    yield f"{INDENT}╚{rule}╝{''.join(f'   {line}' for line in beside[1:2])}"
    for line in beside[2:]:
        yield f"{INDENT}{' ' * (len(years) + 9)}{line}"


def wrapped(
    text: str, width: int, first: str = INDENT, rest: str = INDENT, *, hyphens: bool = True
) -> list[str]:
    """Lines of at most `width` columns, unless a word is longer.

    Begun with `first` and `rest`, and broken after hyphens only where `hyphens` says so.
    """
    # A no-break space keeps a number and its sign on one line, and is not left in the text.
    lines = textwrap.wrap(
        text.replace(" %", "\u00a0%"),
        width,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=hyphens,
    )
    return [line.replace("\u00a0%", " %") for line in lines]


def _bullets(texts: list[str], width: int) -> list[str]:
    return [line for text in texts for line in wrapped(text, width, "  * ", "    ")]


def _why(answer: Answer, estimate: Estimate, width: int) -> Iterator[str]:
    signs = set()
    told = set()
    rows = cue_rows(answer)
    column = max((len(cue_words(cue.name)) for cue, _ in rows), default=0)
    for cue, given_way in rows:
        step = weighing_step(cue, estimate)
        sign = _sign(cue, step, estimate)
        signs.add(sign)
        yield f"  {sign} {cue_words(cue.name):<{column}}  {_state(cue, answer, estimate)}"
        if cue.because and cue.source != "person":
            yield from wrapped(cue.because, width, "      ", "      ")
        # The tender's cues share one step, which is told once.
        if step is not None and step.cue not in told:
            told.add(step.cue)
            yield from wrapped(fits_words(step, estimate), width, "      ", "      ")
        if why := why_unused(cue, estimate):
            yield from wrapped(why, width, "      ", "      ")
        for other in given_way:
            yield from wrapped(set_aside_words(other, cue), width, "      ", "      ")
    yield from wrapped(_key(signs), width)


def _sign(cue: Cue, step: Step | None, estimate: Estimate) -> str:
    if cue.state is State.UNSEEN and step is None:
        return "?"
    return SIGNS["neutral"] if step is None else SIGNS[bearing(step, estimate)]


def _state(cue: Cue, answer: Answer, estimate: Estimate) -> str:
    if cue.state is State.UNSEEN:
        return reading(cue)
    read, sure = weighed_reading(cue, estimate)
    whose = "as you say" if cue.source == "person" else percent(sure)
    view = best_view(cue, answer)
    return f"{read} ({whose}{', ' if view else ''}{view})"


def _key(signs: set[str]) -> str:
    meanings = (
        ("+", "for the first variation named"),
        ("-", "against it"),
        (".", "tells little or is set aside"),
        ("?", "not visible or unclear, changes nothing"),
    )
    return "; ".join(f"{sign} {meaning}" for sign, meaning in meanings if sign in signs)
