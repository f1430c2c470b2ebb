"""What a step of the argument says of a cue: which variations it fits, and how strongly."""

from __future__ import annotations

from vision.estimate.saying import misread_words, number_weighed
from vision.estimate.strength import NO_SUPPORT, support
from vision.records import Cue, Estimate, State, Step
from vision.report.narrowing import NOT_IN_GUIDE, by_candidate
from vision.report.rival import rival_bearing, rival_words
from vision.report.words import reading

_NOTHING_FITS = "fits no variation"
_NEARLY = 0.5  # as likely as the likeliest value, from which another is named beside it; chosen
# Steps that record why a cue changed nothing.
_SILENT_STEPS = ("unseen", "superseded", "unused")


def is_set_aside(cue: Cue, estimate: Estimate) -> bool:
    """Whether a photo's cue gave way to what a person says of the same part."""
    dropped = {step.cue for step in estimate.steps if step.kind == "superseded"}
    return cue.source == "photo" and cue.name in dropped


def why_unused(cue: Cue, estimate: Estimate) -> str:
    """Why the guide makes nothing of a cue's reading; empty where it does."""
    steps = (s for s in estimate.steps if s.kind == "unused" and s.cue == cue.name)
    return next((step.why for step in steps if cue.speaks), "")


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
    another misread, and for a value beside which another is nearly as likely, as where
    photos of one engine differ: then it is either.
    """
    step = weighing_step(cue, estimate)
    if step is None or not step.taken_for or cue.source != "photo":
        return _either(cue)
    return number_weighed(reading(cue), step.taken_for)


def _either(cue: Cue) -> tuple[str, float]:
    others = [(p, text) for text, p in cue.values.items() if text != cue.value]
    p, text = max(others, default=(0.0, ""))
    if cue.state is State.PRESENT and cue.value is not None and p >= _NEARLY * cue.confidence:
        return f"{cue.value} or {text}", cue.confidence + p
    return reading(cue), cue.confidence


def bearing(step: Step, estimate: Estimate | None = None) -> str:
    """Whether a step speaks for the first candidate: "for", "against" or "neutral".

    By the ratio that its words tell, so that the sign never contradicts them. Where they
    say that it tells nothing, and its estimate is given, it goes by the nearest rival.
    """
    if step.ratio is None or support(step.ratio) == NO_SUPPORT:
        return "neutral" if estimate is None else rival_bearing(step, estimate)
    return "for" if step.ratio > 1.0 else "against"


def fits_words(step: Step, estimate: Estimate | None = None) -> str:
    """Which variations a step fits, and how strongly it speaks.

    Given its estimate, also what it does between the first variation and its nearest rival.
    """
    fits = f"fits {', '.join(step.fits)}" if step.fits else _NOTHING_FITS
    if set(step.fits) == by_candidate(step.likelihoods).keys() - {NOT_IN_GUIDE}:
        fits = "fits every variation"
    if misread := misread_words(step.taken_for):
        fits += f", unless it is {misread}"
    rival = "" if estimate is None else rival_words(step, estimate)
    weak = step.ratio is not None and support(step.ratio) == NO_SUPPORT
    if rival and weak:
        return f"{fits}: {step.strength} among all together, but {rival}"
    if weak and not step.fits:
        # It does lessen every variation, though by less than any word of strength stands for.
        return f"{fits}, but weighs too little for support either way"
    told = "; ".join(words for words in (step.strength, rival) if words)
    return f"{fits}: {told}" if told else fits
