"""Listings of invented sellers about rendered engines, and what is true of each."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from tools.naming import name_of
from vision.guide import Guide, Variation, load_guide
from vision.listings.table import COLUMNS
from vision.records import BINARY_CUES, State

KINDS = ("true", "wrong", "undecidable")
MOST_PHOTOS = 4
SELLERS = ("Found in the attic.", "From a collection.", "Selten angeboten.", "Please see photos.")
YEAR_FORMS = ("made in {}", "{}", "Baujahr {}", "built {}")
PART_FORMS = {
    State.PRESENT: ("with {}", "{} present", "mit {}", "has its {}"),
    State.ABSENT: ("no {}", "{} missing", "ohne {}", "without {}"),
}
# English and German names only: the forms above are in those languages.
PART_WORDS = {
    "switch_lever": ("switch lever", "reversing lever", "lever"),
    "side_linkage": ("side linkage", "linkage", "extra rods"),
    "edge_stripe": ("edge stripe", "running board stripe", "stripe"),
}


@dataclass(frozen=True, slots=True)
class Engine:
    """One rendered engine: what it was made as, whether altered since, its labels."""

    guide: str
    variation: str
    altered: bool
    labels: tuple[Mapping[str, Any], ...]

    def shows(self, cue: str) -> bool:
        """Whether any picture shows the place of a part well enough to judge it."""
        return any(label["cues"][cue]["visible"] for label in self.labels)

    def state(self, cue: str) -> State:
        """Whether the part is there."""
        return State(self.labels[0]["cues"][cue]["state"])


@dataclass(frozen=True, slots=True)
class Told:
    """One claim of a made listing: what it says, and whether that is so."""

    about: str
    value: str
    words: str
    true: bool


def read_engines(folder: Path) -> list[Engine]:
    """Engines of the split "guide"; a twin is one that had a part changed since."""
    groups: dict[tuple[str, int, bool], list[Mapping[str, Any]]] = {}
    for path in sorted(folder.glob("labels-*.jsonl")):
        for line in path.read_text(encoding="utf-8").splitlines():
            label = json.loads(line)
            if label["kind"] == "locomotive" and label.get("variation"):
                twin = name_of(label["file"]).twin
                key = (label["variation"]["guide"], label["job"], twin)
                groups.setdefault(key, []).append(label)
    engines = []
    for (guide, _, twin), labels in groups.items():
        engines.append(Engine(guide, labels[0]["variation"]["id"], twin, tuple(labels)))
    return engines


def made_listing(
    engine: Engine, kind: str, guide: Guide, random: np.random.Generator
) -> tuple[Engine, list[Told]] | None:
    """Pictures and claims of one listing of a kind; None where this engine allows none."""
    labels = list(engine.labels)
    if kind == "undecidable":
        hidden = [c for c in BINARY_CUES if any(not x["cues"][c]["visible"] for x in labels)]
        if not hidden:
            return None
        cue = str(random.choice(hidden))
        labels = [label for label in labels if not label["cues"][cue]["visible"]]
        shown = replace(engine, labels=tuple(labels[:MOST_PHOTOS]))
        return shown, [_part(shown, cue, bool(random.integers(2)), random)]
    order = random.permutation(len(labels))[:MOST_PHOTOS]
    shown = replace(engine, labels=tuple(labels[int(i)] for i in order))
    seen = [cue for cue in BINARY_CUES if shown.shows(cue)]
    if not seen:
        return None
    chosen = [str(c) for c in random.permutation(seen)[:2]]
    claims = [_part(shown, cue, True, random) for cue in chosen]
    claims.append(_year(guide, shown, True, random))
    if kind == "wrong":
        # What rules a year out is reckoned from the guide, so only for engines as made.
        spoilt = int(random.integers(len(claims) - engine.altered))
        if claims[spoilt].about == "year":
            wrong = _year(guide, shown, False, random)
        else:
            wrong = _part(shown, claims[spoilt].about, False, random)
        if wrong is None:
            return None
        claims[spoilt] = wrong
    return shown, [claim for claim in claims if claim is not None]


def _part(engine: Engine, cue: str, true: bool, random: np.random.Generator) -> Told:
    state = engine.state(cue)
    if not true:
        state = State.ABSENT if state is State.PRESENT else State.PRESENT
    form = str(random.choice(PART_FORMS[state]))
    return Told(cue, state.value, form.format(random.choice(PART_WORDS[cue])), true)


def _year(guide: Guide, engine: Engine, true: bool, random: np.random.Generator) -> Any:
    """A year of the engine's own variation, or one that parts in sight rule out.

    One part does not: it may have been lost or added since, at the guide's own rates.
    """
    own = guide.variation(engine.variation)
    years = list(own.years)
    if not true:
        seen = [cue for cue in BINARY_CUES if engine.shows(cue)]
        fitting = {year for v in guide.variations if _apart(v, own, seen) < 2 for year in v.years}
        years = [year for year in guide.years if year not in fitting]
        if not years:
            return None
    year = str(random.choice(years))
    return Told("year", year, str(random.choice(YEAR_FORMS)).format(year), true)


def _apart(first: Variation, second: Variation, cues: Sequence[str]) -> int:
    """In how many parts two variations differ that the guide does not leave open."""
    pairs = ((first.expects.get(cue), second.expects.get(cue)) for cue in cues)
    return sum(None not in pair and pair[0] is not pair[1] for pair in pairs)


def make(pictures: Path, out: Path, count: int, seed: int) -> dict[str, dict[str, Any]]:
    """Write tables and pictures; return what is true of each listing."""
    random = np.random.default_rng(seed)
    engines = read_engines(pictures)
    if not engines:
        raise SystemExit(f"{pictures}: no labels of the split guide")
    guides = {name: load_guide(name) for name in {e.guide for e in engines}}
    truth: dict[str, dict[str, Any]] = {}
    rows: dict[str, list[dict[str, str]]] = {name: [] for name in guides}
    tries = 0
    while len(truth) < count and tries < 50 * count:
        tries += 1
        kind = KINDS[len(truth) % len(KINDS)]
        engine = engines[int(random.integers(len(engines)))]
        made = made_listing(engine, kind, guides[engine.guide], random)
        if made is None:
            continue
        shown, claims = made
        id = f"{engine.guide}-{len(truth):04d}"
        rows[engine.guide].append(_row(id, shown, claims, random))
        _copy(shown, pictures, out / engine.guide)
        truth[id] = {
            "kind": kind,
            "altered": shown.altered,
            "claims": [[c.about, c.value, c.true] for c in claims],
        }
    for name, own in rows.items():
        if not own:
            continue
        with (out / name / "listings.csv").open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, COLUMNS)
            writer.writeheader()
            writer.writerows(own)
    return truth


def _copy(engine: Engine, pictures: Path, folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for label in engine.labels:
        if not (folder / label["file"]).exists():
            shutil.copyfile(pictures / label["file"], folder / label["file"])


def _row(
    id: str, engine: Engine, claims: Sequence[Told], random: np.random.Generator
) -> dict[str, str]:
    told = [claim.words for claim in claims]
    return {
        "id": id,
        "title": f"Steam engine, {told[0]}",
        "description": f"{'. '.join(told[1:])}. {random.choice(SELLERS)}",
        "price": str(int(random.integers(50, 900))),
        "currency": str(random.choice(("EUR", "GBP", "USD"))),
        "link": f"https://shop.example/{id}",
        "photos": "|".join(label["file"] for label in engine.labels),
    }
