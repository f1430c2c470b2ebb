"""The words that every surface shares, so that they never say different things."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from vision.records import Answer, Candidate, Cue, Estimate, NotFound, Sighting, State, Step

CUE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "switch_lever": "switch lever",
        "side_linkage": "side linkage",
        "edge_stripe": "edge stripe",
        "tender_axles": "tender axles",
        "tender_lamps": "tender lamps",
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

# What the estimate calls the hypothesis that an engine is none of the guide's.
NOT_IN_GUIDE = "other"

# Common practice, no source.
CAUTIONS = (
    "Unplug the engine and the transformer before you touch either.",
    "Old insulation crumbles and can bare live parts; do not flex old wires.",
    "Old paint may contain lead: no sanding, and wash your hands.",
    "Leave mains parts to a licensed electrician and your local codes.",
)

# A cue counts for or against the answer once it makes the first candidate at least
# this much more or less probable than the rest. Chosen: 1.25 is the strength at which
# an even chance becomes 56 %, the least that a reader would notice.
BEARING_RATIO = 1.25


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


def percent(p: float) -> str:
    """Write a probability in whole percent, never rounded to a certainty it is not.

    Examples
    --------
    >>> percent(0.934), percent(0.9991), percent(0.0004)
    ('93 %', 'over 99 %', 'under 1 %')
    """
    if 0.995 <= p < 1.0:
        return "over 99 %"
    if 0.0 < p < 0.005:
        return "under 1 %"
    return f"{100 * p:.0f} %"


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
    """
    either = edtf.startswith("[")
    text = re.sub(r"(\d{4})%", r"perhaps about \1", edtf.strip("[]{}"))
    text = re.sub(r"(\d{4})~", r"about \1", text)
    text = re.sub(r"(\d{4})\?", r"perhaps \1", text)
    text = re.sub(r"\b(\d{3})X", r"\g<1>0s", text)
    parts = [re.sub(r"\.\.|/", "–", part.strip()) for part in text.split(",")]
    if len(parts) == 1:
        return parts[0]
    joint = "or" if either else "and"
    return f"{', '.join(parts[:-1])} {joint} {parts[-1]}"


def reading(cue: Cue) -> str:
    """What was read: a state in words, or the value of a valued cue."""
    if cue.state is State.PRESENT and cue.value is not None:
        return cue.value
    return STATE_WORDS[cue.state]


def headline(answer: Answer) -> tuple[str, str]:
    """Years and how sure, or that and why there is no answer."""
    if answer.estimate is None:
        return "no locomotive found", not_found_reason(answer)
    sure = answer.estimate.confidence
    words = f"{confidence_words(sure)} ({percent(sure)})"
    return years_words(answer.estimate.years) or "no years", words


def not_found_reason(answer: Answer) -> str:
    """Why no photo shows a locomotive; each reason once."""
    reasons = [s.reason for s in answer.sightings if isinstance(s, NotFound)]
    return "; ".join(dict.fromkeys(reasons))


def candidates_words(estimate: Estimate, *, least: float = 0.01) -> str:
    """The variations worth naming, most probable first."""
    named = [c for c in estimate.variations if c.p >= least] or list(estimate.variations[:1])
    return ", ".join(f"{candidate_words(c)} {percent(c.p)}" for c in named)


def candidate_words(candidate: Candidate) -> str:
    """Name of a variation with its years, or of the hypothesis that it is none."""
    if candidate.id == NOT_IN_GUIDE:
        return "not in this guide"
    return f"{candidate.id} ({years_words(candidate.years)})" if candidate.years else candidate.id


def bearing(step: Step, estimate: Estimate) -> str:
    """Whether a step speaks for the first candidate: "for", "against" or "neutral".

    The likelihood under the first candidate is compared with the mean over the
    others, weighed by their probabilities.
    """
    if not estimate.variations:
        return "neutral"
    first, *rest = estimate.variations
    here = step.likelihoods.get(first.id)
    others = [(c.p, step.likelihoods[c.id]) for c in rest if c.id in step.likelihoods]
    weight = sum(p for p, _ in others)
    if here is None or weight <= 0.0:
        return "neutral"
    there = sum(p * likelihood for p, likelihood in others) / weight
    if here >= there * BEARING_RATIO:
        return "for"
    if here * BEARING_RATIO <= there:
        return "against"
    return "neutral"


def first_sighting(answer: Answer) -> Sighting | None:
    """Return the first photo's sighting that found an engine, or None."""
    return next((s for s in answer.sightings if isinstance(s, Sighting)), None)


def cautions(answer: Answer) -> tuple[str, ...]:
    """Return the usual cautions where a hands-on check is suggested, else none."""
    estimate = answer.estimate
    if estimate is None or not any(look.hands_on for look in estimate.look_next):
        return ()
    return CAUTIONS
