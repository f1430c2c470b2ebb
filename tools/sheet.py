"""A contact sheet of a rendered set with its truth drawn on: python -m tools.sheet --pictures DIR.

Look at every set before training on it: half of one was once a wall.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.look import read_labels

TILE = (400, 300)
_BOXES = {"locomotive": (80, 220, 80), "tender": (230, 150, 40)}
_REGIONS = {
    "boiler_top": (60, 230, 230),
    "side_rods": (220, 60, 220),
    "running_board": (240, 220, 60),
}


def tile(folder: Path, record: dict[str, Any]) -> NDArray[np.uint8]:
    """One picture with boxes, regions (a dot at the front) and a line of its label."""
    picture = cv2.imread(str(folder / record["file"]))
    for name, colour in _BOXES.items():
        if record.get(name):
            left, top, right, bottom = (int(v) for v in record[name])
            cv2.rectangle(picture, (left, top), (right, bottom), colour, 1)
    for name, quad in record.get("regions", {}).items():
        corners = np.int32(np.round(quad))
        cv2.polylines(picture, [corners], True, _REGIONS[name], 1, cv2.LINE_AA)
        cv2.circle(picture, tuple(int(v) for v in corners[0]), 4, _REGIONS[name], -1)
    picture = np.asarray(cv2.resize(picture, TILE, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    states = [
        f"{name.split('_')[1][:4]} {cue['state'][:3]}{'' if cue['visible'] else '?'}"
        for name, cue in record.get("cues", {}).items()
    ]
    words = " ".join([str(record.get("family") or record["kind"]), record.get("room", ""), *states])
    cv2.rectangle(picture, (0, 0), (TILE[0], 16), (0, 0, 0), -1)
    cv2.putText(picture, words, (3, 12), cv2.FONT_HERSHEY_SIMPLEX, 0.38, (255, 255, 255), 1)
    return picture


def sheet(folder: Path, *, columns: int, rows: int) -> NDArray[np.uint8]:
    """Evenly chosen pictures of a set, as one picture (BGR)."""
    records = read_labels(folder)
    step = max(1, len(records) // (columns * rows))
    tiles = [tile(folder, record) for record in records[::step][: columns * rows]]
    blank = np.zeros((TILE[1], TILE[0], 3), np.uint8)
    tiles += [blank] * (-len(tiles) % columns)
    lines = [np.hstack(tiles[i : i + columns]) for i in range(0, len(tiles), columns)]
    return np.asarray(np.vstack(lines), dtype=np.uint8)


def main() -> None:
    """Parse the arguments and write the sheet."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=Path, required=True)
    parser.add_argument("--out", type=Path, default=Path("sheet.jpg"))
    parser.add_argument("--columns", type=int, default=6)
    parser.add_argument("--rows", type=int, default=6)
    arguments = parser.parse_args()
    picture = sheet(arguments.pictures, columns=arguments.columns, rows=arguments.rows)
    cv2.imwrite(str(arguments.out), picture, [cv2.IMWRITE_JPEG_QUALITY, 88])


if __name__ == "__main__":
    main()
