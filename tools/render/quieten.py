"""Taking the path tracer's grain out of a picture: it is like no camera's.

A dozen paths a pixel leave grain that swallows a lever. The surfaces' own colour and
normal are known without grain, so the light alone is smoothed, along surfaces and not
across their edges, and the colour is laid over it again: letters and stripes stay sharp.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

# Channels after the picture's own three: see Stage.layers.
CHANNELS = 10
_KERNEL = (1 / 16, 1 / 4, 3 / 8, 1 / 4, 1 / 16)  # a B3 spline, as in the source
_GLOSS = 0.05  # reflectance added before the colour is divided out: varnish on black
_NORMAL_SPREAD = 0.2
_DEPTH_SPREAD = 0.03  # share of the distance, per pixel of the kernel's reach
_COLOUR_SPREAD = 0.25


def quieten(
    mi: Any, rng: np.random.Generator, layers: Any, size: tuple[int, int]
) -> NDArray[np.float32]:
    """Edge-avoiding a-trous filter over the light, of random reach and completeness.

    Dammertz, Sewtz, Hanika and Lensch 2010, "Edge-avoiding a-trous wavelet transform for
    fast global illumination filtering"; the light is divided by the surface's colour
    and its spread is measured around each pixel as in Schied et al. 2017,
    "Spatiotemporal variance-guided filtering".

    Parameters
    ----------
    mi : module
        Mitsuba with its variant set.
    rng : Generator
    layers : Float array, length height * width * CHANNELS
        Per pixel, row by row: linear radiance (3), albedo (3), normal (3), distance in m.
    size : (int, int)
        Width and height in pixels.

    Returns
    -------
    ndarray, shape (height, width, 3), float32, linear radiance
    """
    import drjit as dr

    width, height = size
    levels = int(rng.integers(3, 5))
    # Some grain stays, as a phone leaves some of its own.
    kept = float(rng.uniform(0.0, 0.12)) if rng.random() < 0.92 else 0.4
    pixel = dr.arange(mi.UInt32, width * height)

    def channels(first: int) -> Any:
        return mi.Color3f(
            *(dr.gather(mi.Float, layers, pixel * CHANNELS + first + k) for k in range(3))
        )

    raw, albedo, normal = channels(0), channels(3), mi.Vector3f(channels(6))
    raw = dr.select(dr.isfinite(mi.luminance(raw)), raw, 0.0)
    distance = dr.gather(mi.Float, layers, pixel * CHANNELS + 9)
    base = dr.maximum(albedo, 0.0) + _GLOSS
    light = raw / base
    bright = dr.maximum(dr.mean(mi.luminance(light)), 1e-9)
    light = grainy = light / bright
    guides = (normal, dr.maximum(distance, 1e-3), dr.maximum(albedo, 0.0))
    dr.eval(light, *guides)
    spread, light = _spread(mi, light, guides, size)
    for level in range(levels):
        dr.eval(light, spread)
        step = dr.opaque(mi.Int32, 2**level)
        light = _smoothed(mi, light, guides, spread * 0.6**level, step, size)
    # Opaque: as a plain number it would make a new kernel of every picture.
    share = dr.opaque(mi.Float, kept)
    result = (light * (1 - share) + grainy * share) * base * bright
    flat = np.array(dr.ravel(result), dtype=np.float32)
    return flat.reshape(height, width, 3)


def _tone(mi: Any, light: Any) -> Any:
    """Brightness on a scale where grain is about as strong in shade as in the sun.

    The mean of `light` is 1; far below it an unlit path must not count as an edge.
    """
    import drjit as dr

    return dr.log(dr.maximum(mi.luminance(light), 0.0) + 0.15)


def _around(mi: Any, size: tuple[int, int], across: int, down: int, step: Any) -> Any:
    """Index of each pixel's neighbour, the border's pixels standing for those beyond."""
    import drjit as dr

    width, height = size
    pixel = dr.arange(mi.Int32, width * height)
    column = dr.clip(pixel % width + across * step, 0, width - 1)
    row = dr.clip(pixel // width + down * step, 0, height - 1)
    return mi.UInt32(row * width + column)


def _likeness(mi: Any, guides: Any, there: Any, reach: Any) -> Any:
    """1 where a neighbour lies on the same surface, towards 0 across an edge."""
    import drjit as dr

    normal, distance, albedo = guides
    turn = dr.squared_norm(normal - dr.gather(mi.Vector3f, normal, there))
    apart = dr.abs(distance - dr.gather(mi.Float, distance, there)) / distance
    tint = dr.squared_norm(albedo - dr.gather(mi.Color3f, albedo, there))
    return dr.exp(
        -turn / _NORMAL_SPREAD**2 - apart / (_DEPTH_SPREAD * reach) - tint / _COLOUR_SPREAD**2
    )


def _spread(mi: Any, light: Any, guides: Any, size: tuple[int, int]) -> tuple[Any, Any]:
    """Standard deviation of the tone on a pixel's own surface, and the light without sparks."""
    import drjit as dr

    tone = _tone(mi, light)
    dr.eval(tone)
    total, first, second, mean = mi.Float(0), mi.Float(0), mi.Float(0), mi.Float(0)
    step = dr.opaque(mi.Int32, 1)
    for down in range(-3, 4):
        for across in range(-3, 4):
            there = _around(mi, size, across, down, step)
            weight = _likeness(mi, guides, there, 3.0)
            value = dr.gather(mi.Float, tone, there)
            total += weight
            first += weight * value
            second += weight * value * value
            mean += weight * mi.luminance(dr.gather(mi.Color3f, light, there))
    first, second, mean = first / total, second / total, mean / total
    spread = dr.sqrt(dr.maximum(second - first * first, 0.0)) + 0.02
    bright = mi.luminance(light)
    limit = mean * (1.0 + 2.5 * dr.minimum(spread, 1.0))
    tamed = light * dr.minimum(1.0, limit / dr.maximum(bright, 1e-6))
    # A pixel alone on its surface has no neighbours to be judged by.
    return spread, dr.select(total > 3.0, tamed, light)


def _smoothed(
    mi: Any, light: Any, guides: Any, spread: Any, step: Any, size: tuple[int, int]
) -> Any:
    """One level: a five by five kernel whose taps lie `step` pixels apart."""
    import drjit as dr

    tone = _tone(mi, light)
    dr.eval(tone)
    total, result = mi.Float(0), mi.Color3f(0)
    for down in range(-2, 3):
        for across in range(-2, 3):
            there = _around(mi, size, across, down, step)
            reach = mi.Float(step) * max(abs(across), abs(down), 1)
            weight = _likeness(mi, guides, there, reach) * (_KERNEL[down + 2] * _KERNEL[across + 2])
            unlike = dr.abs(tone - dr.gather(mi.Float, tone, there)) / (3.0 * spread + 1e-4)
            weight *= dr.exp(-unlike)
            total += weight
            result += weight * dr.gather(mi.Color3f, light, there)
    return result / dr.maximum(total, 1e-6)
