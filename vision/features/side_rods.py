"""Edges, straight pieces and wheels between cylinder and last driven wheel."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features.crop import checked_crop, grey
from vision.features.wheels import Wheel, find_wheels
from vision.records import Box, Measurement, Pixels

# Stretch beyond which a crop is no longer worth putting right. Chosen.
LEAST_ASPECT, GREATEST_ASPECT = 0.5, 2.0
# Classes of orientation, degrees from level. Rods, slide bars and the running board
# are level within what a rectified crop leaves of perspective; the parts of a linkage
# stand between; frames, hangers and cylinder ends are upright.
LEVEL_TO_DEG = 10.0
OBLIQUE_FROM_DEG, OBLIQUE_TO_DEG = 15.0, 60.0
UPRIGHT_FROM_DEG = 75.0
# Gradient below which a pixel has no orientation, grey levels per px: a few times the
# noise of a phone picture. Chosen.
LEAST_GRADIENT = 6.0
# Square window of the structure tensor, px: about a rod's width.
TENSOR_WINDOW_PX = 7
# Scale at which segments are sought: a third of the time of the detector's usual 0.8,
# and a rod of 5 px still has two edges.
SEGMENT_SCALE = 0.5
# The shortest piece counted, share of the crop height (12 of 128 px).
LEAST_LENGTH = 0.09
# Wheel centre where no wheel was found, share of the crop height from above.
DEFAULT_CENTRE = 0.60
# Levels within this of the wheel centres are the coupling rod's: a crank throw of
# about a third of the wheel's radius. Share of the crop height; common practice, no
# source.
ROD_REACH = 0.17
# A level piece longer than this share of the crop width, above the rods, is slide bar
# or running board, not linkage.
LONG_LEVEL = 0.30
# Where rims lie, shares of the radius: from the inner edge of a heavy rim to a flange;
# and how much nearer than its ends a rim's piece comes to the centre, being a chord.
RIM_FROM, RIM_TO = 0.68, 1.16
RIM_SAGITTA = 0.12
# A piece is spoke where its line passes this near the centre, share of the radius.
SPOKE_BAND = 0.22


def measure_side_rods(crop: NDArray[Any], *, pixel_aspect: float = 1.0) -> tuple[Measurement, ...]:
    """Orientation of edges, straight pieces, and wheels.

    Parameters
    ----------
    crop : ndarray, shape (H, W, 3), uint8, RGB
        Nominally 128 x 384: rail top at the lower edge, running board at the upper;
        cylinder at the left, last driven wheel at the right.
    pixel_aspect : float
        Length on the engine that one column covers over that of one row, 0.5 to 2.
        A region stretched to the crop makes ellipses of wheels and turns slopes; the
        crop is put right before it is measured. Rows stay as they are: lengths in px
        are counted in rows, `where` in the crop as given.

    Returns
    -------
    tuple of Measurement
        edge_energy [grey level^2/px^2], mean squared gradient; its shares
        edge_share_level, edge_share_oblique, edge_share_upright [share];
        edge_coherence [1], of the structure tensor, 0 (no direction) to 1;
        segments_level, segments_oblique, segments_upright [1], counts, and
        length_level, length_oblique, length_upright [crop widths], summed;
        wheel_count [1]; wheel_radius, wheel_centre_row [px], medians; wheel_rim
        [share], mean of the rims that shows;
        longest_level [crop widths], longest level piece at coupling-rod height;
        linkage_count [1], linkage_length [crop widths]: oblique pieces that are
        neither rim nor spoke; above_count [1], above_length [crop widths]: pieces
        above the reach of the coupling rod, less rims, spokes and long level ones.

    Raises
    ------
    ValueError
        If the crop is not uint8 (H, W, 3), or `pixel_aspect` out of range.

    Notes
    -----
    Structure tensor: Bigun & Granlund, "Optimal orientation detection of linear
    symmetry", ICCV 1987. Segments: LSD (Grompone von Gioi et al., IPOL 2, 2012); both
    edges of a rod count. Wheels: see `wheels.find_wheels`.
    """
    levels = grey(checked_crop(crop))
    width = levels.shape[1]
    levels = _put_right(levels, pixel_aspect)
    segments = _segments(levels)
    wheels = find_wheels(levels)
    found = (
        *_edge_measurements(levels),
        *_segment_measurements(segments, levels.shape[1]),
        *_wheel_measurements(wheels, levels.shape),
        *_linkage_measurements(segments, wheels, levels.shape),
    )
    back = width / levels.shape[1]
    return found if back == 1.0 else tuple(_columns_scaled(m, back) for m in found)


def _put_right(levels: Pixels, pixel_aspect: float) -> Pixels:
    """The picture with as many columns as make a circle of a wheel."""
    if not LEAST_ASPECT <= pixel_aspect <= GREATEST_ASPECT:
        raise ValueError(
            f"pixel_aspect: {LEAST_ASPECT} to {GREATEST_ASPECT} expected, got {pixel_aspect}"
        )
    height, width = levels.shape
    size = (round(width * pixel_aspect), height)
    if size[0] == width:
        return levels
    way = cv2.INTER_AREA if size[0] < width else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(levels, size, interpolation=way), dtype=np.uint8)


def _columns_scaled(measurement: Measurement, factor: float) -> Measurement:
    box = measurement.where
    if box is None:
        return measurement
    return replace(
        measurement, where=Box(box.left * factor, box.top, box.right * factor, box.bottom)
    )


def _edge_measurements(levels: Pixels) -> tuple[Measurement, ...]:
    # Sobel weighs its rows 1, 2, 1 over a distance of 2: an eighth is per pixel.
    across = cv2.Sobel(levels, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    down = cv2.Sobel(levels, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    xx, yy, xy = across * across, down * down, across * down
    energy = xx + yy
    weight = np.where(energy >= LEAST_GRADIENT**2, energy, np.float32(0.0)).ravel()
    total = float(weight.sum())
    shares = [
        float(weight @ mask.ravel().astype(np.float32)) / total if total else 0.0
        for mask in _edge_classes(np.abs(across), np.abs(down))
    ]
    trace = float(_windowed(energy).sum())
    # The trace times the coherence: summed over the crop, strong edges weigh most.
    directed = float(cv2.magnitude(_windowed(xx - yy), _windowed(2.0 * xy)).sum())
    return (
        Measurement("edge_energy", float(energy.mean()), "grey level^2/px^2"),
        *(
            Measurement(f"edge_share_{name}", share, "share")
            for name, share in zip(("level", "oblique", "upright"), shares, strict=True)
        ),
        Measurement("edge_coherence", directed / trace if trace else 0.0, "1"),
    )


def _edge_classes(across: NDArray[Any], down: NDArray[Any]) -> tuple[NDArray[np.bool_], ...]:
    """Level, oblique, upright: masks over gradients, by tangents, which need no arc."""
    # A line is square to its gradient.
    level_to, oblique_from, oblique_to, upright_from = (
        down * np.float32(np.tan(np.radians(angle)))
        for angle in (LEVEL_TO_DEG, OBLIQUE_FROM_DEG, OBLIQUE_TO_DEG, UPRIGHT_FROM_DEG)
    )
    return (
        across <= level_to,
        (across >= oblique_from) & (across <= oblique_to),
        across >= upright_from,
    )


def _windowed(product: NDArray[Any]) -> NDArray[np.float32]:
    window = (TENSOR_WINDOW_PX, TENSOR_WINDOW_PX)
    return np.asarray(cv2.boxFilter(product, cv2.CV_32F, window), dtype=np.float32)


def _from_level(angle_deg: NDArray[Any]) -> NDArray[Any]:
    """Degrees between a line and the level, 0 to 90, whichever way it leans."""
    folded = np.asarray(angle_deg) % 180.0
    return np.asarray(np.minimum(folded, 180.0 - folded))


def _classes(angle_deg: NDArray[Any]) -> tuple[NDArray[np.bool_], ...]:
    """Level, oblique, upright: masks over angles from the level."""
    return (
        angle_deg <= LEVEL_TO_DEG,
        (angle_deg >= OBLIQUE_FROM_DEG) & (angle_deg <= OBLIQUE_TO_DEG),
        angle_deg >= UPRIGHT_FROM_DEG,
    )


def _segments(levels: Pixels) -> NDArray[np.float64]:
    """Straight pieces, shape (n, 4): x0, y0, x1, y1 in px."""
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD, scale=SEGMENT_SCALE)
    # OpenCV's types leave out that it gives None where there is no segment.
    lines: Any = detector.detect(levels)[0]
    if lines is None:
        return np.empty((0, 4))
    # OpenCV counts from the middle of the first pixel of the reduced picture: half of
    # one is missing (seen on drawn bars).
    segments = np.asarray(lines, dtype=np.float64).reshape(-1, 4) + 0.5 / SEGMENT_SCALE
    long = _length(segments) >= LEAST_LENGTH * levels.shape[0]
    return np.asarray(segments[long], dtype=np.float64)


def _length(segments: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.hypot(*(segments[:, 2:] - segments[:, :2]).T))


def _angle(segments: NDArray[np.float64]) -> NDArray[np.float64]:
    along = segments[:, 2:] - segments[:, :2]
    return _from_level(np.degrees(np.arctan2(along[:, 1], along[:, 0])))


def _segment_measurements(segments: NDArray[np.float64], width: int) -> tuple[Measurement, ...]:
    classes = _classes(_angle(segments))
    lengths = _length(segments) / width
    names = ("level", "oblique", "upright")
    return (
        *(
            Measurement(f"segments_{name}", float(here.sum()), "1")
            for name, here in zip(names, classes, strict=True)
        ),
        *(
            Measurement(f"length_{name}", float(lengths[here].sum()), "crop width")
            for name, here in zip(names, classes, strict=True)
        ),
    )


def _wheel_measurements(
    wheels: tuple[Wheel, ...], shape: tuple[int, ...]
) -> tuple[Measurement, ...]:
    radius = float(np.median([wheel.radius for wheel in wheels])) if wheels else 0.0
    row = float(np.median([wheel.y for wheel in wheels])) if wheels else 0.0
    rim = float(np.mean([wheel.rim for wheel in wheels])) if wheels else 0.0
    corners = [wheel.box.as_tuple() for wheel in wheels]
    where = _around(np.array(corners, dtype=np.float64).reshape(-1, 2), shape)
    return (
        Measurement("wheel_count", float(len(wheels)), "1", where),
        Measurement("wheel_radius", radius, "px", where),
        Measurement("wheel_centre_row", row, "px", where),
        Measurement("wheel_rim", rim, "share", where),
    )


def _linkage_measurements(
    segments: NDArray[np.float64], wheels: tuple[Wheel, ...], shape: tuple[int, ...]
) -> tuple[Measurement, ...]:
    height, width = shape[:2]
    row = float(np.median([w.y for w in wheels])) if wheels else DEFAULT_CENTRE * height
    lengths, (level, oblique, _) = _length(segments) / width, _classes(_angle(segments))
    middle = segments[:, [1, 3]].mean(axis=1)
    free = ~_on_wheels(segments, wheels)
    rods = level & (np.abs(middle - row) <= ROD_REACH * height)
    linkage = free & oblique
    above = free & (middle < row - ROD_REACH * height) & ~(level & (lengths >= LONG_LEVEL))
    longest = float(lengths[rods].max()) if rods.any() else 0.0
    return (
        Measurement("longest_level", longest, "crop width", _spanned(segments[rods], shape)),
        Measurement("linkage_count", float(linkage.sum()), "1", _spanned(segments[linkage], shape)),
        Measurement("linkage_length", float(lengths[linkage].sum()), "crop width"),
        Measurement("above_count", float(above.sum()), "1", _spanned(segments[above], shape)),
        Measurement("above_length", float(lengths[above].sum()), "crop width"),
    )


def _on_wheels(segments: NDArray[np.float64], wheels: tuple[Wheel, ...]) -> NDArray[np.bool_]:
    """Pieces of a rim, or of a spoke: oblique all round a wheel, and no linkage."""
    on = np.zeros(len(segments), dtype=bool)
    along = segments[:, 2:] - segments[:, :2]
    for wheel in wheels:
        ends = segments.reshape(-1, 2, 2) - (wheel.x, wheel.y)
        far = np.hypot(ends[..., 0], ends[..., 1]) / wheel.radius
        # Twice the triangle of centre and piece, over the piece: distance to its line.
        cross = ends[:, 0, 0] * along[:, 1] - ends[:, 0, 1] * along[:, 0]
        near = np.abs(cross) / np.hypot(along[:, 0], along[:, 1]) / wheel.radius
        round_it = far.max(axis=1) - near <= RIM_SAGITTA
        on |= round_it & ((far >= RIM_FROM) & (far <= RIM_TO)).all(axis=1)
        on |= (near <= SPOKE_BAND) & (far <= RIM_TO).all(axis=1)
    return on


def _spanned(segments: NDArray[np.float64], shape: tuple[int, ...]) -> Box | None:
    return _around(segments.reshape(-1, 2), shape)


def _around(points: NDArray[np.float64], shape: tuple[int, ...]) -> Box | None:
    """The box round points, shape (n, 2), as far as the crop reaches."""
    if not len(points):
        return None
    around = Box(*points.min(axis=0).tolist(), *points.max(axis=0).tolist())
    return around.clipped(shape[1], shape[0])
