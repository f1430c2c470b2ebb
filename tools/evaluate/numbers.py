"""Read cab numbers over labelled pictures once, and keep what was read.

python -m tools.evaluate.numbers --pictures DIR --out numbers.jsonl.gz --workers 2

One line a picture that holds an engine; twins are left out, since they show no variation of
a guide. Where the engine is says the shipped eye, with no threshold applied, as in
`tools.look`: evaluation applies the thresholds. Evaluation reads these lines beside the
looks of the same pictures, so that it runs no network.
"""

from __future__ import annotations

import argparse
import gzip
import json
import multiprocessing as mp
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any

from tools.evaluate.rows import Row, share
from tools.look import read_labels, spread
from tools.looks import Judged
from tools.naming import name_of
from vision.cues import read_number
from vision.estimate.numbers import reading_likelihood
from vision.guide import load_guide
from vision.locate.finder import find
from vision.locate.poser import pose
from vision.network import Networks, load_networks
from vision.photo import open_photo
from vision.pipeline.views import agree
from vision.records import ILLEGIBLE, Cue, Sighting, State, TelltaleError

NAME = "cab_number"
# Height of a number, in pixels, from which on it has to be read.
ENOUGH_PX = 12.0
BANDS = ((ENOUGH_PX, 1e9, "figures ≥ 12 px"), (6.0, ENOUGH_PX, "figures 6 to 12 px"))
_NETWORKS: dict[str, Networks] = {}


def read_one(path: Path, networks: Networks) -> dict[str, Any]:
    """What is read in one picture, as it is kept; the reason alone where nothing can be."""
    photo = open_photo(path)
    glimpse = find(photo, networks)
    if glimpse.locomotive.width < 2 or glimpse.locomotive.height < 2:
        return {"state": State.UNSEEN.value, "because": "no engine"}
    sighting: Sighting = pose(photo, glimpse, networks)
    cue = read_number(photo, sighting, networks)
    kept: dict[str, Any] = {"state": cue.state.value, "because": cue.because}
    values = {text: round(p, 5) for text, p in cue.values.items()}
    if cue.state is not State.UNSEEN:
        kept |= {"value": cue.value, "confidence": round(cue.confidence, 5), "values": values}
    elif cue.may_be:
        kept |= {"in_sight": True, "values": values}
    return kept


def _line(task: tuple[Path, str, Path]) -> str:
    folder, file, models = task
    key = str(models)
    if key not in _NETWORKS:
        _NETWORKS[key] = load_networks(models)
    try:
        read = read_one(folder / file, _NETWORKS[key])
    except TelltaleError as error:
        read = {"state": State.UNSEEN.value, "because": str(error)}
    return json.dumps({"file": file, NAME: read, "model": _NETWORKS[key].version})


def read_over(folder: Path, out: Path, *, models: Path, workers: int, most: int | None) -> int:
    """Read every picture of a folder that is labelled with an engine; the lines written."""
    labels = [
        label
        for label in read_labels(folder)
        if label.get("locomotive") and not name_of(label["file"]).twin
    ]
    tasks = [(folder, str(label["file"]), models) for label in spread(labels, most)]
    with mp.get_context("spawn").Pool(workers) as pool, gzip.open(out, "wt") as lines:
        for line in pool.imap(_line, tasks, chunksize=8):
            lines.write(line + "\n")
    return len(tasks)


def read_numbers(paths: Iterable[Path]) -> dict[str, Cue]:
    """The cue of each picture, by file name.

    Raises
    ------
    ValueError
        A line that holds no reading.
    """
    cues = {}
    for path in paths:
        with gzip.open(path, "rt", encoding="utf-8") as lines:
            for line in map(json.loads, filter(str.strip, lines)):
                if NAME not in line or "file" not in line:
                    raise ValueError(f"{path}: lines with file and {NAME} expected")
                cues[line["file"]] = _cue(line[NAME])
    return cues


def _cue(read: Mapping[str, Any]) -> Cue:
    state = State(read["state"])
    if state is State.UNSEEN:
        values = MappingProxyType(read.get("values", {}))
        in_sight = read.get("in_sight", False)
        return Cue(NAME, state, because=read["because"], values=values, in_sight=in_sight)
    return Cue(
        NAME,
        state,
        value=read["value"],
        confidence=read["confidence"],
        because=read["because"],
        values=MappingProxyType(read["values"]),
    )


def number_rows(judged: Sequence[Judged], numbers: Mapping[str, Cue]) -> list[Row]:
    """Numbers of engines of a guide, wholly in sight on the cab side by the label.

    An engine that is not stated, and a number of which nothing is read, count as wrong. One
    too unclear to be stated counts within its guide, as it does in the argument, by what it
    may be.
    """
    pairs = [(j, numbers[j.look.file]) for j in judged if j.look.file in numbers]
    rows = []
    for low, high, words in BANDS:
        mine = [
            (j, cue)
            for j, cue in pairs
            if j.look.label.get("cab_number_visible")
            and low <= float(j.look.label["cab_number_px"]) < high
        ]
        key = low == ENOUGH_PX
        told = [j.stated and cue.state is State.PRESENT for j, cue in mine]
        exact = [t and c.value == _truth(j) for t, (j, c) in zip(told, mine, strict=True)]
        within = [j.stated and best_fit(j, c) == _truth(j) for j, c in mine]
        stated = [hit and t for hit, t in zip(within, told, strict=True)]
        right = [hit for hit, t in zip(within, told, strict=True) if t]
        open_one = [
            t and _but_one(c.value, _truth(j)) for t, (j, c) in zip(told, mine, strict=True)
        ]
        wrong = [t and not e and not o for t, e, o in zip(told, exact, open_one, strict=True)]
        rows += [
            share(f"cab number, {words}: read", told),
            share(f"cab number, {words}: exact", exact, "number_exact" if key else ""),
            share(
                f"cab number, {words}: right within the guide",
                within,
                "number_within" if key else "",
            ),
            share(f"cab number, {words}: right within the guide and stated", stated),
            share(f"cab number, {words}: right within the guide, of those read", right),
            share(f"cab number, {words}: right but for one figure left open", open_one),
            share(f"cab number, {words}: another number or a part of it stated", wrong),
        ]
    return rows


def _but_one(read: str | None, truth: str) -> bool:
    """Whether a reading with an illegible figure is right at every other one."""
    return bool(read) and ILLEGIBLE in str(read) and agree(str(read), truth)


def _truth(judged: Judged) -> str:
    return str(judged.look.label[NAME])


def best_fit(judged: Judged, cue: Cue) -> str:
    """The number of the guide that a reading fits best."""
    return best_listed(cue, load_guide(judged.look.label["variation"]["guide"]).numbers)


def best_listed(cue: Cue, listed: Iterable[str]) -> str:
    """Of the numbers listed the one that a reading fits best; "" where several do alike."""
    fits = {
        painted: sum(p * reading_likelihood(text, painted) for text, p in cue.values.items())
        for painted in listed
    }
    best = max(fits.values(), default=0.0)
    likeliest = [painted for painted, fit in fits.items() if fit == best]
    return likeliest[0] if len(likeliest) == 1 else ""


def main() -> None:
    """Parse the arguments and read."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pictures", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--models", type=Path, default=Path("models"))
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--most", type=int, default=None)
    arguments = parser.parse_args()
    count = read_over(
        arguments.pictures,
        arguments.out,
        models=arguments.models,
        workers=arguments.workers,
        most=arguments.most,
    )
    print(f"numbers read in {count} pictures")


if __name__ == "__main__":
    main()
