"""From a rendered folder to pictures on a card, also while it is still being rendered."""

from __future__ import annotations

import functools
import hashlib
import json
import multiprocessing
import time
from collections import deque
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from tools.render.view import MASK_BITS
from tools.train.networks import AXLE_COUNTS, FACES, HEADINGS, LAMP_COUNTS
from tools.train.numbered import MOST, numbered, unnumbered
from tools.train.pictures import CUES, REGIONS, STORED, Pictures
from vision.cues.driving import DRIVING_AXLES
from vision.guide.whyte import driving_axles

# Picture, mask, factor on its size, and its figures' corners, classes and the cab's corners.
_Decoded = tuple[NDArray[np.uint8], NDArray[np.uint8], float, tuple[NDArray[Any], ...]]
_AHEAD = 4  # chunks that are being decoded while one is moved
_CHUNK = 256  # pictures decoded before they are moved to the cards
_MANY = 4000  # pictures, from which on processes decode them sooner than threads


def load(
    folder: Path,
    device: str,
    *,
    stored: tuple[int, int] = STORED,
    threads: int = 16,
    figures: bool = True,
    most: int | None = None,
) -> Pictures:
    """Decode pictures of a folder, `most` at most, onto the device, fitted into `stored` pixels.

    Where each figure of a cab number stands is found only where `figures` are asked for: it
    takes as long as everything else.
    """
    # A label may be there before its picture, where folders are joined while they grow.
    records = [record for record in read_labels(folder) if _there(folder, record)][:most]
    chunks = [records[start : start + _CHUNK] for start in range(0, len(records), _CHUNK)]
    decode = functools.partial(_decode, folder, stored=stored, figures=figures)
    with _pool(threads, many=len(records) >= _MANY) as pool:
        pictures = empty(len(records), device, stored)
        coming = deque(pool.map(decode, chunk, chunksize=8) for chunk in chunks[:_AHEAD])
        for index, chunk in enumerate(chunks):
            decoded = list(coming.popleft())
            # While one chunk is moved to the card, others are decoded.
            if later := chunks[index + _AHEAD : index + _AHEAD + 1]:
                coming.append(pool.map(decode, *later, chunksize=8))
            _put([pictures], chunk, decoded)
    return pictures


def _pool(workers: int, *, many: bool) -> Executor:
    """Threads, or for many pictures processes: half of the decoding is Python's own.

    The processes are there before the card is touched, which a fork must not inherit.
    """
    if not many:
        return ThreadPoolExecutor(workers)
    pool = ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("fork"))
    # All of them start with the first task, while there is nothing yet to inherit.
    pool.submit(int).result()
    return pool


def read_labels(folder: Path) -> list[dict[str, Any]]:
    """All whole lines of a rendered folder's labels, in a fixed order."""
    return sorted(_unread(folder, {}), key=lambda record: str(record["file"]))


def empty(capacity: int, device: str, stored: tuple[int, int] = STORED) -> Pictures:
    """Room for `capacity` pictures, none of them filled."""
    width, height = stored

    def room(*shape: int, kind: torch.dtype = torch.float32) -> Tensor:
        return torch.zeros((capacity, *shape), dtype=kind, device=device)

    return Pictures(
        filled=torch.zeros((), dtype=torch.long).share_memory_(),
        pixels=room(3, height, width, kind=torch.uint8),
        masks=room(height, width, kind=torch.uint8),
        has_engine=room(kind=torch.bool),
        has_tender=room(kind=torch.bool),
        engine=room(4),
        tender=room(4),
        heading=room(kind=torch.long),
        corners=room(3, 4, 2),
        share=room(3),
        present=room(3),
        visible=room(3),
        along=room(),
        counts=room(2, kind=torch.long),
        countable=room(2),
        driving=room(kind=torch.long),
        faces=room(2, 4, 2),
        figures=room(MOST, 4, 2),
        digits=room(MOST, kind=torch.long),
        cab=room(4, 2),
        inked=room(kind=torch.bool),
        scene=room(kind=torch.long),
    )


def append(
    stores: list[Pictures],
    folder: Path,
    records: list[dict[str, Any]],
    *,
    pool: Executor,
    figures: bool = True,
) -> None:
    """Decode pictures and put them behind those that the stores, all alike, hold already."""
    first = int(stores[0].filled)
    # A label may be there before its picture, where folders are joined while they grow.
    records = [record for record in records if _there(folder, record)]
    records = records[: len(stores[0].pixels) - first]
    if not records:
        return
    height, width = stores[0].masks.shape[1:]
    stored = (int(width), int(height))
    decode = functools.partial(_decode, folder, stored=stored, figures=figures)
    _put(stores, records, list(pool.map(decode, records, chunksize=8)))


def _put(stores: list[Pictures], records: list[dict[str, Any]], decoded: list[_Decoded]) -> None:
    """Move decoded pictures behind those that the stores hold already."""
    first = int(stores[0].filled)
    picture, mask, factor, written = zip(*decoded, strict=True)
    columns = _columns(records, factor)
    for name, values in zip(("figures", "digits", "cab"), zip(*written, strict=True), strict=True):
        columns[name] = torch.from_numpy(np.stack(values))
    columns["pixels"] = torch.from_numpy(np.stack(picture))
    columns["masks"] = torch.from_numpy(np.stack(mask))
    columns["inked"] = ((columns["masks"] & MASK_BITS["cab_number"]) > 0).flatten(1).any(1)
    last = first + len(records)
    for store in stores:
        for name, values in columns.items():
            there = values.to(store.pixels.device)
            # Turned there: a card does it in no time.
            there = there.permute(0, 3, 1, 2) if name == "pixels" else there
            getattr(store, name)[first:last] = there
        if store.pixels.is_cuda:  # another process must not see the count before the pixels
            torch.cuda.synchronize(store.pixels.device)
        store.filled.fill_(last)


def follow(
    stores: list[Pictures], folder: Path, *, until: float, threads: int, figures: bool = True
) -> None:
    """Append what is rendered into a folder, until a time or until the stores are full."""
    read: dict[Path, int] = {}
    fresh: list[dict[str, Any]] = []
    with ThreadPoolExecutor(threads) as pool:
        while time.time() < until and int(stores[0].filled) < len(stores[0].pixels):
            more = _unread(folder, read) if len(fresh) < _CHUNK else []
            fresh += more
            # A few are worth a move only once no more follow them.
            if not fresh or (len(fresh) < _CHUNK and more):
                time.sleep(2.0)
                continue
            append(stores, folder, fresh[:_CHUNK], pool=pool, figures=figures)
            fresh = fresh[_CHUNK:]


def _unread(folder: Path, read: dict[Path, int]) -> list[dict[str, Any]]:
    """Labels written since the last time; `read` keeps how many bytes of each file were."""
    records = []
    for path in sorted(folder.glob("labels-*.jsonl")):
        with path.open("rb") as lines:
            lines.seek(read.get(path, 0))
            # The last line may still be being written.
            whole, _, _ = lines.read().rpartition(b"\n")
        if whole:
            read[path] = read.get(path, 0) + len(whole) + 1
            records += [json.loads(line) for line in whole.split(b"\n") if line]
    return records


def _there(folder: Path, record: dict[str, Any]) -> bool:
    picture = folder / record["file"]
    return picture.exists() and picture.with_suffix(".mask.png").exists()


def _columns(records: list[dict[str, Any]], factors: tuple[float, ...]) -> dict[str, Tensor]:
    def numbers(rows: list[Any]) -> Tensor:
        return torch.tensor(np.asarray(rows, dtype=np.float32))

    paired = list(zip(records, factors, strict=True))
    return {
        "has_engine": torch.tensor([r["locomotive"] is not None for r in records]),
        "has_tender": torch.tensor([r["tender"] is not None for r in records]),
        "engine": numbers([_scaled(r["locomotive"], f) for r, f in paired]),
        "tender": numbers([_scaled(r["tender"], f) for r, f in paired]),
        "heading": torch.tensor([HEADINGS.index(r["faces"] or "left") for r in records]),
        "corners": numbers([_corners(r, f) for r, f in paired]),
        "share": numbers([[r.get("visible", {}).get(k, 0.0) for k in REGIONS] for r in records]),
        "present": numbers([[_cue(r, c, "state") == "present" for c in CUES] for r in records]),
        "visible": numbers([[bool(_cue(r, c, "visible")) for c in CUES] for r in records]),
        "along": numbers([_along(r) for r in records]),
        "faces": numbers([_faces(r, f) for r, f in paired]),
        "counts": torch.tensor([_counts(r) for r in records]),
        "countable": numbers(
            [[bool(r.get(k)) for k in ("axles_visible", "lamps_visible")] for r in records]
        ),
        "driving": torch.tensor([_driving(r) for r in records]),
        "scene": torch.tensor([_scene(r) for r in records]),
    }


def _decode(
    folder: Path, record: dict[str, Any], *, stored: tuple[int, int], figures: bool = True
) -> _Decoded:
    picture = cv2.cvtColor(cv2.imread(str(folder / record["file"])), cv2.COLOR_BGR2RGB)
    mask = cv2.imread(str((folder / record["file"]).with_suffix(".mask.png")), cv2.IMREAD_GRAYSCALE)
    corners, classes, cab = numbered(record, mask) if figures else unnumbered()
    height, width = picture.shape[:2]
    factor = min(stored[0] / width, stored[1] / height)
    if factor != 1.0:
        size = (min(stored[0], round(width * factor)), min(stored[1], round(height * factor)))
        picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
        mask = cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST)
    pad = ((0, stored[1] - picture.shape[0]), (0, stored[0] - picture.shape[1]))
    if np.any(pad):
        picture = np.pad(picture, (*pad, (0, 0)), constant_values=114)
        mask = np.pad(mask, pad)
    written = (corners * np.float32(factor), classes, cab * np.float32(factor))
    return np.ascontiguousarray(picture), mask, factor, written


def _scaled(box: list[float] | None, factor: float) -> list[float]:
    return [edge * factor for edge in box] if box else [0.0, 0.0, 1.0, 1.0]


def _corners(record: dict[str, Any], factor: float) -> NDArray[np.float32]:
    regions = record.get("regions")
    if not regions:
        return np.zeros((3, 4, 2), np.float32)
    return np.asarray([regions[name] for name in REGIONS], np.float32) * factor


def _faces(record: dict[str, Any], factor: float) -> NDArray[np.float32]:
    """Corners of the tender's side and rear; zeros where they are turned away or not told."""
    out = np.zeros((2, 4, 2), np.float32)
    for index, name in enumerate(FACES):
        if name in (told := record.get("tender_faces") or {}):
            out[index] = np.asarray(told[name], np.float32) * factor
    return out


def _counts(record: dict[str, Any]) -> list[int]:
    axles, lamps = record.get("tender_axles"), record.get("tender_lamps")
    return [
        AXLE_COUNTS.index(axles) if axles in AXLE_COUNTS else 0,
        LAMP_COUNTS.index(lamps) if lamps in LAMP_COUNTS else 0,
    ]


def _driving(record: dict[str, Any]) -> int:
    """Class of how many driving axles the engine has; -1 of none and of more than are counted."""
    axles = driving_axles(record["wheels"]) if record.get("wheels") else 0
    return DRIVING_AXLES.index(axles) if axles in DRIVING_AXLES else -1


def _scene(record: dict[str, Any]) -> int:
    """A number for split, seed and scene, which a file's name begins with: `job` lacks the seed.

    From the names' bytes alone: processes and folders must agree on it.
    """
    name = str(record["file"])
    scene = name.rpartition("_")[0] or name
    return int.from_bytes(hashlib.blake2b(scene.encode(), digest_size=8).digest(), signed=True)


def _along(record: dict[str, Any]) -> float:
    along = _cue(record, CUES[0], "along")
    return float("nan") if along is None else float(along)


def _cue(record: dict[str, Any], cue: str, field: str) -> Any:
    return record.get("cues", {}).get(cue, {}).get(field)
