"""What a guide is worth, as text."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

from vision.estimate import Eyesight, Tally, wilson
from vision.estimate.eyes import READINGS
from vision.guide import Guide
from vision.records import BINARY_CUES, COUPLED, LETTERING
from vision.report.guide_terminal import columns_text
from vision.report.narrowing import NOT_IN_GUIDE
from vision.report.terminal import WIDTH
from vision.report.words import cue_words

# Cues that can be read as absent, where the others are read as another value.
WITH_ABSENCE = (*BINARY_CUES, COUPLED, LETTERING)
READING_WORDS = {"edge_stripe_colour": "stripe colour"}
MEASURED = "measured"
MEASURED_NOTE = (
    "measured: the share of pictures in which the shipped networks stated the cue when they "
    "were fitted (models/fusion.json), on renders, not photographs"
)
NOTE = (
    "Right: the true variation is named first (for an engine of no variation: that it "
    "is none). As made: the same among engines on which no part was altered. Year held: the "
    "true year is in the stated set, which claims 90 %, or what the chance of another "
    "variation leaves of it; claimed: what the sets claim on average. Years: how many such "
    "a set holds on average. In brackets 95 % Wilson intervals."
)


def readings_of(guide: Guide) -> tuple[str, ...]:
    """Names of what an eye reads on engines of this guide, in the order of the table.

    Left out: numbers, colours, driving axles and tenders where the guide has none, lettering
    where it says of no tender whether it is lettered, and a tender that is coupled where it
    is not of a tank engine.
    """
    missing = set() if guide.numbers else {"cab_number"}
    missing |= set() if guide.driving_axles is not None else {"driving_axles"}
    missing |= set() if guide.stripe_colours else {"edge_stripe_colour"}
    missing |= set() if guide.tells_lettering else {LETTERING}
    if not guide.tenders:
        missing |= {name for name in READINGS if name.startswith("tender_")} - {COUPLED}
    missing |= set() if guide.tank_engine else {COUPLED}
    return tuple(name for name in READINGS if name not in missing)


def sight_text(guide: Guide, sight: Eyesight, origins: Mapping[str, str]) -> list[str]:
    """The realistic eye: each cue's rates and where they come from."""
    rows = [("cue", "seen", "if there", "if not there", "rates")]
    for name in readings_of(guide):
        skill = sight.skills[name]
        other = _whole(skill.specificity) if name in WITH_ABSENCE else ""
        words = READING_WORDS.get(name, cue_words(name))
        rows.append((words, _whole(skill.visible), _whole(skill.sensitivity), other, origins[name]))
    lines = columns_text(rows, WIDTH)
    lines += [f"a check by hand: answered right in {_whole(sight.check)}"]
    if any(MEASURED in origin for origin in origins.values()):
        lines += textwrap.wrap(MEASURED_NOTE, WIDTH)
    return lines


def worth_text(eyes: Mapping[str, Sequence[Tally]], *, width: int = WIDTH) -> list[str]:
    """Shares at each stage for each eye, then variation by variation.

    Parameters
    ----------
    eyes : mapping of name to tallies
        From `simulate`.
    width : int
        Columns.
    """
    rows: list[tuple[str, ...]] = [("", "right, %", "as made", "year held, %", "claimed", "years")]
    for eye, tallies in eyes.items():
        rows.append((f"{eye} eye", "", "", "", "", ""))
        for tally in tallies:
            rows.append((f"  {_short(tally.stage)}", *_shares(tally)))
    lines = columns_text(rows, width)
    lines += ["", *textwrap.wrap(NOTE, width), ""]
    last = {eye: tallies[-1] for eye, tallies in eyes.items()}
    first = next(iter(last.values()))
    lead = f"By variation, {first.stage}: right, and year held; none: of no variation here"
    lines += textwrap.wrap(lead, width)
    head = ("", *(f"{eye} eye" for eye in last), "mostly taken for")
    body = [_by_variation(id, last) for id in sorted(first.named, key=_other_last)]
    return lines + columns_text([head, *body], width)


def _short(stage: str) -> str:
    """Name of a stage that leaves room for its figures."""
    if stage.endswith("answered"):
        return "+ first check"
    return stage.replace("with ", "+ ").replace(" and ", ", ")


def _shares(tally: Tally) -> tuple[str, ...]:
    years = f"{tally.years / tally.dated:.1f}" if tally.dated else ""
    return (
        share_text(tally.right, tally.items),
        f"{100 * tally.made_right / tally.made:.1f}" if tally.made else "",
        share_text(tally.held, tally.items),
        f"{100 * tally.stated / tally.items:.1f}",
        years,
    )


def share_text(count: int, n: int) -> str:
    """Write a share in per cent with its interval.

    Examples
    --------
    >>> share_text(95, 100)
    '95.0 (88.8–97.8)'
    """
    low, high = wilson(count, n)
    return f"{100 * count / n:.1f} ({100 * low:.1f}–{100 * high:.1f})"


def _whole(share: float) -> str:
    return f"{100 * share:.0f} %" if share in (0.0, 1.0) else f"{100 * share:.1f} %"


def _by_variation(id: str, last: Mapping[str, Tally]) -> tuple[str, ...]:
    cells = []
    mistaken = []
    for tally in last.values():
        named = tally.named.get(id)
        if named is None:
            cells.append("none drawn")
            continue
        n = named.total()
        cells.append(f"{named[id]} of {n}, {100 * tally.held_of[id] / n:.0f} %")
        wrong = [(count, other) for other, count in named.items() if other != id]
        mistaken = [f"{_name(other)} ({count})" for count, other in sorted(wrong)[:-3:-1]]
    return (_name(id), *cells, ", ".join(mistaken))


def _name(id: str) -> str:
    return "none" if id == NOT_IN_GUIDE else id


def _other_last(id: str) -> tuple[bool, str]:
    return id == NOT_IN_GUIDE, id
