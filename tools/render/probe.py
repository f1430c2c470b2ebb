"""Light at one place as a panorama, and the distant lights that stand for it.

A panorama's row 0 is straight up, column 0 towards +y and columns go on towards +x, as in
`tools.scene.room.Room.environment`.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.scene.lighting import directions

Radiance = NDArray[np.float32]
LEVELS = 6
# Right, down and forward of the six cameras that see all round.
FACES = (
    ((0, 1, 0), (0, 0, -1), (-1, 0, 0)),
    ((0, -1, 0), (0, 0, -1), (1, 0, 0)),
    ((1, 0, 0), (0, 0, -1), (0, 1, 0)),
    ((-1, 0, 0), (0, 0, -1), (0, -1, 0)),
    ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    ((1, 0, 0), (0, -1, 0), (0, 0, -1)),
)


def solid_angles(height: int) -> NDArray[np.float64]:
    """Steradians of a panorama's pixels by row, shape (height, 1)."""
    edges = np.cos(np.arange(height + 1) * np.pi / height)
    return ((edges[:-1] - edges[1:]) * np.pi / height)[:, None]


def panorama(faces: NDArray[np.float32], height: int) -> Radiance:
    """Six square pictures, taken 90 degrees wide with `FACES`, as one panorama.

    Parameters
    ----------
    faces : ndarray, shape (6, n, n, 3)
    height : int
        Rows of the result; it is twice as wide.
    """
    rays = directions(height).reshape(-1, 3)
    bases = np.array(FACES, float)
    local = np.einsum("fij,nj->fni", bases, rays)
    face = local[:, :, 2].argmax(axis=0)
    x, y, z = local[face, np.arange(len(rays))].T
    n = faces.shape[1]
    column = np.clip((x / z + 1) / 2 * n, 0, n - 1).astype(int)
    row = np.clip((y / z + 1) / 2 * n, 0, n - 1).astype(int)
    return np.asarray(faces[face, row, column], np.float32).reshape(height, 2 * height, 3)


def blurred(light: Radiance, levels: int = LEVELS) -> list[Radiance]:
    """The panorama as mirrors of rising roughness see it, each half the size of the last.

    Level l of `levels` stands for a roughness of l / (levels - 1). Rows near the poles are
    stretched, so that the blur is wider there along a row by as much.
    """
    result = [np.ascontiguousarray(light, np.float32)]
    height = light.shape[0]
    for level in range(1, levels):
        rough = level / (levels - 1)
        # A lobe of GGX is about this wide (standard deviation in radians; chosen by eye).
        sigma = 0.65 * rough**1.6 * height / np.pi
        wide = np.concatenate([light, light, light], axis=1)
        wide = cv2.GaussianBlur(wide, (0, 0), sigmaX=sigma, sigmaY=sigma)
        middle = wide[:, light.shape[1] : 2 * light.shape[1]]
        size = (light.shape[1] >> level, height >> level)
        result.append(np.ascontiguousarray(cv2.resize(middle, size, interpolation=cv2.INTER_AREA)))
    return result


def harmonics(light: Radiance) -> NDArray[np.float64]:
    """Irradiance of a panorama as nine coefficients a colour, shape (9, 3).

    Ramamoorthi and Hanrahan 2001, "An efficient representation for irradiance environment
    maps"; factors of its equations 10 to 12 are multiplied in, so that the polynomial in
    the normal's x, y and z is all that is left to do.
    """
    rays = directions(light.shape[0])
    x, y, z = np.moveaxis(rays, 2, 0)
    weight = solid_angles(light.shape[0])[..., None] * light
    basis = np.stack([np.ones_like(x), y, z, x, x * y, y * z, 3 * z * z - 1, x * z, x * x - y * y])
    norms = np.array([0.282095, 0.488603, 0.488603, 0.488603, *[1.092548] * 2, 0.315392])
    norms = np.array([*norms, 1.092548, 0.546274])
    bands = np.array([np.pi, *[2 * np.pi / 3] * 3, *[np.pi / 4] * 5])
    moments = np.einsum("khw,hwc->kc", basis, weight)
    result: NDArray[np.float64] = (bands * norms**2)[:, None] * moments
    return result


def median_cut(light: Radiance, count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Distant lights that together shine as the panorama does.

    Debevec 2005, "A median cut algorithm for light probe sampling": the panorama is halved
    again and again where both halves hold the same energy; each piece becomes a light at
    its centre of energy. Here the piece with the most energy times extent is cut next, so
    that any count can be had.

    Returns
    -------
    along : ndarray, shape (count, 3)
        Unit vectors towards the lights.
    colour : ndarray, shape (count, 3)
        Irradiance of a surface that faces the light.
    """
    height = light.shape[0]
    power = light.astype(float) * solid_angles(height)[..., None]
    energy = power.sum(axis=2) + 1e-12
    wide = np.sin((np.arange(height) + 0.5) * np.pi / height)
    pieces = [(0, height, 0, 2 * height)]

    def urgency(piece: tuple[int, int, int, int]) -> float:
        top, bottom, left, right = piece
        if (bottom - top) * (right - left) < 2:
            return 0.0
        across = (right - left) * float(wide[top:bottom].mean())
        return float(energy[top:bottom, left:right].sum()) * max(bottom - top, across)

    while len(pieces) < count:
        pieces.sort(key=urgency)
        top, bottom, left, right = pieces.pop()
        across = (right - left) * float(wide[top:bottom].mean())
        part = energy[top:bottom, left:right]
        axis = 0 if bottom - top < 2 or (across > bottom - top and right - left > 1) else 1
        total = np.cumsum(part.sum(axis=axis))
        cut = int(np.clip(np.searchsorted(total, total[-1] / 2), 0, len(total) - 2)) + 1
        if axis == 0:
            pieces += [(top, bottom, left, left + cut), (top, bottom, left + cut, right)]
        else:
            pieces += [(top, top + cut, left, right), (top + cut, bottom, left, right)]
    rays = directions(height)
    along, colour = [], []
    for top, bottom, left, right in pieces:
        part = np.s_[top:bottom, left:right]
        towards = (rays[part] * energy[part][..., None]).sum(axis=(0, 1))
        along.append(towards / np.linalg.norm(towards))
        colour.append(power[part].sum(axis=(0, 1)))
    return np.array(along), np.array(colour)
