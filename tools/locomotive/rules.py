"""How a value is drawn by the rules of `families`, and which rules a family has."""

from __future__ import annotations

from collections.abc import Mapping
from zlib import crc32

import numpy as np

from tools.locomotive.families import COMMON
from tools.locomotive.families_held import HELD
from tools.locomotive.families_more import MORE
from tools.locomotive.families_motion import MOTION
from tools.locomotive.families_topside import TOPSIDE
from tools.locomotive.families_train import TRAIN

# A family without shapes of its own: every field is drawn by the rule of any train family.
MIXED = "mixed"
# The same of these and of those that only training draws.
BLENDED = "blended"


def child(seed: int, name: str) -> np.random.Generator:
    """A generator for one matter only, so that no draw shifts another."""
    return np.random.default_rng([seed, crc32(name.encode())])


def draw(rng: np.random.Generator, rule: object) -> object:
    """One value by a rule of `families`."""
    if isinstance(rule, tuple):
        return float(rng.uniform(rule[0], rule[1]))
    if isinstance(rule, dict):
        options = list(rule)
        weights = np.array([float(rule[o]) for o in options])
        return options[int(rng.choice(len(options), p=weights / weights.sum()))]
    if isinstance(rule, float):
        return bool(rng.random() < rule)
    return rule


# What only makes sense together is drawn by one family's rules.
_TOGETHER = (
    ("arrangement", "has_tender", "tank", "driver_d", "driver_gap", "half_width"),
    ("casing", "skirt", "domes", "chimney", "chimney_h", "smokebox_set"),
    ("tender_axles", "tender_trucks", "tender_style"),
)
# Arrangements with few driven axles or uncommon ones, in a share of the mixed engines.
_RARE: dict[object, float] = {
    k: 1.0 for k in ("2-2-2", "0-2-2", "4-2-2", "0-4-2", "2-4-0", "4-4-4", "0-10-0", "2-12-0")
}
_RARE_SHARE = 0.3
# A counter that has seen hardly any tender of two or five axles never answers so: in half of the
# engines trained on any number is as likely.
_ANY_AXLES: dict[object, float] = {2: 1, 3: 1, 4: 1, 5: 1, 6: 1, 7: 0.5}
# The same of driven axles, where in a third of the engines any number is as likely.
_ANY_DRIVEN: dict[object, float] = {
    **{"2-2-2": 0.4, "4-2-2": 0.3, "0-2-2": 0.15, "4-2-0": 0.15},
    **{"0-4-0": 0.4, "4-4-0": 0.3, "2-4-2": 0.3},
    **{"0-6-0": 0.3, "2-6-0": 0.2, "4-6-0": 0.2, "4-6-2": 0.3},
    **{"0-8-0": 0.3, "2-8-0": 0.3, "2-8-2": 0.2, "4-8-4": 0.2},
    **{"0-10-0": 0.3, "2-10-0": 0.4, "2-10-2": 0.3},
    **{"0-12-0": 0.4, "2-12-0": 0.4, "2-12-2": 0.2},
}
_WIDENED = 0.2  # of a range, at either end: shapes between and beyond the families'


def rules_of(seed: int, family: str) -> dict[str, object]:
    """The rules by which an engine is drawn; a mixed one borrows each from another family."""
    if family in HELD:
        return {**COMMON, **HELD[family]}
    if family in MORE:
        rules = {**COMMON, **MOTION, **TOPSIDE, **MORE[family]}
    elif family == BLENDED:
        rules = _borrowed(seed, {**COMMON, **MOTION, **TOPSIDE}, {**TRAIN, **MORE})
    else:
        rules = _mixed(seed) if family == MIXED else {**COMMON, **TRAIN[family]}
    if rules["has_tender"]:
        rules["tender_axles"] = _mingled(rules["tender_axles"], _ANY_AXLES, share=1 / 2)
    rules["arrangement"] = _mingled(rules["arrangement"], _ANY_DRIVEN, share=1 / 3)
    return rules


def _mingled(rule: object, other: dict[object, float], *, share: float) -> dict[object, float]:
    """Options of a rule, and of another that has a share of the weight."""
    own = rule if isinstance(rule, dict) else {rule: 1.0}
    total, more = sum(own.values()) / (1 - share), sum(other.values()) / share
    options = [*own, *(k for k in other if k not in own)]
    return {k: own.get(k, 0.0) / total + other.get(k, 0.0) / more for k in options}


def _mixed(seed: int) -> dict[str, object]:
    """Every rule, or group of rules, borrowed from another family of `TRAIN`."""
    rules = _borrowed(seed, COMMON, TRAIN)
    if child(seed, "mixed rare").random() < _RARE_SHARE:
        rules["arrangement"] = _RARE
    return rules


def _borrowed(
    seed: int, common: Mapping[str, object], lenders: Mapping[str, Mapping[str, object]]
) -> dict[str, object]:
    """Every rule, or group of rules, of some lender, ranges a little wider."""
    rules = dict(common)
    leaders = {name: group[0] for group in _TOGETHER for name in group}
    for name, rule in common.items():
        rng = child(seed, f"mixed {leaders.get(name, name)}")
        lender = lenders[str(rng.choice(list(lenders)))]
        lent = lender.get(name, rule)
        if isinstance(lent, tuple):
            wider = _WIDENED * (lent[1] - lent[0])
            lent = (max(lent[0] - wider, 0.6 * lent[0]), lent[1] + wider)
        rules[name] = lent
    return rules
