"""A lens that is sharp at one distance: what lies before and behind is blurred by discs.

A thin lens of aperture A focused at distance f images a point at distance d as a disc of
diameter A F |1/f - 1/d|, where F is the focal length in pixels (E. Hecht, "Optics", section
on the thin lens; from memory). The picture is cut into layers of like discs, which are
blurred whole and put together again (J. Demers, "Depth of field: a survey of techniques", in
R. Fernando, "GPU Gems", 2004, chapter 23; from memory): what lies behind does not spill over
what is sharp, and what lies before spreads over all.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Light = NDArray[np.float32]

# Radii between which pixels are blurred alike; each is half as large again as the last, which
# by eye shows no step. Below the first a lens is as sharp as its sensor.
_SHARP_PX = 0.6
_STEP = 1.5
_LEAST_COVER = 1e-3
# Widest apertures, metres: a phone's main camera has 2 to 4 mm, a larger camera stopped down
# for small things about 10. Common practice, no source.
NARROWEST, WIDEST = 0.0012, 0.010
_WIDEST_DISC = 0.02  # of the picture's longer side, radius; what is softer yet tells nothing


def disc_radius(
    depth: NDArray[np.float32], *, focus: float, aperture: float, focal_px: float
) -> NDArray[np.float32]:
    """Radius in pixels of the disc that a point at each distance becomes.

    Parameters
    ----------
    depth : ndarray
        Distances in metres; infinite for the surroundings.
    focus : float
        Distance in metres at which the lens is sharp.
    aperture : float
        Diameter of the lens's opening in metres.
    focal_px : float
        Focal length in pixels: half the width over the tangent of half the field of view.

    Returns
    -------
    ndarray of the same shape; negative before the plane that is sharp.
    """
    radius = 0.5 * aperture * focal_px * (1.0 / focus - 1.0 / np.maximum(depth, 1e-3))
    return np.asarray(radius, np.float32)


def out_of_focus(light: Light, radius: NDArray[np.float32]) -> Light:
    """The picture with every pixel spread over its disc, what is near over what is far.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear RGB.
    radius : ndarray, shape (H, W), float32
        As `disc_radius` gives it.

    Raises
    ------
    ValueError
        The two are of different sizes.
    """
    if light.shape[:2] != radius.shape:
        raise ValueError(f"radius: shape {light.shape[:2]} expected, got {radius.shape}")
    most = _WIDEST_DISC * max(radius.shape)
    radius = np.clip(radius, -most, most)
    behind, before = radius > _SHARP_PX, radius < -_SHARP_PX
    out = light
    if behind.any():
        colour, cover = _layers(light, np.where(behind, radius, 0.0), most)
        there = behind[..., None] & (cover > _LEAST_COVER)
        out = np.where(there, colour / np.maximum(cover, _LEAST_COVER), out)
    if before.any():
        colour, cover = _layers(light, np.where(before, -radius, 0.0), most)
        # Discs of one surface add up to a little more or less than all of it.
        colour, cover = colour / np.maximum(cover, 1.0), np.minimum(cover, 1.0)
        out = colour + out * (1.0 - cover)
    return np.asarray(out, np.float32)


def _layers(light: Light, radius: NDArray[np.float32], most: float) -> tuple[Light, Light]:
    """Sums of light (H, W, 3) and of cover (H, W, 1) of all layers, each spread by its disc."""
    total = np.zeros((*radius.shape, 4), np.float32)
    low = _SHARP_PX
    while low < most:
        high = low * _STEP
        share = ((radius > low) & (radius <= high)).astype(np.float32)[..., None]
        if share.any():
            layer = np.concatenate([light * share, share], axis=2)
            total += spread(layer, min(0.5 * (low + high), most))
        low = high
    return total[..., :3], total[..., 3:]


def spread(layer: Light, radius: float) -> Light:
    """Each pixel of a layer (H, W, any) spread evenly over a disc, `radius` in pixels."""
    half = int(np.ceil(radius))
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    disc = np.clip(radius + 0.5 - np.hypot(x, y), 0.0, 1.0).astype(np.float32)
    out = cv2.filter2D(layer, -1, disc / disc.sum(), borderType=cv2.BORDER_REFLECT)
    return np.asarray(out, np.float32)
