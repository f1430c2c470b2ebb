"""Levers that can be got at, and what gives way to them."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from tools.locomotive import (
    FAMILIES,
    LocomotiveSpec,
    build,
    sample_engine,
    sample_spec,
    within_reach,
)
from tools.locomotive.layout import lay_out
from tools.locomotive.lever import in_reach
from tools.parts import Model
from tools.render.closeup import _agree

GIVING_WAY = {"bell", "sand_box", "domes", "top_feed", "whistle", "valves", "lever_tilt"}
FITTINGS = ("bell", "dome", "sand_dome", "whistle", "safety_valve", "top_feed", "chimney")
FITTINGS += ("mounting",)


def span(model: Model, *names: str) -> np.ndarray:
    """Lowest and highest corner of parts of an engine, shape (2, 3)."""
    points = np.concatenate([p.vertices for p in model.parts if p.name in names])
    return np.array([points.min(axis=0), points.max(axis=0)])


@pytest.mark.parametrize("family", FAMILIES)
def test_a_finger_gets_at_every_lever(family: str) -> None:
    """Of the finished meshes, none stands in the lever's way along the boiler."""
    for seed in range(6):
        spec = sample_engine(np.random.default_rng(seed), family, switch_lever="present")
        lay = lay_out(spec)
        # Between the chimney and the cab of a short boiler there may be a little less.
        assert in_reach(spec, lay) >= -0.15
        model = build(spec)
        full_size = lay.length / float(np.asarray(model.truth["length"]))
        lever = span(model, "switch_lever")
        for part in (p for p in model.parts if p.name in FITTINGS):
            beside = part.vertices[part.vertices[:, 2] > lever[0, 2], 0]
            gaps = np.maximum(lever[0, 0] - beside, beside - lever[1, 0]) * full_size
            assert gaps.min(initial=1.0) > 0.0, (part.name, seed)


def test_only_what_stands_in_the_way_gives_way() -> None:
    changed = 0
    for seed in range(40):
        spec = sample_spec(np.random.default_rng(seed), "american")
        given = within_reach(spec)
        differ = {
            f.name
            for f in fields(LocomotiveSpec)
            if getattr(spec, f.name) != getattr(given, f.name)
        }
        assert differ <= GIVING_WAY
        if in_reach(spec, lay_out(spec)) >= 0.0 and spec.bell == "none":
            assert not differ
        changed += bool(differ)
    assert 4 < changed < 36


def test_an_engine_within_reach_stays_so_with_and_without_its_lever() -> None:
    spec = sample_engine(np.random.default_rng(3), "tank")
    for state in ("present", "absent"):
        assert within_reach(replace(spec, switch_lever=state)) == replace(spec, switch_lever=state)


@pytest.mark.parametrize(
    ("there", "gone", "visible"),
    [(True, True, True), (True, False, False), (False, True, False)],
)
def test_of_an_absent_part_its_twin_says_whether_it_would_be_seen(
    there: bool, gone: bool, visible: bool
) -> None:
    with_it, without = (
        {"cues": {"switch_lever": {"state": state, "visible": seen}}}
        for state, seen in (("present", there), ("absent", gone))
    )
    _agree(with_it, without, cue="switch_lever")
    assert without["cues"]["switch_lever"]["visible"] is visible
    assert with_it["cues"]["switch_lever"]["visible"] is there
