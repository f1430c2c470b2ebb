"""Pictures by renderers that know nothing of this studio, made ready to be looked at.

python -m tools.others --from DIR... --out FOLDER
python -m tools.others --from DIR... --out FOLDER --chosen-by

Each DIR holds pictures and `labels.jsonl`, a line a picture, of the few things that any
renderer knows: see `relabelled`. FOLDER gets links to the pictures and labels as
`tools.look` reads them, of the split "others"; or "others_chosen" of those by which something
was chosen, so that they judge nothing. Of what such a label cannot say, nothing is judged:
corners, lamps, figures.
"""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tools.render.truth import (
    AXLES_PX,
    AXLES_SHARE,
    BORDER_DEG,
    CUE_REGION,
    END_ON_DEG,
    MIN_PART_PX,
    REGIONS,
)
from vision.cues.evidence import ENOUGH_PX
from vision.records import BINARY_CUES

SPLIT, CHOSEN = "others", "others_chosen"
# A twin's letter: its mark in this project's names (`tools.naming`), and the cue swapped in it.
_TWINS: Mapping[str, tuple[str, str | None]] = {
    "": ("", None),
    **{"abc"[n]: (f"t{n + 1}", cue) for n, cue in enumerate(BINARY_CUES)},
}
_FILE = re.compile(r"^(?P<name>[a-z]+-\d+)-(?P<scene>\d+)_(?P<view>\d+)(?P<twin>[abc]?)\.jpg$")
# Of the engine in sight, below which such a label does not say what of it is hidden; chosen.
_WHOLE = 0.6


def relabelled(theirs: Mapping[str, Any]) -> dict[str, Any] | None:
    """Another renderer's label in the words of this project; None where it cannot be judged.

    Parameters
    ----------
    theirs : mapping
        `file` (name-series-scene_view, then a, b or c for a twin with lever, linkage or
        stripe swapped), `size`, `locomotive` and `tender` (boxes, px, or None), their
        shares in sight (0 to 1), `faces` (left or right), `off_axis_deg`, `wheels`,
        `boiler_top_length_px`, `rods_length_px`, `tender_axles`, `tender_side_seen`, and
        under `cues` each cue's `state` and `distinct_px`: the pixels by which a picture
        differs from its twin.

    Raises
    ------
    ValueError
        A file's name of another form.
    """
    name = _FILE.match(str(theirs["file"]))
    if name is None:
        raise ValueError(f"{theirs['file']}: expected name-1-2_3.jpg, or with a, b or c behind 3")
    off_axis = float(theirs["off_axis_deg"])
    if theirs["locomotive"] is None or off_axis < END_ON_DEG + BORDER_DEG:
        return None
    share = float(theirs["locomotive_share"])
    lengths = {
        "boiler_top": float(theirs["boiler_top_length_px"]),
        "side_rods": float(theirs["rods_length_px"]),
    }
    lengths["running_board"] = max(lengths.values())
    scene = f"{name['name']}-{name['scene']}"
    mark, swapped = _TWINS[name["twin"]]
    ours: dict[str, Any] = {
        "file": f"{scene}_{name['view']}{mark}.jpg",
        "renderer": name["name"].partition("-")[0],
        "kind": "locomotive",
        "job": scene,
        "twin_cue": swapped,
        "visible": dict.fromkeys(REGIONS, share),
        "whole": share >= _WHOLE,
        "regions": {},
    }
    for key in ("size", "locomotive", "locomotive_share", "faces", "off_axis_deg", "wheels"):
        ours[key] = theirs[key]
    ours["cues"] = {cue: _cue(theirs["cues"][cue], cue, lengths) for cue in BINARY_CUES}
    ours |= {key: theirs.get(key) for key in ("tender", "tender_axles")}
    ours["tender_share"] = float(theirs.get("tender_share") or 0.0)
    box = ours["tender"]
    wide = box is not None and box[2] - box[0] >= AXLES_PX
    in_sight = ours["tender_share"] >= AXLES_SHARE and bool(theirs.get("tender_side_seen"))
    ours |= {"axles_visible": bool(wide and in_sight), "lamps_visible": False}
    return ours


def _cue(theirs: Mapping[str, Any], cue: str, lengths: Mapping[str, float]) -> dict[str, Any]:
    region = CUE_REGION[cue]
    distinct = int(theirs["distinct_px"])
    ours = {
        "state": theirs["state"],
        "visible": distinct >= MIN_PART_PX[cue] and lengths[region] >= ENOUGH_PX[region],
        "distinct_px": distinct,
        "length_px": lengths[region],
    }
    return ours | ({"along": float(theirs["along"])} if "along" in theirs else {})


def gather(folders: list[Path], out: Path, *, split: str = SPLIT) -> int:
    """Link the pictures of `folders` that can be judged into `out`, and write their labels."""
    out.mkdir(parents=True, exist_ok=True)
    lines = []
    for folder in folders:
        for text in (folder / "labels.jsonl").read_text(encoding="utf-8").splitlines():
            theirs = json.loads(text)
            picture = folder / theirs["file"]
            ours = relabelled(theirs)
            if ours is None or not picture.exists():
                continue
            link = out / ours["file"]
            link.unlink(missing_ok=True)
            link.symlink_to(picture.resolve())
            lines.append(json.dumps(ours | {"split": split}))
    (out / f"labels-{split}.jsonl").write_text("".join(f"{line}\n" for line in lines), "utf-8")
    return len(lines)


def main() -> None:
    """Parse the arguments and gather."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--from", dest="folders", type=Path, nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--chosen-by", action="store_true", help="they judge nothing any more")
    arguments = parser.parse_args()
    split = CHOSEN if arguments.chosen_by else SPLIT
    print(f"{gather(arguments.folders, arguments.out, split=split)} pictures to be looked at")


if __name__ == "__main__":
    main()
