"""Pictures of the example guides' castings, dated: alone, with more cues, with one check.

The stages are those of `vision.estimate.worth`: what one photo's three cues say; what cab
number and tender add; what the hands-on check adds that the answer suggests first, answered
as the guide has it for the true variation.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from tools.calibrate.counts import COUNTS
from tools.evaluate.numbers import NAME
from tools.looks import Judged
from vision.estimate import estimate, saw
from vision.guide import Guide, Variation, covered_years, load_guide
from vision.records import BINARY_CUES, DRIVING, Cue, Estimate, State
from vision.report.narrowing import tells_nothing

PHOTO, ALSO, CHECK = "photo alone", "+ number, tender", "+ first check"
STAGES = (PHOTO, ALSO, CHECK)
NO_ENGINE, NOT_NARROWED = "no engine", "not narrowed down"
# How far a cue is believed that is taken from the label: an eye that does not err.
_SURE = 0.999


@dataclass(frozen=True, slots=True)
class Dated:
    """One picture and what was made of it.

    Attributes
    ----------
    judged : Judged
    guide, true : str
        Names of the guide and of the variation that is shown.
    years : frozenset of int
        All years of that variation: which one it is, no picture can tell.
    found : mapping of stage to Estimate
        Empty where no engine is stated; `PHOTO` alone where no number was looked for.
    ideal : mapping of stage to Estimate
        From the label's own states, of what is in sight in this view: what an eye
        without fault could make of this very picture.
    """

    judged: Judged
    guide: str
    true: str
    years: frozenset[int]
    found: Mapping[str, Estimate]
    ideal: Mapping[str, Estimate]

    def named(self, stage: str, *, ideal: bool = False) -> str:
        """Variation named first; `NO_ENGINE` or `NOT_NARROWED` where none is.

        Of an engine that nothing in view tells from another the first is the likeliest
        before any look: right now and then, and no merit.
        """
        found = (self.ideal if ideal else self.found).get(stage)
        if found is None:
            return NO_ENGINE
        return NOT_NARROWED if tells_nothing(found) else found.variations[0].id

    def right(self, stage: str, *, ideal: bool = False) -> bool:
        return self.named(stage, ideal=ideal) == self.true

    def covered(self, stage: str) -> bool:
        return self.years <= set(covered_years(self.found[stage].years))

    @property
    def in_full_view(self) -> bool:
        """Whether the label says that all three cues can be seen."""
        return all(truth["visible"] for truth in self.judged.look.label["cues"].values())


def date_all(judged: Sequence[Judged], numbers: Mapping[str, Cue]) -> list[Dated]:
    """Date every picture that shows a variation, with enough of the engine in sight.

    Twins are left out: with one cue swapped they show no variation of the guide. So are looks
    in which not every network had its word.

    Parameters
    ----------
    judged : sequence of Judged
    numbers : mapping of file name to Cue
        From `read_numbers`. Pictures without a reading are dated alone only.
    """
    shown = [j for j in judged if j.look.label.get("variation") and not j.look.name.twin]
    kept = [j for j in shown if j.look.must_find and j.look.complete]
    return [_date(j, numbers.get(j.look.file)) for j in kept]


def _date(judged: Judged, number: Cue | None) -> Dated:
    where = judged.look.label["variation"]
    guide = load_guide(where["guide"])
    true = guide.variation(where["id"])
    found: dict[str, Estimate] = {}
    if judged.stated:
        alone = [cue for name, cue in judged.cues.items() if name in (*BINARY_CUES, DRIVING)]
        also = None if number is None else [*judged.cues.values(), number]
        found = _stages(guide, true, alone, also)
    alone, also = _by_label(judged.look.label, true)
    ideal = _stages(guide, true, alone, [*alone, *also])
    return Dated(judged, guide.name, true.id, frozenset(true.years), found, ideal)


def _stages(
    guide: Guide, true: Variation, alone: Sequence[Cue], also: Sequence[Cue] | None
) -> dict[str, Estimate]:
    found = {PHOTO: estimate(guide, alone)}
    if also is not None:
        found[ALSO] = estimate(guide, also)
        found[CHECK] = estimate(guide, [*also, *first_answer(guide, true, found[ALSO])])
    return found


def first_answer(guide: Guide, true: Variation, found: Estimate) -> list[Cue]:
    """True answer to the hands-on check that is suggested first; none where the guide has none."""
    first = next((look.name for look in found.look_next if look.hands_on), None)
    if first is None or first not in true.expects:
        return []
    return [saw(guide, f"{first}={true.expects[first].value}")]


def _by_label(label: Mapping[str, Any], true: Variation) -> tuple[list[Cue], list[Cue]]:
    """The three cues, then number and tender, as far as the label says they can be seen."""
    alone = []
    for name in BINARY_CUES:
        truth = label["cues"][name]
        if not truth["visible"]:
            alone.append(Cue(name, State.UNSEEN))
            continue
        there = truth["state"] == State.PRESENT.value
        colour = true.stripe_colour if there and name == "edge_stripe" else None
        values = MappingProxyType({colour: _SURE} if colour else {})
        p = _SURE if there else 1.0 - _SURE
        state = State(truth["state"])
        alone.append(Cue(name, state, p_present=p, confidence=_SURE, values=values))
    also = []
    if label.get("cab_number_visible"):
        also.append(_valued(NAME, label[NAME]))
    for name, flag, labels, _ in COUNTS.values():
        if label.get(flag) and label.get(name) in labels:
            also.append(_valued(name, label[name]))
    return alone, also


def _valued(name: str, value: object) -> Cue:
    text = str(value)
    values = MappingProxyType({text: _SURE})
    return Cue(name, State.PRESENT, value=text, confidence=_SURE, values=values)
