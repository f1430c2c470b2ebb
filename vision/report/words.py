"""The words that every surface shares, so that they never say different things."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from types import MappingProxyType

from vision.estimate.strength import percent as percent  # said alike on every surface
from vision.guide import years_of
from vision.records import (
    PERHAPS_SEVERAL,
    YEAR_UNKNOWN,
    Answer,
    Candidate,
    Conflict,
    Cue,
    Estimate,
    NextLook,
    NotFound,
    Sighting,
    State,
)
from vision.report.narrowing import (
    NOT_IN_GUIDE,
    all_years_open,
    favours_in_part,
    of_one_variation,
    shows_several,
    tells_nothing,
)

CUE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "switch_lever": "switch lever",
        "side_linkage": "side linkage",
        "edge_stripe": "edge stripe",
        "driving_axles": "driving axles",
        "tender_coupled": "tender coupled",
        "tender_axles": "tender axles",
        "tender_lamps": "tender lamps",
        "tender_lettering": "tender lettering",
        "cab_number": "cab number",
    }
)
STATE_WORDS: Mapping[State, str] = MappingProxyType(
    {State.PRESENT: "present", State.ABSENT: "absent", State.UNSEEN: "not visible"}
)

# Probability words of the IPCC guidance note on uncertainties (Mastrandrea et al.
# 2010, table 1) with the finer steps of its AR5 use; lower bounds, first match wins.
CONFIDENCE_WORDS = (
    (0.99, "virtually certain"),
    (0.95, "extremely likely"),
    (0.90, "very likely"),
    (0.66, "likely"),
    (0.50, "more likely than not"),
    (0.33, "about as likely as not"),
    (0.10, "unlikely"),
    (0.00, "very unlikely"),
)

# Said of a part in plain sight that could not be made out, before what it leans to.
UNCLEAR = "unclear"
LEANING_FROM = 0.6  # from which an unclear cue is said to lean; chosen
# Said of a part that a person has looked at in vain.
NOT_TOLD = "cannot be told"
# Of an engine of no variation, and of that as a candidate.
OUTSIDE_GUIDE = "not in this guide"
# In place of years, where nothing in view tells one variation from another.
NOT_NARROWED = "not narrowed down"
# In place of years, of photos that do not show one engine.
MORE_THAN_ONE = "more than one engine"
SORT_PHOTOS = "so it seems; date the photos of each by themselves"
# Why it is not.
SEVERAL = "the photos seem to show more than one engine"
NOTHING_TOLD = "nothing in view tells one variation from another"
CANCELLED = "what is seen speaks for some variations as much as for others"
NOTHING_TOLD_OF_ONE = "nothing in view tells the guide's one variation from another engine"
# How the variations are headed that photos of several engines would speak for.
AS_ONE = "taken as one engine"
# And where a guide has a single one, of which the photo told nothing.
BY_GUIDE = "by the guide alone"

# Common practice, no source.
CAUTIONS = (
    "Unplug the engine and the transformer before you touch either.",
    "Old insulation crumbles and can bare live parts; do not flex old wires.",
    "Old paint may contain lead: no sanding, and wash your hands.",
    "Leave mains parts to a licensed electrician and your local codes.",
)

# Bits, and a number: what is worth a person's while to look at, and what they will
# read. Chosen: a tenth of what tells one of two equals from the other. All are in the JSON.
LEAST_GAIN = 0.1
MOST_LOOKS = 3


def cue_words(name: str) -> str:
    """Name of a cue or hands-on check as people write it."""
    return CUE_WORDS.get(name, name.replace("_", " "))


def confidence_words(p: float) -> str:
    """Words for a probability.

    Parameters
    ----------
    p : float
        0 to 1.

    Examples
    --------
    >>> confidence_words(0.93)
    'very likely'
    """
    return next(words for bound, words in CONFIDENCE_WORDS if p >= bound)


def years_words(edtf: str) -> str:
    """Write an EDTF expression (ISO 8601-2) for people.

    Examples
    --------
    >>> years_words("1934/1935")
    '1934–1935'
    >>> years_words("[1931..1932,1934]")
    '1931–1932 or 1934'
    >>> years_words("1937~")
    'about 1937'
    >>> years_words("../1936"), years_words("1937/..")
    ('until 1936', 'from 1937 on')
    """
    either = edtf.startswith("[")
    text = re.sub(r"(\d{4})%", r"perhaps about \1", edtf.strip("[]{}"))
    text = re.sub(r"(\d{4})~", r"about \1", text)
    text = re.sub(r"(\d{4})\?", r"perhaps \1", text)
    text = re.sub(r"\b(\d{3})X", r"\g<1>0s", text)
    parts = [_span_words(part.strip()) for part in text.split(",")]
    if len(parts) == 1:
        return parts[0]
    joint = "or" if either else "and"
    return f"{', '.join(parts[:-1])} {joint} {parts[-1]}"


def counted(count: int, what: str, many: str = "") -> str:
    """Write a number before what there are so many of; `many` where that takes more than an s."""
    return f"{count} {what if count == 1 else many or f'{what}s'}"


def _span_words(span: str) -> str:
    if until := re.fullmatch(r"\.\./?(?=\S)(.+)", span):
        return f"until {until[1]}"
    if since := re.fullmatch(r"(.+?)/?\.\.", span):
        return f"from {since[1]} on"
    return re.sub(r"\.\.|/", "–", span)


def reading(cue: Cue) -> str:
    """What was read: a state in words, or the value of a valued cue."""
    if cue.state is State.PRESENT and cue.value is not None:
        return cue.value
    if cue.state is State.UNSEEN and cue.source == "person":
        return NOT_TOLD
    p = cue.leaning
    if p is not None and (sure := max(p, 1.0 - p)) >= LEANING_FROM:
        leans = State.PRESENT if p >= 0.5 else State.ABSENT
        return f"{UNCLEAR}, perhaps {STATE_WORDS[leans]} ({percent(sure)})"
    if cue.perhaps is not None:
        return f"{UNCLEAR}, perhaps {cue.perhaps} ({percent(cue.may_be[cue.perhaps])})"
    if cue.state is State.UNSEEN and cue.in_sight:
        return UNCLEAR
    return STATE_WORDS[cue.state]


def best_view(cue: Cue, answer: Answer) -> str:
    """Say which of several photos shows a cue best; nothing where there is no choice."""
    if len(answer.photos) < 2 or cue.source != "photo" or cue.state is State.UNSEEN:
        return ""
    return f"best in photo {cue.photo + 1}"


def headline(answer: Answer, *, alone: bool = False) -> tuple[str, str]:
    """Years and how sure, or that and why there is no answer; `alone`, with nothing below it."""
    if answer.estimate is None:
        return "no locomotive found", not_found_reason(answer)
    sure = answer.estimate.confidence
    if shows_several(answer.estimate):
        return MORE_THAN_ONE, SORT_PHOTOS
    if answer.estimate.years == YEAR_UNKNOWN:
        return "year unknown", f"{OUTSIDE_GUIDE}: {confidence_words(sure)} ({percent(sure)})"
    if tells_nothing(answer.estimate):
        years = years_words(answer.estimate.years)
        if of_one_variation(answer.estimate):
            return NOT_NARROWED, f"{NOTHING_TOLD_OF_ONE}; the guide has {years}"
        why = CANCELLED if favours_in_part(answer.estimate) else NOTHING_TOLD
        one = len(years_of(answer.estimate.years)) == 1
        left = f"the guide has {years} alone" if one else f"{years} all stay possible"
        return NOT_NARROWED, f"{why}; {left}"
    years, words = years_words(answer.estimate.years), f"{confidence_words(sure)} ({percent(sure)})"
    if all_years_open(answer.estimate):
        years, words = NOT_NARROWED, f"the years of the guide, {years}, all stay possible"
    kinds = {conflict.kind for conflict in answer.estimate.conflicts}
    if "views" in kinds:
        words += "; the photos disagree"
        words += " and may show several engines" if PERHAPS_SEVERAL in kinds else ""
        words += "" if alone else ", see below"
    return years, words


def not_found_reason(answer: Answer) -> str:
    """Why no photo shows a locomotive; each reason once."""
    reasons = [s.reason for s in answer.sightings if isinstance(s, NotFound)]
    return "; ".join(dict.fromkeys(reasons))


def candidates_words(estimate: Estimate, *, least: float = 0.01) -> str:
    """The variations worth naming, most probable first."""
    named = [c for c in estimate.variations if c.p >= least] or list(estimate.variations[:1])
    words = ", ".join(f"{candidate_words(c)} {percent(c.p)}" for c in named)
    how = taken_as(estimate)
    return f"{how}: {words}" if how else words


def taken_as(estimate: Estimate) -> str:
    """How the shares of the variations are meant, where it is not as what the photo shows."""
    if shows_several(estimate):
        return AS_ONE
    return BY_GUIDE if of_one_variation(estimate) and tells_nothing(estimate) else ""


def candidate_words(candidate: Candidate) -> str:
    """Name of a variation with its years, or of the hypothesis that it is none."""
    if candidate.id == NOT_IN_GUIDE:
        return OUTSIDE_GUIDE
    return f"{candidate.id} ({years_words(candidate.years)})" if candidate.years else candidate.id


def conflict_words(conflict: Conflict) -> str:
    """What does not fit together, with the cues named as everywhere else.

    Examples
    --------
    >>> conflict_words(Conflict("views", ("edge_stripe",), "edge_stripe: photos differ"))
    'edge stripe: photos differ'
    """
    text = conflict.text
    for name in conflict.cues:
        text = text.replace(name, cue_words(name))
    return text


def next_looks(estimate: Estimate, *, skip: Collection[str] = ()) -> tuple[NextLook, ...]:
    """Return the looks worth naming to a person but those to `skip`, the most telling first.

    None of photos that seem to show several engines: of which would be asked?
    """
    if shows_several(estimate):
        return ()
    telling = (look for look in estimate.look_next if look.gain_bits >= LEAST_GAIN)
    return tuple(look for look in telling if look.name not in skip)[:MOST_LOOKS]


def next_words(look: NextLook) -> str:
    """What to look at, how, what it promises, and what to mind.

    Examples
    --------
    >>> next_words(NextLook("gears", "Look behind the wheel.", 0.61, True, 1.34, "Unplug it."))
    'gears: Look behind the wheel. Unplug it. (would leave about 1.3 candidates)'
    """
    caution = f" {look.caution}" if look.caution else ""
    left = look.candidates_left
    promise = "" if left is None else f" (would leave about {left:.1f} candidates)"
    return f"{cue_words(look.name)}: {look.instruction}{caution}{promise}"


def first_sighting(answer: Answer) -> Sighting | None:
    """Return the first photo's sighting that found an engine, or None."""
    return next((s for s in answer.sightings if isinstance(s, Sighting)), None)


def suggests_touching(answer: Answer) -> bool:
    """Whether a check by hand is among the looks that are named."""
    estimate = answer.estimate
    return estimate is not None and any(look.hands_on for look in next_looks(estimate))
