"""Weighing the evidence on one cue: two small logistic models with fitted coefficients.

One asks whether the part could be seen at all if it were there, the other whether it is
there. Both are linear in named numbers, so that `models/fusion.json` can be read by eye.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import numpy as np

from vision.cues.evidence import PARTS_ALONG, Evidence, Lazily, at_share
from vision.cues.loupe import clear_name, places_in
from vision.cues.odds import logit, sigmoid
from vision.features import line_colour_shares, named_colours
from vision.records import Closely, Cue, State

PART = {"switch_lever": "lever", "side_linkage": "linkage", "edge_stripe": "stripe"}
# Each place with its verb.
PLACE = {
    "boiler_top": "the boiler top is",
    "side_rods": "the side rods are",
    "running_board": "the running-board edge is",
}
# Probability of being in sight below which a cue's place counts as hidden; chosen. Between
# that and the fitted limit it is told as unclear, and counts by what it leans to.
MAYBE_IN_SIGHT = 0.3
# A value far outside what the fit saw must not carry the sum away with it: standard deviations.
_FAR = 4.0
# Reasons are told in this order; the first that holds is told. Limits by eye on renders.
_FEW_PIXELS = math.log(80.0)  # region length in decoded pixels
_INSIDE = 0.6  # share of the region inside the picture, below which nothing else matters
_WHOLE = 1.0  # the same of a region that is all inside, but for its rim, where corners err
_NARROW = 0.8  # log of length over height of the region: seen nearly end-on
_SOFT = 2.0  # log(1 + variance of the Laplacian)
_CLIPPED = 0.35  # share of pixels burnt out
_DARK = 0.6  # share of pixels near black
# A line whose colour may be told runs along this share of the edge at least, and stands
# out from both sides by this many CIE76 units; by eye on the demo photos.
_LINE_SHARE = 0.5
_LINE_CONTRAST = 20.0
# Probability of the less likely, by the judge of the whole region, below which a closer look is
# spared: on renders it then never turned the answer round. Chosen.
_SETTLED = 0.01


def linear(model: Mapping[str, Any], values: Mapping[str, float]) -> float:
    """Log odds of a logistic model over standardised named values.

    Parameters
    ----------
    model : mapping
        "terms": list of [name, mean, scale, weight], "bias". A name "a*b" is a product.
    values : mapping of str to float
    """
    return _linear(model, values.__getitem__)


def _linear(model: Mapping[str, Any], value_of: Callable[[str], float]) -> float:
    return float(_total(model, value_of, lambda standard: min(max(standard, -_FAR), _FAR)))


def _total(
    model: Mapping[str, Any], value_of: Callable[[str], Any], kept: Callable[[Any], Any]
) -> Any:
    """Sum of the weighed terms; a value may be an array, and then so is the sum."""
    total = float(model["bias"])
    for name, mean, scale, weight in model["terms"]:
        value = math.prod(value_of(factor) for factor in name.split("*"))
        total = total + weight * kept((value - mean) / scale)
    return total


def trusted(log_odds: float, fusion: Mapping[str, Any]) -> float:
    """Probability of fitted log odds, as far as `fusion` trusts its fit on other pictures."""
    p = sigmoid(float(fusion.get("trusted", 1.0)) * log_odds)
    return min(max(p, 1e-4), 1 - 1e-4)


def weigh(evidence: Evidence, fusion: Mapping[str, Any]) -> Cue:
    """Fuse the evidence on one cue into its state and probabilities.

    Parameters
    ----------
    evidence : Evidence
    fusion : mapping
        `fusion.json`: for each cue "seen" and "present" models, and the limits
        "seen_at_least" and "sure_at_least"; "trusted", the share of fitted log odds
        that counts on pictures unlike those of the fit.

    Returns
    -------
    Cue
        `confidence` is the probability that the state is right; 0 where UNSEEN.
    """
    name = evidence.cue
    if "judge_present" not in evidence.values:
        place = PLACE[evidence.region]
        because = _cut_off(place) if _is_cut(evidence) else f"{place} turned away"
        return Cue(name, State.UNSEEN, where=evidence.where, because=because)
    model = fusion["cues"][name]
    seen = sigmoid(linear(model["seen"], evidence.values))
    cue = _weighed(evidence, fusion, seen)
    placed = model.get("placed")
    if placed is None:
        return cue
    clear = seen >= float(placed["seen_at_least"])
    said = along(evidence.values, placed, fusion)
    near = nearby(evidence.values, placed, fusion)
    return replace(cue, along=said, near=near, along_in_sight=clear)


def along(
    values: Mapping[str, float], model: Mapping[str, Any], fusion: Mapping[str, Any]
) -> tuple[float, ...]:
    """Probability that the part is there, were it to stand in each part of its region."""
    said = np.array([values[f"said_{k:02d}"] for k in range(PARTS_ALONG)])

    def value(name: str) -> Any:
        # Not a copy of all: what is measured only when asked for stays unmeasured.
        return said if name == "said_here" else values[name]

    log_odds = _total(model, value, lambda standard: np.clip(standard, -_FAR, _FAR))
    return tuple(trusted(each, fusion) for each in log_odds.tolist())


def from_afar(said: Sequence[float], place: float) -> float:
    """Probability that the part stands at a place, by what is said `along` its region."""
    return sigmoid(float(at_share([logit(p) for p in said], place)))


def is_settled(p: float) -> bool:
    """Whether a probability from afar leaves so little doubt that a closer look is spared."""
    return min(p, 1.0 - p) < _SETTLED


def in_doubt(
    values: Mapping[str, float], place: float, fusion: Mapping[str, Any], cue: str
) -> bool:
    """Whether a place of a cue's region is worth a closer look, by the values from afar."""
    model = fusion["cues"][cue].get("placed", {})
    return "near" in model and not is_settled(from_afar(along(values, model, fusion), place))


def nearby(
    values: Mapping[str, float], model: Mapping[str, Any], fusion: Mapping[str, Any]
) -> tuple[Closely, ...]:
    """Each place that was looked at closely, and what that says of the part.

    The model's "near" asks whether it is there, and that one's "seen" whether it could be
    seen; both may ask for what was seen "here".
    """
    out = []
    # What is measured only when asked for stays unmeasured.
    names = values.at_hand if isinstance(values, Lazily) else tuple(values)
    for name, place in places_in(names).items() if "near" in model else ():
        here = {
            "near_here": values[name],
            "clear_here": values[clear_name(name)],
            "said_here": said_at(values, place),
        }

        def value(term: str, here: Mapping[str, float] = here) -> float:
            return here[term] if term in here else values[term]

        p = trusted(_linear(model["near"], value), fusion)
        seen = model["near"]["seen"]
        clear = sigmoid(_linear(seen, value))
        out.append(Closely(place, p, clear, clear >= float(seen["seen_at_least"])))
    return tuple(out)


def said_at(values: Mapping[str, float], place: float) -> float:
    """What the judge of the whole region says of a place, log odds."""
    return float(at_share([values[f"said_{k:02d}"] for k in range(PARTS_ALONG)], place))


def _weighed(evidence: Evidence, fusion: Mapping[str, Any], seen: float) -> Cue:
    name = evidence.cue
    model = fusion["cues"][name]
    p = trusted(linear(model["present"], evidence.values), fusion)
    if seen < float(model["seen_at_least"]):
        maybe = seen >= MAYBE_IN_SIGHT
        return Cue(
            name,
            State.UNSEEN,
            p_present=p,
            where=evidence.where,
            because=hidden_because(evidence, maybe=maybe),
            in_sight=maybe,
            clear=seen,
        )
    confidence = max(p, 1 - p)
    if confidence < float(model["sure_at_least"]):
        because = f"{PLACE[evidence.region]} in sight, but too unclear to call"
        return Cue(
            name,
            State.UNSEEN,
            p_present=p,
            where=evidence.where,
            because=because,
            in_sight=True,
            clear=seen,
        )
    state = State.PRESENT if p >= 0.5 else State.ABSENT
    return Cue(
        name,
        state,
        p_present=p,
        confidence=confidence,
        where=evidence.where,
        because=_because(evidence, state),
        clear=seen,
        values=MappingProxyType(line_colours(evidence) if state is State.PRESENT else {}),
    )


def line_colours(evidence: Evidence) -> dict[str, float]:
    """Colour of a stripe with probabilities, where a line was measured along the edge."""
    values = evidence.values
    if evidence.cue != "edge_stripe" or values["stripe_continuity"] < _LINE_SHARE:
        return {}
    if values["stripe_contrast"] < _LINE_CONTRAST:
        return {}
    return line_colour_shares(values["stripe_a"], values["stripe_b"])


def hidden_because(evidence: Evidence, *, maybe: bool = False) -> str:
    """Why a region cannot be judged, in the words of someone holding the photo.

    Of one that is `maybe` in sight nothing is said to hide it.
    """
    values, place = evidence.values, PLACE[evidence.region]
    is_cut = _is_cut(evidence)
    if values["inside"] < _INSIDE:
        return _cut_off(place)
    if values["log_length"] < _FEW_PIXELS:
        return f"{place} only {values['length_px']:.0f} pixels long"
    if values["log_slenderness"] < _NARROW and not is_cut:
        return f"{place} seen nearly end-on"
    if values["exposure_near_black"] > _DARK:
        return f"{place} lost in the dark"
    if values["exposure_clipped"] > _CLIPPED:
        return f"{place} burnt out by glare"
    # The edge takes the blame before anything that it may itself have made so: how long a
    # part is beyond it can only be guessed, and the grey that stands there is smooth.
    if is_cut:
        return _cut_off(place)
    if values["log_sharpness"] < _SOFT:
        return f"{place} blurred"
    return f"{place} too unclear to call" if maybe else f"{place} hidden or too unclear"


def _is_cut(evidence: Evidence) -> bool:
    """Whether part of the region lies outside the picture, or must be thought to."""
    return evidence.at_edge or evidence.values.get("inside", _WHOLE) < _WHOLE


def _cut_off(place: str) -> str:
    return f"{place} cut off by the edge of the picture"


def _because(evidence: Evidence, state: State) -> str:
    values, part = evidence.values, PART[evidence.cue]
    place = PLACE[evidence.region]
    if state is State.ABSENT:
        return f"{place} in sight, without a {part}"
    if evidence.cue == "switch_lever":
        return "a thin upright part stands on the boiler top"
    if evidence.cue == "side_linkage":
        return "rods beyond the plain side rods cross the wheels"
    if values["stripe_continuity"] > 0.2:
        share = values["stripe_continuity"]
        painted = " ".join(filter(None, ("painted", named_colours(line_colours(evidence)))))
        return f"a {painted} line runs along {100 * share:.0f} % of the edge"
    return "a painted line runs along the edge"
