"""Reliability diagrams and risk-coverage curves as small pictures, drawn with Pillow."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

from tools import metrics
from tools.evaluate.readings import Readings

_SIDE = 240  # pixels of a plot's square
_MARGIN = 46
_INK, _FAINT, _PAPER = (34, 34, 34), (205, 205, 205), (255, 255, 255)
# Okabe and Ito's palette, which colour-blind readers can tell apart.
_COLOURS = ((0, 114, 178), (213, 94, 0), (0, 158, 115), (90, 90, 90))
_Place = Callable[[float, float], tuple[float, float]]


def reliability_diagram(parts: Mapping[str, Readings], path: Path) -> None:
    """Predicted against observed in 15 equal-mass bins, one plot a cue.

    The bars show where 95 % of the points of calibrated probabilities would lie.
    """
    step = _SIDE + _MARGIN + 14
    image = Image.new("RGB", (step * len(parts) + 10, _SIDE + 2 * _MARGIN + 8), _PAPER)
    draw = ImageDraw.Draw(image)
    for index, (name, found) in enumerate(parts.items()):
        place = _axes(draw, (index * step + _MARGIN, 30), top=1.0)
        draw.line([place(0, 0), place(1, 1)], fill=_FAINT)
        bins = metrics.reliability_bins(found.p_here, found.present)
        for count, p, share in zip(bins.count, bins.predicted, bins.observed, strict=True):
            half = 1.96 * math.sqrt(p * (1 - p) / count)
            ends = (place(p, max(0.0, p - half)), place(p, min(1.0, p + half)))
            draw.line(ends, fill=_COLOURS[index % 4])
            x, y = place(p, share)
            draw.ellipse((x - 3, y - 3, x + 3, y + 3), fill=_COLOURS[index % 4])
        error = metrics.expected_calibration_error(found.p_here, found.present)
        x = index * step + _MARGIN
        draw.text((x, 8), f"{name}, n = {len(found.p):,}, ECE {error:.4f}", _INK, _font())
        draw.text((x + 40, _SIDE + 54), "probability of PRESENT, at its share", _INK, _font())
    _save(image, path)


def risk_coverage_curves(parts: Mapping[str, Readings], path: Path) -> None:
    """Share of errors among the surest readings, over the share that is kept."""
    curves = {name: _curve(found) for name, found in parts.items() if len(found.p)}
    top = max([0.01, *(max(y for _, y in points) for points in curves.values())]) * 1.05
    image = Image.new("RGB", (2 * _SIDE + _MARGIN + 60, _SIDE + 2 * _MARGIN + 8), _PAPER)
    draw = ImageDraw.Draw(image)
    place = _axes(draw, (_MARGIN + 8, 30), top=top)
    draw.text((_MARGIN, 8), "share wrong among the surest readings", _INK, _font())
    draw.text((_MARGIN + 50, _SIDE + 54), "share of readings kept", _INK, _font())
    for index, (name, points) in enumerate(curves.items()):
        draw.line([place(x, y) for x, y in points], fill=_COLOURS[index % 4], width=2)
        found = parts[name]
        risk = metrics.selective_risk(found.sureness, found.wrong)
        text = f"{name}, n = {len(found.p):,}\n{100 * risk:.2f} % wrong at 80 %"
        where = (_SIDE + _MARGIN + 24, 40 + 44 * index)
        draw.multiline_text(where, text, _COLOURS[index % 4], _font())
    _save(image, path)


def _curve(found: Readings) -> list[tuple[float, float]]:
    """At most 400 points of the curve; the first few rows alone say nothing of a share."""
    coverage, risk = metrics.risk_coverage(found.sureness, found.wrong)
    least = min(len(risk) - 1, 20)
    chosen = range(least, len(risk), max(1, len(risk) // 400))
    return [(float(coverage[i]), float(risk[i])) for i in (*chosen, len(risk) - 1)]


def _axes(draw: ImageDraw.ImageDraw, corner: tuple[int, int], *, top: float) -> _Place:
    """Frame, quarter lines and their numbers; where a value from 0 to `top` is drawn."""
    left, upper = corner

    def place(x: float, y: float) -> tuple[float, float]:
        return left + x * _SIDE, upper + (1 - y / top) * _SIDE

    for quarter in (0.0, 0.25, 0.5, 0.75, 1.0):
        draw.line([place(0, quarter * top), place(1, quarter * top)], fill=_FAINT)
        draw.line([place(quarter, 0), place(quarter, top)], fill=_FAINT)
        x, y = place(quarter, 0)
        draw.text((x, y + 4), f"{quarter:g}", _INK, _font(), anchor="mt")
        x, y = place(0, quarter * top)
        draw.text((x - 5, y), f"{quarter * top:.3g}", _INK, _font(), anchor="rm")
    draw.rectangle((*place(0, top), *place(1, 0)), outline=_INK)
    return place


def _font() -> ImageFont.ImageFont | ImageFont.FreeTypeFont:
    return ImageFont.load_default(12)


def _save(image: Image.Image, path: Path) -> None:
    image.quantize(32).save(path, "PNG", optimize=True)
