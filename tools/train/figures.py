"""Numbers and words drawn flat, as layers that training paints onto whatever it likes.

A drawing has four layers, each saying how much of a pixel is covered: the figures, their
shade or outline, a plate's ground, and lines round them (a plate's rim, lining). Colours,
light and perspective come later, on the card, so that one drawing serves thousands of times.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from tools.locomotive.lettering import bitmap

SIZE = (256, 80)  # width and height of a drawing, pixels
TALL = 44.0  # height of the figures in it, pixels
MOST = 8  # characters of a drawing
OTHER = 10  # class of what is no figure: a letter, or a figure in mirror image
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_STUDIO = ("sans", "serif", "plain", "italic")  # those of rendered engines
_FOLDER = Path("/usr/share/fonts")
# Least likeness (intersection over union of the ink) of a font's figures to plain ones: by
# eye on Debian's fonts, leaves out symbols and scripts of other figures.
_LIKE = 0.28

Ink = NDArray[np.float32]
_Draw = Callable[[str], Ink]


@dataclass(frozen=True, slots=True)
class Drawing:
    """One number or word.

    Attributes
    ----------
    layers : ndarray, shape (4, 80, 256), uint8
        Figures, shade, plate, lines: 255 where a pixel is all covered.
    boxes : ndarray, shape (MOST, 4), float32
        Left, top, right, bottom of each character, from left to right.
    classes : ndarray, shape (MOST,), int64
        0 to 9, OTHER, or -1 where there is no character.
    """

    layers: NDArray[np.uint8]
    boxes: NDArray[np.float32]
    classes: NDArray[np.int64]


@cache
def fonts() -> tuple[str, ...]:
    """Files of fonts on this machine whose figures look like figures; may be none."""
    plain = {figure: bitmap(figure, "sans") for figure in "2345679"}
    kept = []
    for path in sorted({*_FOLDER.rglob("*.ttf"), *_FOLDER.rglob("*.otf")}):
        try:
            likeness = [_likeness(_typed(str(path), c, 0), ink) for c, ink in plain.items()]
        except (OSError, ValueError):
            continue
        if np.median(likeness) >= _LIKE:
            kept.append(str(path))
    return tuple(kept)


def draw(rng: np.random.Generator) -> Drawing:
    """A number or, more rarely, a word or something between, in some font and manner."""
    text = _text(rng)
    # A lone figure that looks alike in a mirror is none the worse for it.
    mirrored = bool(rng.random() < 0.07) and text not in ("0", "1", "8")
    inks = _pieces(rng, text)
    layers = np.zeros((4, SIZE[1], SIZE[0]), np.float32)
    boxes = np.full((MOST, 4), -1, np.float32)
    classes = np.full(MOST, -1, np.int64)
    gap = rng.uniform(0.04, 0.3) * TALL if rng.random() < 0.85 else rng.uniform(0.3, 0.7) * TALL
    wide = sum(ink.shape[1] for ink in inks) + gap * (len(inks) - 1)
    squeeze = min(1.0, (SIZE[0] - 40) / wide) * float(rng.choice([1.0, rng.uniform(0.7, 1.0)]))
    x = (SIZE[0] - wide * squeeze) / 2
    for index, (character, ink) in enumerate(zip(text, inks, strict=True)):
        width = max(3, round(ink.shape[1] * squeeze))
        drawn = cv2.resize(ink, (width, ink.shape[0]), interpolation=cv2.INTER_AREA)
        left, top = round(x), round((SIZE[1] - ink.shape[0]) / 2)
        into = layers[0, top : top + ink.shape[0], left : left + width]
        np.maximum(into, drawn[:, : into.shape[1]], out=into)
        boxes[index] = (left, top, left + width, top + ink.shape[0])
        classes[index] = int(character) if character.isdigit() and not mirrored else OTHER
        x += (ink.shape[1] + gap) * squeeze
    _surround(rng, layers, boxes[: len(inks)])
    if rng.random() < 0.15:
        layers[0] *= _chipped(rng)
    if mirrored:
        layers = layers[:, :, ::-1]
        left, right = SIZE[0] - boxes[:, 2].copy(), SIZE[0] - boxes[:, 0].copy()
        boxes[:, 0], boxes[:, 2] = left, right
    return Drawing(np.ascontiguousarray(np.round(255 * layers)).astype(np.uint8), boxes, classes)


def _text(rng: np.random.Generator) -> str:
    kind = rng.random()
    if kind < 0.8:
        digits = int(rng.choice([1, 2, 3, 4, 5], p=[0.2, 0.2, 0.32, 0.2, 0.08]))
        return "".join(str(d) for d in rng.integers(0, 10, digits))
    letters = "".join(rng.choice(list(LETTERS), int(rng.integers(2, 8))))
    if kind < 0.94:
        return letters
    digits = "".join(str(d) for d in rng.integers(0, 10, int(rng.integers(1, 4))))
    return letters[:2] + digits if rng.random() < 0.6 else digits + letters[:1]


def _pieces(rng: np.random.Generator, text: str) -> list[Ink]:
    """Each character's own ink, all `TALL` high but for letters' tails."""
    hand = _hand(rng)
    inks = []
    for character in text:
        ink = hand(character)
        tall = round(TALL)
        width = max(3, round(ink.shape[1] * tall / ink.shape[0]))
        inks.append(cv2.resize(ink, (width, tall), interpolation=cv2.INTER_AREA))
    if rng.random() < 0.06:  # stencilled: bridges stand in the strokes
        bridge = max(2, round(0.07 * TALL))
        for ink in inks:
            middle = ink.shape[1] // 2 - bridge // 2
            ink[:, middle : middle + bridge] = 0.0
    return inks


def _hand(rng: np.random.Generator) -> _Draw:
    """What draws a character: a font of the studio's or one of this machine."""
    known = fonts()
    if not known or rng.random() < 0.4:
        font = str(rng.choice(_STUDIO))
        return lambda character: bitmap(character, font).astype(np.float32)
    font, stroke = str(rng.choice(known)), int(rng.choice([0, 0, 1, 2]))
    return lambda character: _typed(font, character, stroke)


@cache
def _face(path: str) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(path, 60)


@cache
def _typed(path: str, character: str, stroke: int) -> Ink:
    """A character's ink, cut close. Raises ValueError where the font has none of it."""
    face = _face(path)
    image = Image.new("L", (140, 140), 0)
    ImageDraw.Draw(image).text((35, 25), character, fill=255, font=face, stroke_width=stroke)
    ink = np.asarray(image, np.float32) / 255
    rows, cols = np.flatnonzero(ink.max(1) > 0.4), np.flatnonzero(ink.max(0) > 0.4)
    if not len(rows) or rows[-1] - rows[0] < 20:
        raise ValueError(f"{path}: nothing drawn for {character}")
    return np.ascontiguousarray(ink[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1])


def _likeness(one: Ink, other: NDArray[np.bool_]) -> float:
    size = (24, 32)
    first = cv2.resize(one, size, interpolation=cv2.INTER_AREA) > 0.5
    second = cv2.resize(other.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.5
    return float((first & second).sum() / max((first | second).sum(), 1))


def _surround(rng: np.random.Generator, layers: NDArray[np.float32], boxes: Ink) -> None:
    """Shade, plate and lines, each in some of the drawings."""
    ink = layers[0]
    kind = rng.random()
    if kind < 0.12:  # shaded to one side
        across, down = (int(v) for v in rng.integers(1, 4, 2) * rng.choice([-1, 1], 2))
        layers[1] = np.roll(ink, (down, across), (0, 1))
    elif kind < 0.24:  # outlined
        side = 2 * int(rng.integers(1, 4)) + 1
        layers[1] = cv2.dilate(ink, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)))
    left, top = boxes[:, :2].min(0)
    right, bottom = boxes[:, 2:].max(0)
    if rng.random() < 0.38:
        pad = rng.uniform(0.05, 0.34, 4) * TALL
        if rng.random() < 0.7:
            pad[:] = pad[0]
        outline = (left - pad[0], top - pad[1], right + pad[2], bottom + pad[3])
        if rng.random() < 0.85:
            layers[2] = _panel(rng, outline, -1)
        if rng.random() < 0.85:
            layers[3] = _panel(rng, outline, int(rng.integers(1, 6)))
    elif rng.random() < 0.2:  # lining round a panel that holds the number
        pad = rng.uniform(0.3, 0.8, 4) * TALL
        outline = (left - pad[0], top - pad[1], right + pad[2], bottom + pad[3])
        layers[3] = _panel(rng, outline, int(rng.integers(1, 4)))
    if rng.random() < 0.15:
        _blot(rng, layers[1], (left, top, right, bottom))


def _blot(rng: np.random.Generator, layer: Ink, number: tuple[float, ...]) -> None:
    """Bare metal or a mark as high as a figure, where one more figure would stand."""
    left, top, right, bottom = number
    reach = rng.uniform(0.25, 0.6, 2) * (bottom - top)
    aside = (0.9 + rng.uniform(0.0, 0.5)) * reach[0]
    middle = (left - aside if rng.random() < 0.5 else right + aside, (top + bottom) / 2)
    turns = np.sort(rng.uniform(0, 2 * np.pi, int(rng.integers(5, 12))))
    rays = rng.uniform(0.4, 1.0, len(turns))[:, None] * reach * [0.7, 1.0]
    points = np.array(middle) + rays * np.stack([np.cos(turns), np.sin(turns)], 1)
    blot = np.zeros(layer.shape, np.uint8)
    cv2.fillPoly(blot, [np.round(points).astype(np.int32)], 255, cv2.LINE_AA)
    np.maximum(layer, blot.astype(np.float32) / 255, out=layer)


def _panel(rng: np.random.Generator, edges: tuple[float, ...], thick: int) -> Ink:
    """A rectangle with round corners or an ellipse, filled or as a line."""
    out = np.zeros((SIZE[1], SIZE[0]), np.uint8)
    left, top, right, bottom = (round(float(edge)) for edge in edges)
    if rng.random() < 0.12:
        middle, half = ((left + right) // 2, (top + bottom) // 2), (right - left, bottom - top)
        axes = (round(0.6 * half[0]), round(0.62 * half[1]))
        cv2.ellipse(out, middle, axes, 0, 0, 360, 255, thick, cv2.LINE_AA)
        return out.astype(np.float32) / 255
    radius = round(float(rng.choice([0.0, rng.uniform(0, 0.3)])) * TALL)
    points = []
    for x, y, start in (
        (right - radius, top + radius, -90),
        (right - radius, bottom - radius, 0),
        (left + radius, bottom - radius, 90),
        (left + radius, top + radius, 180),
    ):
        turn = np.radians(np.linspace(start, start + 90, 6 if radius else 1))
        points += [(x + radius * np.cos(a), y + radius * np.sin(a)) for a in turn]
    corners = np.round(np.asarray(points)).astype(np.int32).reshape(-1, 1, 2)
    if thick < 0:
        cv2.fillPoly(out, [corners], 255, cv2.LINE_AA)
    else:
        cv2.polylines(out, [corners], True, 255, thick, cv2.LINE_AA)
    return out.astype(np.float32) / 255


def _chipped(rng: np.random.Generator) -> Ink:
    """What is left of worn paint: all but blotches, which take a tenth or so."""
    coarse = rng.normal(0, 1, (SIZE[1] // 4, SIZE[0] // 4)).astype(np.float32)
    noise = cv2.resize(coarse, SIZE, interpolation=cv2.INTER_CUBIC)
    return 1.0 - rng.uniform(0.4, 1.0) * (noise > rng.uniform(0.75, 1.6)).astype(np.float32)


def ground(rng: np.random.Generator, size: tuple[int, int]) -> NDArray[np.uint8]:
    """A made-up side of a cab or something else, without characters: RGB of `size`."""
    width, height = size
    steps = int(rng.choice([4, 8, 16, 32]))
    coarse = rng.uniform(0, 255, (height // steps + 2, width // steps + 2, 3)).astype(np.float32)
    out = cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC)
    grey = rng.uniform(0.4, 1.0)
    out = grey * out.mean(2, keepdims=True) + (1 - grey) * out
    paint = rng.uniform(0, 255, 3) * rng.uniform(0.2, 1.0)
    out = paint + (out - 128) * rng.uniform(0.0, 0.9) ** 3
    image = np.ascontiguousarray(np.clip(out, 0, 255)).astype(np.uint8)
    for _ in range(int(rng.integers(3, 18))):
        _thing(rng, image)
    if rng.random() < 0.6:
        blur = float(rng.uniform(0.3, 1.5))
        image = np.asarray(cv2.GaussianBlur(image, (0, 0), blur), np.uint8)
    return image


def _thing(rng: np.random.Generator, image: NDArray[np.uint8]) -> None:
    """A window, a post, a handrail, a wheel, rivets or a line."""
    height, width = image.shape[:2]
    colour = tuple(int(v) for v in rng.integers(0, 256, 3))
    if rng.random() < 0.5:
        colour = (int(rng.integers(0, 256)),) * 3
    x, y = int(rng.integers(0, width)), int(rng.integers(0, height))
    w, h = int(rng.integers(3, width // 2)), int(rng.integers(3, height // 2))
    thick = int(rng.integers(1, 5))
    kind = int(rng.integers(0, 7))
    if kind == 0:  # a panel or a window
        cv2.rectangle(image, (x, y), (x + w, y + h), colour, -1)
    elif kind == 1:  # its frame
        cv2.rectangle(image, (x, y), (x + w, y + h), colour, thick)
    elif kind == 2:  # a post, a step, a pipe
        tall = int(rng.integers(6, 60))
        cv2.line(image, (x, y), (x + int(rng.integers(-4, 5)), y + tall), colour, thick)
    elif kind == 3:  # a handrail, lining, an edge
        cv2.line(image, (0, y), (width, y + int(rng.integers(-20, 21))), colour, thick)
    elif kind == 4:  # a wheel, a porthole, a ring
        radius = int(rng.integers(3, height // 3))
        cv2.circle(image, (x, y), radius, colour, int(rng.choice([-1, thick])), cv2.LINE_AA)
    elif kind == 5:  # rivets
        step = int(rng.integers(4, 14))
        for k in range(int(rng.integers(3, 20))):
            cv2.circle(image, (x + step * k, y), thick // 2 + 1, colour, -1)
    else:  # a bent thing
        axes = (max(2, w // 3), max(2, h // 3))
        start = int(rng.integers(0, 360))
        turn = int(rng.integers(40, 200))
        cv2.ellipse(image, (x, y), axes, 0, start, start + turn, colour, thick, cv2.LINE_AA)
