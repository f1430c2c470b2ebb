"""Looks with a known truth: evidence is drawn, and the label drawn from it by known odds."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

import numpy as np

CUES = ("switch_lever", "side_linkage", "edge_stripe")
REGIONS = ("boiler_top", "side_rods", "running_board")
# The network shouts: its log odds are this many times the true ones.
LOUDNESS = 2.0
ENGINE_BOX = [100.0, 100.0, 400.0, 220.0]
# Measurements that say nothing here.
_IDLE = (
    "thin_score",
    "thin_height",
    "thin_contrast",
    "linkage_length",
    "above_length",
    "linkage_count",
    "stripe_continuity",
    "stripe_longest_run",
    "stripe_contrast",
    "exposure_clipped",
    "exposure_near_black",
    "exposure_contrast",
    "log_slenderness",
    "long_enough",
)


def _odds(x: float) -> float:
    return float(1 / (1 + np.exp(-x)))


def cue_values(rng: np.random.Generator, present: float, visible: float) -> dict[str, float]:
    """Evidence whose true log odds are `present` and `visible`."""
    values = {
        "judge_present": LOUDNESS * present,
        "judge_visible": LOUDNESS * visible,
        "heat_peak": float(rng.normal()),
        "sight": float(rng.normal(2, 1)),
        "engine": 4.0,
        "inside": 1.0,
        "log_length": float(rng.normal(5.3, 0.4)),
        "length_px": 200.0,
        "log_sharpness": float(rng.normal(5, 1)),
        "thin_count": 1.0,
    }
    return values | {name: float(abs(rng.normal())) for name in _IDLE}


def _engine_label(rng: np.random.Generator, split: str, scene: int) -> dict[str, Any]:
    quads = {r: [[100.0, 110.0], [400.0, 110.0], [400.0, 150.0], [100.0, 150.0]] for r in REGIONS}
    return {
        "size": [640, 480],
        "locomotive": ENGINE_BOX,
        "locomotive_share": 0.9,
        "tender": None,
        "tender_share": 0.0,
        "faces": str(rng.choice(["left", "right"])),
        "whole": True,
        "regions": quads,
        "visible": dict.fromkeys(REGIONS, 1.0),
        "cues": {},
        "kind": "locomotive",
        "split": split,
        "job": scene,
        "twin_cue": None,
    }


def _seen(label: dict[str, Any], score: float) -> dict[str, Any]:
    box = label["locomotive"] or [10.0, 10.0, 200.0, 90.0]
    return {
        "size": [640, 480],
        "finder": score,
        "glimpse": box,
        "tender": [0.0, 0.0, 1.0, 1.0],
        "tender_score": 0.05,
        "score": score,
        "locomotive": box,
        "faces": label["faces"] or "left",
        "regions": label.get("regions", {}),
        "cues": {},
    }


def look(
    rng: np.random.Generator, split: str, seed: int, scene: int, *, engine: bool = True
) -> dict[str, Any]:
    """One line as `tools.look` writes it; the truth of each cue is drawn from its evidence."""
    file = f"{split}-{seed}-{scene:06d}_0.jpg"
    if not engine:
        label = {"size": [640, 480], "locomotive": None, "tender": None, "faces": None}
        label |= {"kind": "diesel", "split": split, "whole": False, "job": scene}
        seen = _seen(label, round(float(rng.uniform(0.0, 0.4)), 4))
        return {"file": file, "label": label, "seen": seen}
    label = _engine_label(rng, split, scene)
    seen = _seen(label, round(float(rng.uniform(0.6, 1.0)), 4))
    for cue, region in zip(CUES, REGIONS, strict=True):
        present, visible = rng.normal(0, 4), rng.normal(3, 4)
        seen["cues"][cue] = cue_values(rng, present, visible)
        shown = bool(rng.random() < _odds(visible))
        label["visible"][region] = 1.0 if shown else 0.1
        label["cues"][cue] = {
            "state": "present" if rng.random() < _odds(present) else "absent",
            "visible": shown,
            "pixels": 100,
            "where": None,
            "length_px": 200.0,
        }
    return {"file": file, "label": label, "seen": seen}


def looks(n: int, *, split: str = "held", seed: int = 1, empty: float = 0.1) -> list[dict]:
    rng = np.random.default_rng([seed, n])
    return [look(rng, split, seed, i, engine=bool(rng.random() >= empty)) for i in range(n)]


def write(lines: list[dict[str, Any]], path: Path) -> Path:
    with gzip.open(path, "wt", encoding="utf-8") as stream:
        stream.writelines(json.dumps(line) + "\n" for line in lines)
    return path


def fusion(*, gain: float = 1 / LOUDNESS, seen_at_least: float = 0.5) -> dict[str, Any]:
    """Coefficients that undo the loudness; another `gain` plants a miscalibration."""

    def model(name: str, weight: float) -> dict[str, Any]:
        return {"terms": [[name, 0.0, 10.0, 10.0 * weight]], "bias": 0.0}

    cue = {
        "seen": model("judge_visible", 1 / LOUDNESS),
        "present": model("judge_present", gain),
        "seen_at_least": seen_at_least,
        "sure_at_least": 0.5,
    }
    count = {"temperature": 1.0, "seen_at_least": 0.5, "sure_at_least": 0.7}
    return {
        "locate": {"finder": 0.25, "engine": 0.5, "tender": 0.5},
        "cues": dict.fromkeys(CUES, cue),
        "tender": {"axles": count, "lamps": count},
        "fitted": {"series": {}},
    }
