"""Sheets of single parts for a reader who does not know the truth, and the key to them.

python -m tools.blind --pictures pictures/held pictures/guide --out blind

What no reader tells from a picture no eye can be asked for. The parts are of engines on which
the label calls them visible, of each cue some with and some without it, at most two of one
engine. Give the reader the sheets `*_N.png` and, as examples with the truth above each tile,
`examples_*.png`; keep `key.json` from them. They answer in a file of lines
"tile,answer,sureness": `present` or `absent`, or the number; `sure`, `likely` or `guess`.
`tools.evaluate.reader` holds their answers and the shipped eye's against the truth.
"""

from __future__ import annotations

import argparse
import json
import random
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from tools.evaluate.numbers import ENOUGH_PX, NAME
from tools.look import read_labels
from tools.render.truth import CUE_REGION
from tools.render.view import MASK_BITS
from vision.pipeline.placing import LEVER
from vision.records import Pixels, State

PRESENT, ABSENT = State.PRESENT.value, State.ABSENT.value
_ONE_ENGINE = 2  # tiles of it at most
_ROUND = 0.1  # of a region's length shown round it; and of its height, above and below a board
_ROUND_BOARD = 0.6
_ROUND_NUMBER = 0.7  # of its width
_TILE = (420, 210)
_TITLE_PX, _ARROW_PX, _COLUMNS, _ROWS = 22, 14, 4, 5
_LARGEST = 6.0  # times as large as the picture is
_WHITE, _YELLOW, _GROUND = (255, 255, 255), (0, 255, 255), 30

Labelled = tuple[Path, Mapping[str, Any]]


def truth_of(label: Mapping[str, Any], what: str) -> str:
    """`present` or `absent`; of the cab number the number; "" where it cannot be seen."""
    if what == NAME:
        readable = label.get("cab_number_visible") and label["cab_number_px"] >= ENOUGH_PX
        return str(label["cab_number"]) if readable else ""
    cue = label.get("cues", {}).get(what, {})
    return str(cue["state"]) if cue.get("visible") else ""


def chosen(
    labels: Sequence[Labelled], what: str, most: Mapping[str, int], rng: random.Random
) -> list[Labelled]:
    """Up to `most` of each truth (of numbers "" stands for any), in an order that tells nothing."""
    pool = [pair for pair in labels if truth_of(pair[1], what) and not pair[1].get("twin_cue")]
    rng.shuffle(pool)
    engines: Counter[tuple[Path, int]] = Counter()
    taken: Counter[str] = Counter()
    kept = []
    for folder, label in pool:
        kind = "" if what == NAME else truth_of(label, what)
        engine = folder, int(label["job"])
        if taken[kind] < most.get(kind, 0) and engines[engine] < _ONE_ENGINE:
            kept.append((folder, label))
            taken[kind] += 1
            engines[engine] += 1
    return kept


def tile(folder: Path, label: Mapping[str, Any], what: str) -> Pixels | None:
    """The part and a little round it; None where the picture has next to none of it."""
    picture = np.asarray(cv2.imread(str(folder / str(label["file"]))), dtype=np.uint8)
    if what == NAME:
        mask = cv2.imread(str((folder / str(label["file"])).with_suffix(".mask.png")), 0)
        corners = np.argwhere(np.asarray(mask) & MASK_BITS[NAME])[:, ::-1]
        if not len(corners):
            return None
        across = down = max(20.0, _ROUND_NUMBER * float(np.ptp(corners[:, 0])))
    else:
        corners = np.asarray(label["regions"][CUE_REGION[what]])
        across = down = _ROUND * float(np.ptp(corners[:, 0]))
        if CUE_REGION[what] == "running_board":
            down += _ROUND_BOARD * float(np.ptp(corners[:, 1]))
    low = np.maximum(corners.min(axis=0) - (across, down), 0).astype(int)
    high = np.ceil(corners.max(axis=0) + (across, down)).astype(int)
    cut = np.ascontiguousarray(picture[low[1] : high[1], low[0] : high[0]])
    if min(cut.shape[:2]) < 4:
        return None
    scale = min(_TILE[0] / cut.shape[1], _TILE[1] / cut.shape[0], _LARGEST)
    cut = np.asarray(cv2.resize(cut, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC))
    if what != LEVER:
        return np.asarray(cut, dtype=np.uint8)
    # A guide says where the lever stands, so the reader is told as well.
    _, _, rear, front = corners
    x = int(scale * (front[0] + (rear[0] - front[0]) * label["cues"][LEVER]["along"] - low[0]))
    shown = np.full((cut.shape[0] + _ARROW_PX, *cut.shape[1:]), _GROUND, dtype=np.uint8)
    shown[: cut.shape[0]] = cut
    ends = (x, shown.shape[0] - 1), (x, cut.shape[0] + 1)
    return np.asarray(cv2.arrowedLine(shown, *ends, _YELLOW, 2, tipLength=0.5), dtype=np.uint8)


def sheets(titled: Sequence[tuple[str, Pixels]]) -> Iterator[Pixels]:
    """Tiles under their titles, twenty a sheet (BGR)."""
    wide, high = _TILE[0] + 8, _TILE[1] + _ARROW_PX + _TITLE_PX + 4
    for first in range(0, len(titled), _COLUMNS * _ROWS):
        page = titled[first : first + _COLUMNS * _ROWS]
        sheet = np.full((-(-len(page) // _COLUMNS) * high, _COLUMNS * wide, 3), _GROUND, np.uint8)
        for place, (title, cut) in enumerate(page):
            y, x = place // _COLUMNS * high, place % _COLUMNS * wide
            sheet[y + _TITLE_PX :, x:][: cut.shape[0], : cut.shape[1]] = cut
            at = (x + 4, y + _TITLE_PX - 5)
            cv2.putText(sheet, title, at, cv2.FONT_HERSHEY_SIMPLEX, 0.55, _WHITE, 1, cv2.LINE_AA)
        yield sheet


def main() -> None:
    """Write sheets, examples and key."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pictures", type=Path, nargs="+", required=True, metavar="DIR")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--each", type=int, default=100, help="tiles of each part")
    parser.add_argument("--examples", type=int, default=20, help="told beforehand")
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    labels = [(folder, label) for folder in options.pictures for label in read_labels(folder)]
    rng = random.Random(options.seed)
    key: dict[str, dict[str, str]] = {}
    for what in (*CUE_REGION, NAME):
        for many, name in ((options.each, what), (options.examples, f"examples_{what}")):
            used = {told["file"] for told in key.values() if told["what"] == what}
            fresh = [pair for pair in labels if str(pair[1]["file"]) not in used]
            most = {PRESENT: many - many // 2, ABSENT: many // 2, "": many}
            titled = []
            for folder, label in chosen(fresh, what, most, rng):
                cut = tile(folder, label, what)
                if cut is None:
                    continue
                title = truth = truth_of(label, what)
                if name == what:
                    title = str(len(key) + 1)
                    key[title] = {"file": str(label["file"]), "what": what, "truth": truth}
                titled.append((title, cut))
            for number, sheet in enumerate(sheets(titled)):
                cv2.imwrite(str(options.out / f"{name}_{number}.png"), sheet)
    (options.out / "key.json").write_text(json.dumps(key, indent=1) + "\n", encoding="utf-8")
    print(f"{len(key)} tiles")


if __name__ == "__main__":
    main()
