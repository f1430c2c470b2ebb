"""Make listings from labelled pictures, have them judged, and print what came of it.

python -m tools.render --out pictures/guide --split guide --scenes 100 --views 4 --workers 2
python -m tools.listings_set --pictures pictures/guide --out listings --count 400
python -m tools.listings_set --pictures pictures/guide --out listings --eye labels

The second reads the labels in place of the pictures: what is then still missed or wrong is
the fault of the reading of texts and of the weighing, not of the eye.

The sellers are invented. Half the engines are as the guide has them, half are their twins
with one part changed since, which is far more than there are. A third of the listings tell
the truth about parts that a picture shows, a third are wrong in one claim, a third claim only
what no picture shows. What can be judged is decided by the renderer's labels, never by what
the eye sees. Pictures are drawn, so the figures hold for drawn pictures.
"""

from __future__ import annotations

import argparse
import csv
import json
import resource
import shutil
import time
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from vision.cli import load_shipped_eye
from vision.estimate import wilson
from vision.guide import Guide, Variation, load_guide
from vision.listings import Order, judge_listings
from vision.listings.table import COLUMNS
from vision.records import (
    BINARY_CUES,
    Box,
    Cue,
    Heading,
    NotFound,
    Photo,
    Sighting,
    State,
)

KINDS = ("true", "wrong", "undecidable")
MOST_PHOTOS = 4
# How sure the eye of the labels is of what can be seen; a calibrated eye is never certain.
SURE = 0.99
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
                twin = label["file"].partition(".")[0].endswith("t")
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
        photos = []
        for label in shown.labels:
            target = out / engine.guide / label["file"]
            target.parent.mkdir(parents=True, exist_ok=True)
            if not target.exists():
                shutil.copyfile(pictures / label["file"], target)
            photos.append(label["file"])
        told = [c.words for c in claims]
        rows[engine.guide].append(
            {
                "id": id,
                "title": f"Steam engine, {told[0]}",
                "description": f"{'. '.join(told[1:])}. {random.choice(SELLERS)}",
                "price": str(int(random.integers(50, 900))),
                "currency": str(random.choice(("EUR", "GBP", "USD"))),
                "link": f"https://shop.example/{id}",
                "photos": "|".join(photos),
            }
        )
        altered = shown.altered
        truth[id] = {
            "kind": kind,
            "altered": altered,
            "claims": [[c.about, c.value, c.true] for c in claims],
        }
    for name, own in rows.items():
        with (out / name / "listings.csv").open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, COLUMNS)
            writer.writeheader()
            writer.writerows(own)
    return truth


@dataclass(frozen=True)
class LabelEye:
    """Sees what the renderer says can be seen, as sure as `SURE`."""

    labels: Mapping[str, Mapping[str, Any]]
    version: str = "labels"

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        """Read the label of the picture's name."""
        label = self.labels[Path(photo.name).name]
        box = Box(*label["locomotive"])
        sighting = Sighting(box, None, Heading(label["faces"]), {}, {}, 1.0)
        cues = []
        for name, told in label["cues"].items():
            state = State(told["state"]) if told["visible"] else State.UNSEEN
            p = {State.PRESENT: SURE, State.ABSENT: 1.0 - SURE}.get(state)
            sure = 0.0 if p is None else SURE
            cues.append(Cue(name, state, p, confidence=sure, where=box))
        return sighting, tuple(cues)


def label_eye(folder: Path) -> LabelEye:
    """Make the eye for a folder of pictures."""
    engines = read_engines(folder)
    return LabelEye({label["file"]: label for e in engines for label in e.labels})


def tally(records: Iterable[Mapping[str, Any]], truth: Mapping[str, Any]) -> dict[str, list[int]]:
    """Count, for each figure of the table, how often it came out and of how many."""
    counts: Counter[str] = Counter()
    of: Counter[str] = Counter()

    def add(name: str, hit: bool) -> None:
        counts[name] += hit
        of[name] += 1

    for record in records:
        told = truth[record["id"]]
        read = {(c["about"] or c["kind"], c["value"]): c["verdict"] for c in record["claims"]}
        verdicts = [(about, true, read.get((about, v))) for about, v, true in told["claims"]]
        for about, true, verdict in verdicts:
            add("claims read from the text", verdict is not None)
            if true:
                add("true claims contradicted", verdict == "contradicted")
                if about == "year":
                    made = "one part altered since" if told["altered"] else "as made"
                    add(f"true years contradicted: engine {made}", verdict == "contradicted")
            elif told["kind"] == "wrong":
                add("contradictions found", verdict == "contradicted")
                add(f"contradictions found: {about}", verdict == "contradicted")
                made = "one part altered since" if told["altered"] else "as made"
                add(f"contradictions found: engine {made}", verdict == "contradicted")
                add("wrong claims supported", verdict == "supported")
            if told["kind"] == "true":
                add("true claims supported", verdict == "supported")
        if all(true for _, true, _ in verdicts):
            wrongly = any(verdict == "contradicted" for _, _, verdict in verdicts)
            add("false contradictions, by listing", wrongly)
        if told["kind"] == "undecidable":
            add("undecidable left undecided", record["verdict"] == "cannot tell")
    return {name: [counts[name], of[name]] for name in sorted(of)}


def table(figures: Mapping[str, Sequence[int]]) -> str:
    """A table in Markdown: share, Wilson's 95 % interval, and the numbers themselves."""
    lines = ["| figure | share | 95 % interval | of |", "|---|---|---|---|"]
    for name, (hits, n) in figures.items():
        low, high = wilson(hits, n)
        lines.append(f"| {name} | {hits / n:.1%} | {low:.1%} to {high:.1%} | {hits} of {n} |")
    return "\n".join(lines)


class _Quiet:
    def begin(self, what: str, count: int) -> None:
        self.count = count

    def step(self) -> None:
        pass


def main() -> int:
    """Make, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--count", type=int, default=400)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--eye", choices=["shipped", "labels"], default="shipped")
    arguments = parser.parse_args()
    load_eye: Any = load_shipped_eye
    if arguments.eye == "labels":
        load_eye = partial(label_eye, arguments.pictures)
    truth = make(arguments.pictures, arguments.out, arguments.count, arguments.seed)
    begun, photos, examined = time.perf_counter(), 0, 0
    records: list[Mapping[str, Any]] = []
    for path in sorted(arguments.out.glob("*/listings.csv")):
        order = Order(path, path.parent.name, jobs=arguments.jobs)
        judged = judge_listings(order, load_eye, _Quiet())
        records += judged.records
        examined += judged.examined
        photos += sum(len(r["photos"]) for r in judged.records)
    seconds = time.perf_counter() - begun
    (arguments.out / "truth.json").write_text(json.dumps(truth, indent=1), encoding="utf-8")
    figures = tally(records, truth)
    (arguments.out / "figures.json").write_text(json.dumps(figures, indent=1), encoding="utf-8")
    print(
        f"{len(records)} listings, {photos} photos, seed {arguments.seed}, eye: {arguments.eye}\n"
    )
    print(table(figures))
    if examined == len(records):
        worst = max(
            resource.getrusage(who).ru_maxrss
            for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        )
        print(
            f"\n{photos / seconds:.2f} photos a second with {arguments.jobs} processes; "
            f"largest process {worst / 1024:.0f} MiB"
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
