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
import json
import resource
import time
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from tools.listings_made import make, read_engines
from vision.cli import load_shipped_eye
from vision.estimate import wilson
from vision.listings import Brief, judge_listings
from vision.records import Box, Cue, Heading, NotFound, Photo, Sighting, State

# How sure the eye of the labels is of what can be seen; a calibrated eye is never certain.
SURE = 0.99


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
        brief = Brief(path, path.parent.name, jobs=arguments.jobs)
        judged = judge_listings(brief, load_eye, _Quiet())
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
