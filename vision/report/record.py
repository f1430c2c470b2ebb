"""An answer as one JSON object, the same for every surface."""

from __future__ import annotations

from typing import Any

from vision.estimate.strength import six_digits
from vision.records import (
    BINARY_CUES,
    VALUED_CUES,
    Answer,
    Box,
    Cue,
    Estimate,
    NextLook,
    NotFound,
    Photo,
    Sighting,
    Step,
)
from vision.report.rival import rival_words
from vision.report.words import first_sighting, not_found_reason

# Regions are always named, so that a reader need not ask whether a key is there.
REGION_NAMES = ("boiler_top", "side_rods", "running_board")


def answer_json(answer: Answer) -> dict[str, Any]:
    """Turn an answer into plain values for `json.dumps`.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    dict
        Keys "photos", "sighting" (of the first photo that shows an engine; None
        with a key "not_found" where none does), "cues", "estimate" (None where
        there is no sighting) and "versions". Boxes are left, top, right, bottom in
        pixels of the upright photo with one decimal, probabilities have six significant
        digits and are never 0 or 1; the confidence in a cue that is unseen is 0.
        A sighting has a key "another", a box, where the photo shows another engine.
        A step has a key "rival" where it says something else, between the likeliest
        variation and the nearest to it, than "strength" does.
        With several photos there are also "sightings", one per photo, and each
        cue names the "photo" (from 0) that its "where" refers to.
    """
    sighting = first_sighting(answer)
    several = len(answer.photos) > 1
    record: dict[str, Any] = {
        "photos": [_photo(photo) for photo in answer.photos],
        "sighting": None if sighting is None else _sighting(sighting),
    }
    if sighting is None:
        record["not_found"] = not_found_reason(answer)
    if several:
        record["sightings"] = [
            {"not_found": s.reason} if isinstance(s, NotFound) else _sighting(s)
            for s in answer.sightings
        ]
    record["cues"] = [_cue(cue, several=several) for cue in answer.cues]
    record["estimate"] = None if answer.estimate is None else _estimate(answer.estimate)
    record["versions"] = dict(answer.versions)
    return record


def _photo(photo: Photo) -> dict[str, Any]:
    record: dict[str, Any] = {
        "path": photo.name,
        "sha256": photo.sha256,
        "size": list(photo.size),
    }
    if photo.taken is not None:
        record["taken"] = photo.taken
    if photo.notes:
        record["notes"] = list(photo.notes)
    return record


def _sighting(sighting: Sighting) -> dict[str, Any]:
    regions = {name: _corners(sighting, name) for name in REGION_NAMES}
    record: dict[str, Any] = {
        "locomotive": _box(sighting.locomotive),
        "tender": None if sighting.tender is None else _box(sighting.tender),
        "faces": sighting.faces.value,
        "score": six_digits(sighting.score),
        "regions": regions,
    }
    if sighting.another is not None:
        record["another"] = _box(sighting.another)
    return record


def _corners(sighting: Sighting, name: str) -> list[list[float]]:
    return [[round(x, 1), round(y, 1)] for x, y in sighting.regions.get(name, ())]


def _box(box: Box) -> list[float]:
    return [round(edge, 1) for edge in box.as_tuple()]


def _cue(cue: Cue, *, several: bool) -> dict[str, Any]:
    record: dict[str, Any] = {"name": cue.name, "state": cue.state.value}
    if cue.name in VALUED_CUES:
        record["value"] = cue.value
    if cue.name in BINARY_CUES or cue.p_present is not None:
        record["p_present"] = None if cue.p_present is None else six_digits(cue.p_present)
    if cue.leaning is not None:
        record["leaning"] = six_digits(cue.leaning)
    if cue.may_be:
        record["may_be"] = {value: six_digits(p) for value, p in cue.may_be.items()}
    record["confidence"] = six_digits(cue.confidence) if cue.confidence else 0.0
    record["where"] = None if cue.where is None else _box(cue.where)
    record["because"] = cue.because
    if cue.source != "photo":
        record["source"] = cue.source
    if several:
        record["photo"] = cue.photo
    return record


def _four(number: float | None) -> float | None:
    return None if number is None else round(number, 4)


def _estimate(estimate: Estimate) -> dict[str, Any]:
    return {
        "years": estimate.years,
        "confidence": six_digits(estimate.confidence),
        "variations": [
            {"id": c.id, "years": c.years, "p": six_digits(c.p)} for c in estimate.variations
        ],
        "steps": [_step(step, estimate) for step in estimate.steps],
        "conflicts": [
            {"kind": c.kind, "cues": list(c.cues), "text": c.text} for c in estimate.conflicts
        ],
        "look_next": [_look(look) for look in estimate.look_next],
    }


def _look(look: NextLook) -> dict[str, Any]:
    record: dict[str, Any] = {
        "name": look.name,
        "instruction": look.instruction,
        "gain_bits": round(look.gain_bits, 4),
        "candidates_left": _four(look.candidates_left),
        "hands_on": look.hands_on,
    }
    if look.caution:
        record["caution"] = look.caution
    return record


def _step(step: Step, estimate: Estimate) -> dict[str, Any]:
    # Six significant digits, not four decimals: whoever replays the steps multiplies
    # these, and a likelihood of 0.00004 must not become none at all.
    record = {
        "kind": step.kind,
        "cue": step.cue,
        "text": step.text,
        "strength": step.strength,
        "likelihoods": {key: float(f"{p:.6g}") for key, p in step.likelihoods.items()},
    }
    if step.taken_for:
        record["taken_for"] = {number: six_digits(p) for number, p in step.taken_for.items()}
    if rival := rival_words(step, estimate):
        record["rival"] = rival
    return record
