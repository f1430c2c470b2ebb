"""Eyes that differ in one rate look at the same engines with the same luck.

Common random numbers: what two runs differ by is what the rate decides, and nothing else
(A. M. Law, Simulation Modeling and Analysis, section 11.2, from memory).
"""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest
from scipy.stats import binom

from guides import small_guide, variation
from vision.estimate import CHOSEN, PERFECT, Eyesight, Skill, simulate
from vision.estimate.eyes import COLOUR, READINGS, look_at
from vision.estimate.survivors import draw_survivors
from vision.guide import Tender, load_guide
from vision.records import COUPLED, LETTERING

N = 300
STEP = 0.02
LEVEL = 1e-4
LETTERED = (Tender("K", 4, 0, lettering=True), Tender("L", 4, 0, lettering=False))
# One with tenders says of none whether it is lettered; a tank engine's knows of no tender.
GUIDES = dict.fromkeys(READINGS, load_guide("wayfarer")) | {
    COUPLED: load_guide("brindle"),
    LETTERING: small_guide([variation("V", [1931], tenders=("K", "L"))], tenders=LETTERED),
}


def eye(**skills: Skill) -> Eyesight:
    return Eyesight(MappingProxyType(dict(CHOSEN) | skills), PERFECT.check)


def looks(name: str, sight: Eyesight) -> list[dict[str, str]]:
    """What an eye reads of each engine, the stripe's colour apart from the stripe."""
    engines, luck = np.random.default_rng(7).spawn(2)
    told = []
    for engine in draw_survivors(GUIDES[name], N, engines):
        seen = look_at(engine, GUIDES[name], sight, luck)
        state, _, colour = seen.get("edge_stripe", "").partition(" ")
        told.append(seen | ({"edge_stripe": state} if state else {}))
        if colour:
            told[-1][COLOUR] = colour
    return told


@pytest.mark.parametrize("name", GUIDES)
@pytest.mark.parametrize("rate", ["visible", "sensitivity"])
def test_another_rate_changes_its_own_cue_alone_and_that_a_little(name: str, rate: str) -> None:
    """A reading more or less moved the luck of all that came after it."""
    skill = Skill(0.6, 0.6, 0.9)
    before = looks(name, eye(**{name: skill}))
    after = looks(name, eye(**{name: replace(skill, **{rate: getattr(skill, rate) + STEP})}))
    hangs = {name, COLOUR} if name == "edge_stripe" else {name}
    changed = 0
    for old, new in zip(before, after, strict=True):
        assert {k: v for k, v in old.items() if k not in hangs} == {
            k: v for k, v in new.items() if k not in hangs
        }
        changed += old.get(name) != new.get(name)
        # Who sees more still sees what was seen before.
        assert rate != "visible" or name not in old or old[name] == new.get(name)
    # One in fifty, of engines that could show it at all.
    assert changed <= binom.ppf(1.0 - LEVEL, N, STEP)


@pytest.mark.parametrize("name", ["switch_lever", "cab_number", "tender_axles"])
def test_a_rate_can_decide_of_no_more_engines_than_it_changes(name: str) -> None:
    skill = Skill(0.6, 0.9, 0.9)
    sights = [eye(**{name: replace(skill, visible=0.6 + more)}) for more in (0.0, STEP)]
    told = [looks(name, sight) for sight in sights]
    changed = sum(old != new for old, new in zip(*told, strict=True))
    assert changed > 0
    once, again = (simulate(GUIDES[name], s, N, np.random.default_rng(7)) for s in sights)
    for old, new in zip(once, again, strict=True):
        assert abs(old.right - new.right) <= changed
        assert (old.made, old.items) == (new.made, new.items)
