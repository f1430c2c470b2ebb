"""The only rapidocr import: text lines in a small picture, character by character.

An optional source: without the extra `number` nothing here runs and `available` is false.
The weights lie in rapidocr's own package (Apache-2.0); their paths are given to it, so that
it never looks for them elsewhere.
"""

from __future__ import annotations

import importlib.util
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.records import Box, Pixels

MISSING = "number not read: install telltale-vision with the extra 'number'"
BLANK = ""
# Longest side, in pixels, at which text lines are looked for: time grows with its square.
_DETECTION_SIDE = 448
# Lower than the library's own 0.3 and 0.5: worn and shaded figures give faint answers, and
# what is not a number falls out when it is read. By eye on 84 renders.
_CELL_AT_LEAST = 0.1
_LINE_AT_LEAST = 0.15
# Characters less probable than this at one step are left out.
_LEAST = 1e-4


@dataclass(frozen=True, slots=True)
class Reading:
    """One line of text.

    Attributes
    ----------
    text : str
        The most probable characters.
    confidence : float
        Mean probability of those characters, 0 to 1.
    box : Box
        Round the line, pixels of the picture given.
    steps : tuple of mapping of str to float
        From left to right, the probability of each character at each step, `BLANK` for
        none; equal characters at neighbouring steps are one (connectionist temporal
        classification, Graves et al. 2006). Each sums to at most 1; the rest is unnamed.
    """

    text: str
    confidence: float
    box: Box
    steps: tuple[Mapping[str, float], ...]


def available() -> bool:
    """Whether the extra `number` is installed."""
    return importlib.util.find_spec("rapidocr") is not None


def read_characters(pixels: Pixels) -> tuple[Reading, ...]:
    """Find and read every line of text in a small picture.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8 RGB
        Best with characters 20 to 60 pixels high.

    Returns
    -------
    tuple of Reading
        From top to bottom; empty where nothing looks like text.

    Raises
    ------
    RuntimeError
        The extra is not installed; ask `available` first.
    """
    found = _detector()(_bgr(pixels))
    if found.boxes is None:
        return ()
    from rapidocr.utils.process_img import get_rotate_crop_image

    quads = [np.asarray(quad, dtype=np.float32) for quad in found.boxes]
    lines = [np.asarray(get_rotate_crop_image(_bgr(pixels), quad.copy())) for quad in quads]
    kept = [(quad, line) for quad, line in zip(quads, lines, strict=True) if min(line.shape) > 1]
    boxes = [Box(*map(float, (*quad.min(axis=0), *quad.max(axis=0)))) for quad, _ in kept]
    return _read([line for _, line in kept], boxes)


def read_lines(pixels: Pixels, boxes: Sequence[Box]) -> tuple[Reading, ...]:
    """Read what stands in each of the boxes, one line each, without looking for lines.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8 RGB
    boxes : sequence of Box
        Pixels of `pixels`; those without area inside it are left out.
    """
    height, width = pixels.shape[:2]
    inside = [Box(*map(round, box.clipped(width, height).as_tuple())) for box in boxes]
    inside = [box for box in inside if box.width >= 2 and box.height >= 2]
    lines = [_bgr(pixels[int(b.top) : int(b.bottom), int(b.left) : int(b.right)]) for b in inside]
    return _read(lines, inside)


@cache
def _settings() -> Any:
    """The library's own settings with ours in them; the weights by path, never fetched."""
    if not available():
        raise RuntimeError(MISSING)
    import rapidocr

    folder = Path(rapidocr.__file__).parent / "models"
    ours = {
        "Global.log_level": "error",
        "Global.model_root_dir": str(folder),
        "EngineConfig.onnxruntime.intra_op_num_threads": int(
            os.environ.get("TELLTALE_THREADS", "1")
        ),
        "EngineConfig.onnxruntime.inter_op_num_threads": 1,
        "Det.model_path": str(folder / "PP-OCRv6_det_small.onnx"),
        "Det.limit_type": "max",
        "Det.limit_side_len": _DETECTION_SIDE,
        "Det.thresh": _CELL_AT_LEAST,
        "Det.box_thresh": _LINE_AT_LEAST,
        "Rec.model_path": str(folder / "PP-OCRv6_rec_small.onnx"),
    }
    settings = rapidocr.RapidOCR(params=ours).cfg
    for part in (settings.Det, settings.Rec):
        part.engine_cfg = settings.EngineConfig.onnxruntime
        part.model_root_dir = settings.Global.model_root_dir
    settings.Rec.font_path = None
    return settings


# Both networks are held once loaded, each when first needed: starting one costs more than
# a reading, and most numbers are read without looking for lines.
@cache
def _detector() -> Any:
    from rapidocr.ch_ppocr_det import TextDetector

    return TextDetector(_settings().Det)


@cache
def _recogniser() -> Any:
    from rapidocr.ch_ppocr_rec import TextRecognizer

    return TextRecognizer(_settings().Rec)


def _read(lines: Sequence[Pixels], boxes: Sequence[Box]) -> tuple[Reading, ...]:
    if not lines:
        return ()
    recogniser = _recogniser()
    alphabet = [BLANK, *recogniser.postprocess_op.character[1:]]
    # One at a time: a batch is as wide as its widest line, which costs more than it saves.
    return tuple(
        _reading(_run(recogniser, line), box, alphabet)
        for line, box in zip(lines, boxes, strict=True)
    )


def _run(recogniser: Any, line: Pixels) -> NDArray[np.float32]:
    slenderness = max(1.0, line.shape[1] / line.shape[0])
    batch = recogniser.resize_norm_img(line, slenderness)[None].astype(np.float32)
    return np.asarray(recogniser.session(batch)[0])


def _reading(row: NDArray[np.float32], box: Box, alphabet: Sequence[str]) -> Reading:
    best = row.argmax(axis=1)
    new = np.append(True, best[1:] != best[:-1]) & (best != 0)
    steps = tuple(
        MappingProxyType({alphabet[int(i)]: float(step[i]) for i in np.flatnonzero(step > _LEAST)})
        for step in row
    )
    sure = row.max(axis=1)[new]
    return Reading(
        text="".join(alphabet[int(i)] for i in best[new]),
        confidence=float(sure.mean()) if len(sure) else 0.0,
        box=box,
        steps=steps,
    )


def _bgr(pixels: Pixels) -> Pixels:
    return np.ascontiguousarray(pixels[:, :, ::-1])
