"""Everything one photo offers on one cue, as named numbers, before any of it is weighed."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.cues.driving import said_of_axles
from vision.cues.loupe import look_closely
from vision.cues.odds import logit, sigmoid
from vision.cues.region import is_at_edge, region_length, share_inside, slenderness
from vision.features import (
    measure_boiler_top,
    measure_exposure,
    measure_running_board,
    measure_sharpness,
    measure_side_rods,
    without_grain,
)
from vision.network import Networks
from vision.records import (
    REGION_OF_CUE,
    Box,
    Measurement,
    Photo,
    Pixels,
    Sighting,
)
from vision.rectify import region_crop

_MEASURES: Mapping[str, Callable[[Pixels, float], tuple[Measurement, ...]]] = {
    "boiler_top": lambda pixels, aspect: measure_boiler_top(pixels),
    # Wheels are circles only where a pixel of the crop is as wide as it is high.
    "side_rods": lambda pixels, aspect: measure_side_rods(pixels, pixel_aspect=aspect),
    "running_board": lambda pixels, aspect: measure_running_board(pixels),
}
# Length of a region below which its part is lost, decoded pixels. By eye, a lever is then
# 5 pixels high and a stripe 1. Labels are made by the same; a region is measured a little wrong.
ENOUGH_PX = {"boiler_top": 100.0, "side_rods": 60.0, "running_board": 90.0}
_ABOUT = 0.05  # of the length; chosen
# Heat map cells above this share of the peak are shown as the part's place; by eye.
_PLACE_SHARE = 0.5
# Equal parts of a region's length, front to rear, for each of which a judge may be asked.
PARTS_ALONG = 48
# A judge whose log odds are nearer to even than this is asked once more, from farther back: so
# many rows of its crop above and below its region. Boards of some castings have deeper edges
# than those that it has learnt from, of which its region shows a part. Chosen.
_IN_DOUBT, _BACK_ROWS = 4.0, {"running_board": 12}
_LOGIT_LIMIT = 9.0  # a network's own certainty counts up to odds of about 8,000 to 1


class Lazily(Mapping[str, float]):
    """Numbers at hand, and others that are measured once one of them is asked for.

    Parameters
    ----------
    at_hand : mapping of str to float
    measure : callable
        Gives the others. Whoever goes through all of them has all measured.
    """

    def __init__(
        self, at_hand: Mapping[str, float], measure: Callable[[], Mapping[str, float]]
    ) -> None:
        self._known = dict(at_hand)
        self._measure: Callable[[], Mapping[str, float]] | None = measure

    @property
    def at_hand(self) -> tuple[str, ...]:
        """Names of those at hand."""
        return tuple(self._known)

    def __getitem__(self, name: str) -> float:
        if name not in self._known:
            self._complete()
        return self._known[name]

    def __iter__(self) -> Iterator[str]:
        self._complete()
        return iter(self._known)

    def __len__(self) -> int:
        self._complete()
        return len(self._known)

    def _complete(self) -> None:
        if self._measure is not None:
            measure, self._measure = self._measure, None
            self._known.update(measure())


@dataclass(frozen=True, slots=True)
class Evidence:
    """What was measured for one cue.

    Attributes
    ----------
    cue, region : str
    values : mapping of str to float
        Named numbers; the fitted model picks those it knows. Only "inside" where the
        region cannot be straightened at all. The region's classical measurements are
        made once one of them is asked for: what weighs nothing takes no time.
    where : Box | None
        Place of the part (or of the whole region), pixels of the upright photo.
    at_edge : bool
        The picture's edge cuts the engine off where this region lies.
    """

    cue: str
    region: str
    values: Mapping[str, float]
    where: Box | None
    at_edge: bool = False


def gather(
    photo: Photo,
    sighting: Sighting,
    networks: Networks,
    cue: str,
    places: Sequence[float] = (),
    in_doubt: Callable[[Mapping[str, float], float], bool] = lambda values, place: True,
) -> Evidence:
    """Straighten the cue's region, run its judge and the classical measurements on it.

    Parameters
    ----------
    photo : Photo
    sighting : Sighting
    networks : Networks
    cue : str
    places : sequence of float
        Shares of the region's length at which is looked closely, where the region's judge
        can be told places.
    in_doubt : callable
        Whether such a look is worth its time, by the values so far and the place.
    """
    region = REGION_OF_CUE[cue]
    quad = sighting.regions[region]
    network = networks[region]
    inside = share_inside(quad, photo.size)
    at_edge = is_at_edge(quad, sighting.locomotive, photo.size)
    try:
        crop = region_crop(photo, quad, network.size, margin=network.margin)
    except ValueError:
        return Evidence(cue, region, {"inside": inside}, None, at_edge)
    shown = without_grain(crop.pixels)
    out = network.run(shown)
    heat = out["heat"][0]
    beside, above = network.margin
    pixels = shown[above : shown.shape[0] - above, beside : shown.shape[1] - beside]
    height, width = pixels.shape[:2]
    aspect = min(max(slenderness(quad) * height / width, 0.5), 2.0)
    in_photo = region_length(quad)
    # As many pixels as were looked at: a phone's photo has more than are decoded of it.
    length = in_photo * photo.scale
    values = {
        "judge_present": _limited(float(out["decision"][0])),
        "judge_visible": _limited(float(out["decision"][1])),
        "heat_peak": _limited(logit(float(heat.max()))),
        "sight": _limited(logit(sighting.visible[region])),
        "engine": _limited(logit(sighting.score)),
        "inside": inside,
        "log_length": math.log(max(length, 1.0)),
        "length_px": in_photo,
        "log_slenderness": math.log(max(slenderness(quad), 1e-3)),
        "long_enough": long_enough(region, length),
        **_light_of(pixels),
    }
    if region in _BACK_ROWS and abs(values["judge_present"]) < _IN_DOUBT:
        farther = region_crop(photo, quad, network.size, margin=(0, _BACK_ROWS[region]))
        again = float(network.run(without_grain(farther.pixels))["decision"][0])
        values["judge_present"] = (values["judge_present"] + _limited(again)) / 2.0
    if "axles" in out:
        values |= said_of_axles(out)
    if "along" in out:
        values |= _said_along(out["along"], out["ends"], network.size[0])
        open_ = [place for place in places if in_doubt(values, place)]
        near = look_closely(photo, crop, out["ends"], open_, networks["loupe"])
        values |= {name: _limited(said) for name, said in near.items()}
    where = crop.photo_box(_place(heat, network.size)) if values["judge_present"] > 0 else None
    if where is None:
        where = Box.around(quad)
    lazily = Lazily(values, lambda: _named(_MEASURES[region](pixels, aspect)))
    return Evidence(cue, region, lazily, where.clipped(*photo.size), at_edge)


def _said_along(
    answers: NDArray[np.float32], ends: NDArray[np.float32], width: int
) -> dict[str, float]:
    """Log odds that the part is there, were it to stand in the middle of each of `PARTS_ALONG`.

    Parameters
    ----------
    answers : ndarray, shape (K,)
        For equal parts of the crop, `width` pixels wide.
    ends : ndarray, shape (2,)
        Between which columns of the crop, pixels, the region truly lies: its corners err.
    """
    front, rear = (float(end) / width for end in ends)
    said = at_share(answers, front + _middles(PARTS_ALONG) * (rear - front))
    return {f"said_{part:02d}": _limited(float(x)) for part, x in enumerate(said)}


def at_share(
    said: Sequence[float] | NDArray[np.float32], share: float | NDArray[np.float64]
) -> NDArray[np.float64]:
    """What is said of shares of a length, between the middles of the equal parts it is said of."""
    return np.asarray(np.interp(share, _middles(len(said)), said), dtype=np.float64)


def _middles(parts: int) -> NDArray[np.float64]:
    return (np.arange(parts) + 0.5) / parts


def _light_of(pixels: Pixels) -> dict[str, float]:
    """Sharpness and exposure."""
    values = _named(measure_sharpness(pixels) + measure_exposure(pixels))
    values["log_sharpness"] = math.log1p(values["sharpness_laplacian_variance"])
    return values


def _named(found: tuple[Measurement, ...]) -> dict[str, float]:
    return {m.name: m.value for m in found}


def _limited(value: float) -> float:
    return min(max(value, -_LOGIT_LIMIT), _LOGIT_LIMIT)


def long_enough(region: str, length: float) -> float:
    """From 0 to 1 about the length at which a region's part begins to be seen, decoded pixels."""
    return sigmoid(math.log(max(length, 1.0) / ENOUGH_PX[region]) / _ABOUT)


def _place(heat: NDArray[np.float32], size: tuple[int, int]) -> Box:
    """Bounding box, in crop pixels, of the heat map's strong cells joined to its peak."""
    rows, cols = heat.shape
    strong = heat >= _PLACE_SHARE * float(heat.max())
    down, across = np.nonzero(strong)
    cell_w, cell_h = size[0] / cols, size[1] / rows
    return Box(
        float(across.min()) * cell_w,
        float(down.min()) * cell_h,
        float(across.max() + 1) * cell_w,
        float(down.max() + 1) * cell_h,
    )
