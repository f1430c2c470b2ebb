"""Print how well cab numbers are read, on labelled pictures.

python -m tools.evaluate_numbers --labels DIR            truth says where the engine is
python -m tools.evaluate_numbers --labels DIR --eye      the shipped eye says it
python -m tools.evaluate_numbers --demo demo_images      the demo photos, through the eye

DIR holds the pictures and `*.jsonl` labels. `cab_number_px` of a label is the height of all
visible pixels of the number: of slanting or half-hidden figures too.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tools.evaluate.numbers import best_listed
from tools.evaluate.rows import Row, share, table
from vision.cues import read_number
from vision.guide import load_guide
from vision.locate import locate
from vision.network import Networks, load_networks
from vision.photo import open_photo
from vision.records import Box, Cue, Heading, Sighting, State

BANDS = ((12.0, 1e9, "figures 12 px and higher"), (6.0, 12.0, "figures 6 to 12 px"))
# A guide that lists so many numbers besides the right one; the built-in ones list 2.
OTHERS = 5
SEED = 20


@dataclass(frozen=True, slots=True)
class Read:
    """One picture: its label, and the cue (None where no engine was found)."""

    label: dict[str, Any]
    cue: Cue | None
    listed: tuple[str, ...]

    @property
    def truth(self) -> str:
        return str(self.label["cab_number"])

    @property
    def value(self) -> str | None:
        return self.cue.value if self.cue is not None else None

    @property
    def within(self) -> str | None:
        """The listed number that the reading fits best; None where nothing was read."""
        if self.cue is None or self.cue.state is State.UNSEEN:
            return None
        return best_listed(self.cue, self.listed)


def labelled(folder: Path) -> list[dict[str, Any]]:
    """Labels of pictures that are there and carry a number; copies of a picture left out."""
    lines = [
        json.loads(line)
        for path in sorted(folder.glob("*.jsonl"))
        for line in path.read_text(encoding="utf-8").splitlines()
    ]
    return [
        {**line, "path": folder / line["file"]}
        for line in lines
        if line.get("cab_number")
        and not Path(line["file"]).stem.endswith("t")  # twins differ in one part only
        and (folder / line["file"]).is_file()
    ]


def demo(folder: Path) -> list[dict[str, Any]]:
    """The demo photos that carry a number, with the numbers of the guide they belong to."""
    entries = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    found = []
    for entry in entries:
        truth = entry["truth"]
        if truth.get("cab_number"):
            listed = load_guide(truth["guide"]).numbers if truth.get("guide") else ()
            found.append({**truth, "path": folder / entry["file"], "listed": listed})
    return found


def sighting_of(label: dict[str, Any]) -> Sighting:
    """What a faultless eye would have said."""
    regions = {name: tuple(map(tuple, quad)) for name, quad in label["regions"].items()}
    return Sighting(
        locomotive=Box(*label["locomotive"]),
        tender=Box(*label["tender"]) if label["tender"] else None,
        faces=Heading(label["faces"]),
        regions=regions,
        visible=label["visible"],
        score=1.0,
    )


def read_all(labels: Sequence[dict[str, Any]], networks: Networks, *, eye: bool) -> Iterator[Read]:
    """Read every picture; where the engine is says the eye, or else the label."""
    rng = np.random.default_rng(SEED)
    numbers = sorted({str(label["cab_number"]) for label in labels})
    for label in labels:
        truth = str(label["cab_number"])
        others = [number for number in numbers if number != truth]
        chosen = rng.permutation(len(others))[:OTHERS]
        drawn = (truth, *(others[i] for i in chosen))
        listed = tuple(sorted({truth, *label["listed"]})) if label.get("listed") else drawn
        photo = open_photo(label["path"])
        sighting = locate(photo, networks) if eye else sighting_of(label)
        found = isinstance(sighting, Sighting)
        cue = read_number(photo, sighting, networks) if found else None
        yield Read(label, cue, listed)


def rows_of(name: str, reads: Sequence[Read]) -> list[Row]:
    """Shares of all pictures, and of those in which a number was read."""
    told = [r for r in reads if r.value is not None]
    return [
        share(f"{name}: a number read", [r.value is not None for r in reads]),
        share(f"{name}: exact", [r.value == r.truth for r in reads]),
        share(f"{name}: right within the guide", [r.within == r.truth for r in reads]),
        share(f"{name}: exact, of those read", [r.value == r.truth for r in told]),
        share(
            f"{name}: right within the guide, of those read", [r.within == r.truth for r in told]
        ),
    ]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--labels", type=Path)
    parser.add_argument("--eye", action="store_true")
    parser.add_argument("--demo", type=Path)
    given = parser.parse_args(arguments)
    rows: list[Row] = []
    if given.labels is not None:
        reads = list(read_all(labelled(given.labels), load_networks(), eye=given.eye))
        for low, high, name in BANDS:
            mine = [r for r in reads if low <= r.label["cab_number_px"] < high]
            side = [r for r in mine if r.label["faces"] in ("left", "right")]
            rows += rows_of(name, mine) + rows_of(f"{name}, seen from the side", side)
    if given.demo is not None:
        rows += rows_of("demo photos", list(read_all(demo(given.demo), load_networks(), eye=True)))
    print(table(rows, {}))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
