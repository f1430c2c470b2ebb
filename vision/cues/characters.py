"""Characters on a straightened crop: where they stand and which they are, line by line.

The network says for each cell whether a character's middle is there, which figure it is,
and how large. Here its cells become characters, and characters that stand in a row a
line of text, read from left to right.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.cues.spelling import BLANK, Reading
from vision.network import Network
from vision.records import FIGURES, Box, Pixels

# Cells less sure of a character than this are passed over.
_LEAST = 0.05
_SAME_PLACE = 0.4  # intersection over union above which two characters are one
# What makes neighbours of one line, in heights of the taller: chosen by eye on renders.
_LIKE_HEIGHT, _LEVEL = 0.62, 0.45
_GAP = (-0.35, 0.95)


@dataclass(frozen=True, slots=True)
class Character:
    """One character.

    Attributes
    ----------
    box : Box
        In pixels of the crop.
    there : float
        Probability that a character stands there.
    values : mapping of str to float
        Probability of each figure if one does; what is missing to 1 is no figure.
    """

    box: Box
    there: float
    values: Mapping[str, float]


def read_lines(pixels: Pixels, network: Network) -> tuple[Reading, ...]:
    """Find and read every line of characters in a crop.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8 RGB
        Of the network's own size. Characters are read best when 14 to 40 pixels high.
    network : Network
        The reader.

    Returns
    -------
    tuple of Reading
        The surest line first.
    """
    out = network.run(pixels)
    lines = lines_of(characters_of(out["there"], out["values"], out["boxes"]))
    readings = [reading_of(line) for line in lines]
    return tuple(sorted(readings, key=lambda reading: -reading.confidence))


def characters_of(
    there: NDArray[np.float32], values: NDArray[np.float32], boxes: NDArray[np.float32]
) -> tuple[Character, ...]:
    """The characters that the network's cells tell of.

    Parameters
    ----------
    there : ndarray, shape (1, rows, columns)
        Probability that a character's middle is in the cell.
    values : ndarray, shape (11, rows, columns)
        Probabilities of the ten figures, and of what is none.
    boxes : ndarray, shape (4, rows, columns)
        Middle x, y, width and height of the character, in pixels of the crop.

    Returns
    -------
    tuple of Character
        The surest first, no two at one place.
    """
    peaks = there[0]
    around = cv2.dilate(peaks, np.ones((3, 3), np.uint8))
    rows, cols = np.nonzero((peaks >= _LEAST) & (peaks >= around))
    found: list[Character] = []
    for at in sorted(zip(rows, cols, strict=True), key=lambda at: -float(peaks[at])):
        x, y, wide, tall = (float(v) for v in boxes[:, at[0], at[1]])
        box = Box(x - wide / 2, y - tall / 2, x + wide / 2, y + tall / 2)
        if any(box.intersection_over_union(other.box) > _SAME_PLACE for other in found):
            continue
        shares = values[:, at[0], at[1]]
        chances = {figure: float(shares[i]) for i, figure in enumerate(FIGURES)}
        found.append(Character(box, float(peaks[at]), MappingProxyType(chances)))
    return tuple(found)


def lines_of(characters: Sequence[Character]) -> tuple[tuple[Character, ...], ...]:
    """Characters of like height that stand level and near each other, from left to right."""
    lines: list[list[Character]] = []
    for character in sorted(characters, key=lambda c: c.box.centre[0]):
        homes = [line for line in lines if _follows(line[-1].box, character.box)]
        if homes:
            nearest = min(homes, key=lambda line: abs(_rise(line[-1].box, character.box)))
            nearest.append(character)
        else:
            lines.append([character])
    return tuple(tuple(line) for line in lines)


def reading_of(line: Sequence[Character]) -> Reading:
    """A line as steps from left to right, with a blank one after each character."""
    steps: list[Mapping[str, float]] = []
    for character in line:
        chances = {f: character.there * p for f, p in character.values.items()}
        steps.append(MappingProxyType({BLANK: 1.0 - character.there, **chances}))
        steps.append(MappingProxyType({BLANK: 1.0}))
    best = [max(c.values, key=lambda f: c.values[f]) for c in line]
    sure = [c.there * c.values[figure] for c, figure in zip(line, best, strict=True)]
    boxes = [c.box for c in line if c.there >= 0.5] or [c.box for c in line]
    around = Box.around(corner for box in boxes for corner in box.corners)
    proportion = float(np.median([b.width / max(b.height, 1e-6) for b in boxes]))
    return Reading("".join(best), float(np.mean(sure)), around, proportion, tuple(steps))


def _follows(before: Box, after: Box) -> bool:
    tall = max(before.height, after.height)
    alike = min(before.height, after.height) >= _LIKE_HEIGHT * tall
    near = _GAP[0] * tall <= after.left - before.right <= _GAP[1] * tall
    return alike and near and abs(_rise(before, after)) <= _LEVEL * tall


def _rise(before: Box, after: Box) -> float:
    return after.centre[1] - before.centre[1]
