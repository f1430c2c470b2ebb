"""What a step of the argument says of a cue: which variations it fits, and how strongly."""

from __future__ import annotations

from vision.estimate.argument import NO_VARIATION
from vision.estimate.saying import misread_words, number_weighed
from vision.estimate.strength import NO_SUPPORT
from vision.records import Cue, Estimate, Step
from vision.report.narrowing import NOT_IN_GUIDE, by_candidate
from vision.report.rival import rival_bearing, rival_words
from vision.report.words import reading

_NOTHING_FITS = "fits no variation"
# Steps that record why a cue changed nothing.
_SILENT_STEPS = ("unseen", "superseded", "unused")
# How `Step.strength` says that a step speaks against the first candidate.
_AGAINST = " against "


def is_set_aside(cue: Cue, estimate: Estimate) -> bool:
    """Whether a photo's cue gave way to what a person says of the same part."""
    dropped = {step.cue for step in estimate.steps if step.kind == "superseded"}
    return cue.source == "photo" and cue.name in dropped


def why_unused(cue: Cue, estimate: Estimate) -> str:
    """Why the guide makes nothing of a cue's reading; empty where it does."""
    steps = (s for s in estimate.steps if s.kind == "unused" and s.cue == cue.name)
    return next((s.text.rpartition(": ")[2] for s in steps if cue.speaks), "")


def weighing_step(cue: Cue, estimate: Estimate) -> Step | None:
    """Return the step in which a cue was weighed; None where it changed nothing.

    All cues of the tender are weighed in one step, and a photo's cue that a person
    corrected in none; nor is lettering of which the guide knows nothing.
    """
    if not cue.speaks or is_set_aside(cue, estimate) or why_unused(cue, estimate):
        return None
    names = (cue.name, "tender") if cue.name.startswith("tender_") else (cue.name,)
    weighed = (step for step in estimate.steps if step.kind not in _SILENT_STEPS)
    return next((step for step in weighed if step.cue in names), None)


def weighed_reading(cue: Cue, estimate: Estimate) -> tuple[str, float]:
    """Say what was read as it is weighed, and how surely.

    That is the cue's own reading and confidence, but for a cab number that may well be
    another misread.
    """
    step = weighing_step(cue, estimate)
    if step is None or not step.taken_for or cue.source != "photo":
        return reading(cue), cue.confidence
    return number_weighed(reading(cue), step.taken_for)


def bearing(step: Step, estimate: Estimate | None = None) -> str:
    """Whether a step speaks for the first candidate: "for", "against" or "neutral".

    Read off the step's own words, so that the sign never contradicts them. Where they
    say that it tells nothing, and its estimate is given, it goes by the nearest rival.
    """
    if not step.strength or step.strength.startswith(NO_SUPPORT):
        return "neutral" if estimate is None else rival_bearing(step, estimate)
    return "against" if _AGAINST in step.strength else "for"


def fits_words(step: Step, estimate: Estimate | None = None) -> str:
    """Which variations a step fits, and how strongly it speaks.

    A variation fits where its likelihood is at least half the greatest. Where an engine
    of no variation explains what was read more than twice as well as the best of them,
    or the step's text says that none was made so, none fits. Given its estimate, also
    what it does between the first variation and its nearest rival.
    """
    likelihoods = by_candidate(step.likelihoods)
    elsewhere = likelihoods.pop(NOT_IN_GUIDE, 0.0)
    greatest = max(likelihoods.values(), default=0.0)
    least = 0.5 * max(greatest, elsewhere if elsewhere > 2.0 * greatest else 0.0)
    fitting = [id for id, p in likelihoods.items() if p >= least]
    if not fitting or step.text.endswith(NO_VARIATION):
        fits = _NOTHING_FITS
    elif len(fitting) == len(likelihoods):
        fits = "fits every variation"
    else:
        fits = f"fits {', '.join(fitting)}"
    if misread := misread_words(step.taken_for):
        fits += f", unless it is {misread}"
    rival = "" if estimate is None else rival_words(step, estimate)
    if rival and step.strength.startswith(NO_SUPPORT):
        return f"{fits}: {step.strength} among all together, but {rival}"
    if fits.startswith(_NOTHING_FITS) and step.strength.startswith(NO_SUPPORT):
        # It does lessen every variation, though by less than any word of strength stands for.
        return f"{fits}, but weighs too little for support either way"
    told = "; ".join(words for words in (step.strength, rival) if words)
    return f"{fits}: {told}" if told else fits
