"""Eyes of stated skill, for trying a guide out: how often each cue is read, and right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.estimate.factors import ABSENT, ANOTHER_COLOUR, COUNTED_CUES, PRESENT
from vision.estimate.numbers import ALPHABET, LOOK_ALIKES
from vision.estimate.reading import counts_possible
from vision.estimate.survivors import Survivor
from vision.guide import Guide
from vision.records import BINARY_CUES, COUPLED, DRIVING, LETTERING, Cue, State, can_be_read

COLOUR = "edge_stripe_colour"
READINGS = (*BINARY_CUES, COLOUR, DRIVING, COUPLED, "cab_number", *COUNTED_CUES, LETTERING)


@dataclass(frozen=True, slots=True)
class Skill:
    """How well one cue is read; shares from 0 to 1.

    Attributes
    ----------
    visible : float
        Photos in which the cue is read at all.
    sensitivity : float
        Of the parts that are there and read, those read as present; of values that are
        read, those read right.
    specificity : float
        Of the parts that are not there and read, those read as absent. Means nothing
        for a value.
    """

    visible: float
    sensitivity: float
    specificity: float = 1.0


@dataclass(frozen=True, slots=True)
class Eyesight:
    """Skill for every name of READINGS, and the reliability of a check by hand."""

    skills: Mapping[str, Skill]
    check: float


PERFECT = Eyesight(MappingProxyType(dict.fromkeys(READINGS, Skill(1.0, 1.0, 1.0))), 1.0)

# Chosen, for want of measured figures: one side view of a whole engine with its tender,
# the rear of the tender in every third picture. `visible_shares` replaces the first
# column by what was measured when the networks were fitted.
CHOSEN = MappingProxyType(
    {
        "switch_lever": Skill(0.8, 0.93, 0.95),
        "side_linkage": Skill(0.8, 0.95, 0.95),
        "edge_stripe": Skill(0.9, 0.95, 0.95),
        COLOUR: Skill(0.8, 0.9),
        DRIVING: Skill(0.8, 0.95),
        COUPLED: Skill(0.9, 0.9, 0.85),
        "cab_number": Skill(0.6, 0.95),
        "tender_axles": Skill(0.8, 0.95),
        "tender_lamps": Skill(0.35, 0.95),
        LETTERING: Skill(0.8, 0.9, 0.97),
    }
)


def fitted_counts(fusion: Mapping[str, Any], *, told: bool) -> dict[str, Mapping[str, int]]:
    """How often each cue was stated, and rightly, when the networks were fitted.

    Parameters
    ----------
    fusion : mapping
        Content of `models/fusion.json`.
    told : bool
        Whether a guide says where the lever stands: then the counts are those of a lever
        looked for at its place, closely where that was counted.

    Returns
    -------
    dict of cue name to its counts
        Empty ones where the file holds none.
    """
    blocks: dict[str, Mapping[str, int]] = {}
    for name, block in fusion.get("fitted", {}).get("cues", {}).items():
        placed = block.get("placed", {}) if told else {}
        tried = (placed.get("near", {}), placed, block)
        blocks[name] = next((one["stated"] for one in tried if one.get("stated")), {})
    tender = fusion.get("tender", {})
    blocks[DRIVING] = fusion.get(DRIVING, {})
    return blocks | {f"tender_{name}": tender.get(name, {}) for name in ("axles", "lamps")}


def visible_shares(fusion: Mapping[str, Any], *, told: bool = False) -> dict[str, float]:
    """Share of photos in which each cue was stated when the networks were fitted.

    Parameters
    ----------
    fusion : mapping
        Content of `models/fusion.json`.
    told : bool
        Whether a guide says where the lever stands.

    Returns
    -------
    dict of cue name to float
        Only for cues whose counts the file holds.
    """
    shares = {}
    for name, counts in fitted_counts(fusion, told=told).items():
        photos = counts.get("visible", 0) + counts.get("not_visible", 0)
        if name in READINGS and photos and "stated_of_visible" in counts:
            shares[name] = counts["stated_of_visible"] / photos
    return shares


def look_at(
    engine: Survivor, guide: Guide, sight: Eyesight, rng: np.random.Generator
) -> dict[str, str]:
    """What one photo gives away to an eye, as text for each cue that is read.

    The stripe is "absent", "present", or "present" and a colour. Only a perfect eye reads
    a number that has letters or too many figures, and sees that a tender is not lettered or
    that none is coupled.

    Parameters
    ----------
    engine : Survivor
    guide : Guide
    sight : Eyesight
    rng : numpy.random.Generator
        Gives as many numbers for every engine and eye, each with one use, so that eyes
        which differ in one rate differ in what that rate decides and in nothing else
        (common random numbers; A. M. Law, Simulation Modeling and Analysis, section 11.2,
        from memory).
    """
    chances = dict(zip(READINGS, rng.random((len(READINGS), 4)), strict=True))
    seen: dict[str, str] = {}
    for name in BINARY_CUES:
        visible, well = chances[name][:2]
        skill = sight.skills[name]
        if visible >= skill.visible:
            continue
        there = engine.parts[name] != ABSENT
        right = well < (skill.sensitivity if there else skill.specificity)
        seen[name] = PRESENT if there == right else ABSENT
    if seen.get("edge_stripe") == PRESENT and chances[COLOUR][0] < sight.skills[COLOUR].visible:
        colours = (*guide.stripe_colours, ANOTHER_COLOUR)
        true = engine.parts["edge_stripe"]
        if true == ABSENT:
            colour = _one_of(colours, chances[COLOUR][2])
        else:
            colour = _read_value(true, colours, sight.skills[COLOUR], chances[COLOUR])
        seen["edge_stripe"] = f"{PRESENT} {colour}"
    for name in ("cab_number", DRIVING, *COUNTED_CUES):
        visible, well, where, what = chances[name]
        if name not in engine.parts or visible >= sight.skills[name].visible:
            continue
        true = engine.parts[name]
        if name == "cab_number" and sight != PERFECT and not can_be_read(true):
            continue
        if name != "cab_number":
            possible = counts_possible(guide, name)
            seen[name] = _read_value(true, possible, sight.skills[name], chances[name])
        else:
            right = well < sight.skills[name].sensitivity
            seen[name] = true if right else _misread(true, where, what)
    for name in (LETTERING, COUPLED):
        visible, well = chances[name][:2]
        skill = sight.skills[name]
        if name not in engine.parts or visible >= skill.visible:
            continue
        there = engine.parts[name] == PRESENT
        right = well < (skill.sensitivity if there else skill.specificity)
        if there == right or sight == PERFECT:
            seen[name] = PRESENT if there == right else ABSENT
    return seen


def as_cue(name: str, read: str, sight: Eyesight) -> Cue:
    """Turn what was read into a cue whose probability says how far to trust this eye."""
    skill = sight.skills[name]
    if name not in (*BINARY_CUES, COUPLED, LETTERING):
        return Cue(name, State.PRESENT, value=read, confidence=skill.sensitivity)
    state, _, colour = read.partition(" ")
    present = state == PRESENT
    hit = skill.sensitivity if present else 1.0 - skill.sensitivity
    alarm = 1.0 - skill.specificity if present else skill.specificity
    p = hit / (hit + alarm)
    values = {colour: sight.skills[COLOUR].sensitivity} if colour else {}
    return Cue(
        name,
        State.PRESENT if present else State.ABSENT,
        p_present=p,
        confidence=p if present else 1.0 - p,
        values=MappingProxyType(values),
    )


def _read_value(
    true: str, possible: Sequence[str], skill: Skill, chances: NDArray[np.float64]
) -> str:
    """Read a value right, or as any of the others; the chances are those of its cue."""
    others = [value for value in possible if value != true]
    if not others or chances[1] < skill.sensitivity:
        return true
    return _one_of(others, chances[2])


def _misread(number: str, where: float, what: float) -> str:
    """Read one character as one that resembles it, or as any where none does."""
    at = int(where * len(number))
    alike = sorted({c for group in LOOK_ALIKES if number[at] in group for c in group})
    others = [c for c in alike or ALPHABET if c != number[at]]
    return number[:at] + _one_of(others, what) + number[at + 1 :]


def _one_of(values: Sequence[str], chance: float) -> str:
    """Choose evenly by a chance from 0 up to, and without, 1."""
    return values[int(chance * len(values))]
