"""A closer look at the place where a guide has the lever: what is shown, and how it is weighed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import cv2
import numpy as np
import pytest
import skimage.data
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special
from skimage.transform import ProjectiveTransform, warp

from answers import sighting
from vision.cues.evidence import PARTS_ALONG, Lazily, gather
from vision.cues.fuse import nearby, weigh
from vision.cues.loupe import closely_named, look_closely, places_in, same_place
from vision.network import Networks
from vision.records import Photo, Region
from vision.rectify import Crop, region_crop

# Of the judge's crop, whose region lies within the margins, and of the loupe; pixels.
CROP, MARGIN, SIDE = (448, 128), (32, 8), 192
# Where the region truly lies in the crop: its corners err by some pixels at either end.
ENDS = (40.0, 407.0)
LEVEL: Region = ((110.0, 90.0), (500.0, 90.0), (500.0, 205.0), (110.0, 205.0))
# Seen from before the engine and from above; and one that faces right.
ASKEW: Region = ((90.0, 60.0), (520.0, 120.0), (515.0, 215.0), (100.0, 210.0))
RIGHT: Region = ((520.0, 70.0), (120.0, 100.0), (130.0, 190.0), (515.0, 205.0))
REGIONS = pytest.mark.parametrize("region", [LEVEL, ASKEW, RIGHT], ids=["level", "askew", "right"])


@dataclass
class Loupe:
    """A network that remembers what it was shown, and says 2, 3, ... of it."""

    size: tuple[int, int] = (SIDE, SIDE)
    margin: tuple[int, int] = (0, 0)
    shown: list[np.ndarray] = field(default_factory=list)

    def run(self, pixels: np.ndarray) -> dict[str, np.ndarray]:
        assert pixels.shape == (self.size[1], self.size[0], 3) and pixels.dtype == np.uint8
        self.shown.append(pixels)
        return {"decision": np.array([1.0 + len(self.shown), -5.0], np.float32)}


@dataclass
class Judge:
    """A judge that is told places; it takes the region's ends for those of `ENDS`."""

    size: tuple[int, int] = CROP
    margin: tuple[int, int] = MARGIN

    def run(self, pixels: np.ndarray) -> dict[str, np.ndarray]:
        return {
            "decision": np.array([1.0, 2.0], np.float32),
            "heat": np.full((1, 32, 112), 0.1, np.float32),
            "along": np.zeros(56, np.float32),
            "ends": np.array(ENDS, np.float32),
        }


def photo_of(pixels: np.ndarray) -> Photo:
    height, width = pixels.shape[:2]
    return Photo(pixels, (width, height), "0" * 64, "drawn.png")


def to_photo(region: Region) -> ProjectiveTransform:
    """From the crop's pixels to the photo's, as scikit-image finds it from the corners."""
    (left, top), (right, bottom) = MARGIN, (CROP[0] - MARGIN[0], CROP[1] - MARGIN[1])
    inner = np.array([[left, top], [right, top], [right, bottom], [left, bottom]], float)
    return ProjectiveTransform.from_estimate(inner, np.array(region))


def column_at(place: float) -> float:
    return ENDS[0] + place * (ENDS[1] - ENDS[0])


def barred(region: Region, *places: float) -> Photo:
    """A dark photo with a bar, a pixel wide and upright on the region, at each of some places."""
    pixels = np.full((300, 640, 3), 40, np.uint8)
    carry = to_photo(region)
    for place in places:
        ends = carry(np.array([[column_at(place), 20.0], [column_at(place), 108.0]]))
        # Whole numbers, of sixteenths of a pixel, are the middles of pixels in OpenCV.
        start, end = (tuple(int(v) for v in np.round((p - 0.5) * 16)) for p in ends)
        cv2.line(pixels, start, end, (240, 240, 240), 1, cv2.LINE_AA, 4)
    return photo_of(pixels)


def crop_of(photo: Photo, region: Region) -> Crop:
    return region_crop(photo, region, CROP, margin=MARGIN)


def bright_column(window: np.ndarray, near: float, reach: int = 20) -> float:
    """Where light above the dark ground gathers, pixels from the window's left edge."""
    light = window[40:150].astype(float).mean((0, 2)) - 40.0
    columns = np.arange(len(light)) + 0.5
    light = np.where(np.abs(columns - near) < reach, light, 0.0)
    assert light.max() > 20.0, "no bar there"
    return float((light * columns).sum() / light.sum())


@REGIONS
@pytest.mark.parametrize("place", [0.2, 0.54, 0.83])
def test_the_place_that_is_asked_for_stands_in_the_middle(region: Region, place: float) -> None:
    """Against scikit-image's homography, by which the bar was drawn."""
    photo, loupe = barred(region, place), Loupe()
    said = look_closely(photo, crop_of(photo, region), ENDS, [place], loupe)
    assert said == {f"near_{place:.4f}": 2.0, f"clear_{place:.4f}": -5.0}
    assert bright_column(loupe.shown[0], SIDE / 2) == pytest.approx(SIDE / 2, abs=1.0)


@REGIONS
@pytest.mark.parametrize("beside", [-0.12, 0.09])
def test_what_stands_beside_the_place_is_as_far_off_as_the_scale_says(
    region: Region, beside: float
) -> None:
    """The window shows as much of the crop's length as the crop is high."""
    photo, loupe = barred(region, 0.5, 0.5 + beside), Loupe()
    look_closely(photo, crop_of(photo, region), ENDS, [0.5], loupe)
    expected = SIDE / 2 + beside * (ENDS[1] - ENDS[0]) * SIDE / CROP[1]
    assert bright_column(loupe.shown[0], SIDE / 2) == pytest.approx(SIDE / 2, abs=1.0)
    assert bright_column(loupe.shown[0], expected) == pytest.approx(expected, abs=1.0)


@REGIONS
@pytest.mark.parametrize("side", [192, 96])
def test_the_window_is_a_square_of_the_crop_as_high_as_that_is(region: Region, side: int) -> None:
    """Against scikit-image's warp of the photo; rows and columns are both to scale."""
    picture = np.zeros((300, 640, 3), np.uint8)
    picture[:, :600] = cv2.GaussianBlur(skimage.data.coffee()[50:350], (0, 0), 2.0)
    photo, loupe, place = photo_of(picture), Loupe((side, side)), 0.4
    look_closely(photo, crop_of(photo, region), ENDS, [place], loupe)
    scale, left = CROP[1] / side, column_at(place) - CROP[1] / 2
    # From the window's whole numbers, the middles of its pixels in scikit-image, to the photo's.
    window = np.array([[scale, 0, left + 0.5 * scale], [0, scale, 0.5 * scale], [0, 0, 1.0]])
    half = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
    whole = ProjectiveTransform(half @ to_photo(region).params @ window)
    expected = warp(picture, whole, output_shape=(side, side), order=1, cval=114 / 255) * 255
    difference = np.abs(loupe.shown[0] - expected)[2:-2, 2:-2]
    # Half as fine, the window is an average, which the reference is not.
    assert difference.mean() < 2.0 and np.percentile(difference, 99) < 12
    # A comparison that could not tell a window two pixels to the side would prove nothing.
    aside = np.abs(np.roll(loupe.shown[0], 2, axis=1) - expected)[2:-2, 2:-2]
    assert aside.mean() > 3 * difference.mean()


def test_each_place_is_looked_at_by_itself() -> None:
    photo, loupe = barred(ASKEW, 0.3, 0.7), Loupe()
    said = look_closely(photo, crop_of(photo, ASKEW), ENDS, [0.3, 0.5, 0.7], loupe)
    near = {name: said[name] for name in places_in(said)}
    assert near == {"near_0.3000": 2.0, "near_0.5000": 3.0, "near_0.7000": 4.0}
    middles = [window[60:130, 94:98].mean() for window in loupe.shown]
    assert min(middles[0], middles[2]) > middles[1] + 30


def test_without_a_place_nothing_is_looked_at() -> None:
    photo, loupe = barred(LEVEL, 0.5), Loupe()
    assert look_closely(photo, crop_of(photo, LEVEL), ENDS, [], loupe) == {}
    assert loupe.shown == []


def test_a_place_beyond_which_the_region_folds_is_left_out() -> None:
    """Seen nearly end-on, what lies before the front is behind whoever takes the photo."""
    wedge: Region = ((100.0, 50.0), (500.0, 148.0), (500.0, 152.0), (100.0, 250.0))
    photo, loupe = photo_of(np.full((300, 640, 3), 90, np.uint8)), Loupe()
    crop = region_crop(photo, wedge, CROP)
    said = look_closely(photo, crop, (0.0, float(CROP[0])), [0.01, 0.3], loupe)
    assert list(said) == ["near_0.3000", "clear_0.3000"] and len(loupe.shown) == 1


@settings(deadline=None)
@given(st.floats(0, 1))
def test_a_place_is_known_again_by_its_name(place: float) -> None:
    photo = photo_of(np.full((30, 64, 3), 90, np.uint8))
    crop = region_crop(photo, ((10, 5), (50, 5), (50, 17), (10, 17)), (64, 16))
    said = look_closely(photo, crop, (0.0, 64.0), [place], Loupe((64, 64)))
    ((name, found),) = places_in({"said_00": 1.0, "judge_present": 2.0, **said}).items()
    assert said[name] == 2.0 and same_place(found, place) and same_place(place, found)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [(0.54, 0.54, True), (0.54, 0.5405, True), (0.54, 0.542, False), (0.54, 0.84, False)],
)
def test_places_are_the_same_but_for_how_they_are_written(
    one: float, other: float, same: bool
) -> None:
    assert same_place(one, other) is same_place(other, one) is same


def test_the_lever_alone_is_looked_at_closely() -> None:
    """And no answer counts more than a network's own certainty may."""
    photo, loupe = photo_of(np.full((300, 640, 3), 90, np.uint8)), Loupe()
    loupe.shown += [np.zeros(0)] * 20  # its next answers are 22 and 23
    networks = Networks(
        {"boiler_top": Judge(), "side_rods": Judge((384, 128), (0, 0)), "loupe": loupe},
        {},
        "fixed",
    )
    networks.networks["side_rods"].run = lambda pixels: {  # type: ignore[method-assign]
        "decision": np.array([1.0, 2.0]),
        "heat": np.full((1, 32, 96), 0.1),
    }
    seen = sighting(2.0)
    values = gather(photo, seen, networks, "switch_lever", (0.54, 0.6)).values
    assert places_in(values) == {"near_0.5400": 0.54, "near_0.6000": 0.6}
    assert values["near_0.5400"] == values["near_0.6000"] == 9.0
    assert places_in(gather(photo, seen, networks, "side_linkage", (0.54,)).values) == {}
    assert places_in(gather(photo, seen, networks, "switch_lever").values) == {}
    assert len(loupe.shown) == 22


# Hand-made coefficients: what the loupe says, its product with the length, and the judge's word.
SEEN = {
    "terms": [["clear_here", 1.0, 2.0, 1.0], ["judge_visible", 0.0, 3.0, 0.5]],
    "bias": 0.1,
    "seen_at_least": 0.6,
}
NEAR = {
    "seen": SEEN,
    "terms": [
        ["near_here", 0.5, 2.0, 1.5],
        ["near_here*log_length", 1.0, 8.0, 0.5],
        ["said_here", 0.0, 2.0, 0.25],
    ],
    "bias": -0.2,
}
FUSION = {
    "trusted": 0.8,
    "cues": {
        "switch_lever": {
            "seen": {"bias": 0.0, "terms": [["judge_visible", 0.0, 1.0, 1.0]]},
            "present": {"bias": 0.0, "terms": [["judge_present", 0.0, 1.0, 1.0]]},
            "seen_at_least": 0.5,
            "sure_at_least": 0.7,
            "placed": {
                "terms": [["said_here", 0.0, 1.0, 1.0]],
                "bias": 0.0,
                "seen_at_least": 0.5,
                "near": NEAR,
            },
        }
    },
}
PLACED = FUSION["cues"]["switch_lever"]["placed"]  # type: ignore[index]


def said_of(near: Mapping[float, float]) -> dict[str, float]:
    rising = np.linspace(-3.0, 3.0, PARTS_ALONG)
    values = {f"said_{k:02d}": float(said) for k, said in enumerate(rising)}
    values |= {"judge_present": 1.0, "judge_visible": 3.0, "inside": 1.0, "log_length": 5.0}
    values |= {f"clear_{place:.4f}": 1.0 - said for place, said in near.items()}
    return values | {f"near_{place:.4f}": said for place, said in near.items()}


@given(st.floats(-2, 2), st.floats(-2, 2))
def test_each_place_is_weighed_by_what_was_said_of_it(one: float, other: float) -> None:
    """Against SciPy's logistic function and NumPy's interpolation."""
    got = nearby(said_of({0.54: one, 0.8: other}), PLACED, FUSION)
    middles = (np.arange(PARTS_ALONG) + 0.5) / PARTS_ALONG
    for look, (asked, said) in zip(got, ((0.54, one), (0.8, other)), strict=True):
        from_afar = float(np.interp(asked, middles, np.linspace(-3.0, 3.0, PARTS_ALONG)))
        total = 1.5 * (said - 0.5) / 2.0 + 0.5 * (5.0 * said - 1.0) / 8.0
        total += 0.25 * from_afar / 2.0 - 0.2
        assert look.place == asked
        assert look.p_present == pytest.approx(float(special.expit(0.8 * total)), abs=1e-9)
        # Of the judge's word 3 standard deviations of 3, of the loupe's 1 - said.
        clear = float(special.expit((1.0 - said - 1.0) / 2.0 + 0.5 * 3.0 / 3.0 + 0.1))
        assert look.clear == pytest.approx(clear, abs=1e-9)
        assert look.in_sight is (look.clear >= 0.6)


def test_coefficients_that_know_no_loupe_leave_its_word_out() -> None:
    plain = {name: value for name, value in PLACED.items() if name != "near"}
    assert nearby(said_of({0.54: 5.0}), plain, FUSION) == ()


def test_weighing_a_place_measures_nothing() -> None:
    def measure() -> dict[str, float]:
        raise AssertionError("measured")

    got = nearby(Lazily(said_of({0.54: 1.0}), measure), PLACED, FUSION)
    assert got == nearby(said_of({0.54: 1.0}), PLACED, FUSION)


def test_a_weighed_lever_keeps_what_the_loupe_said_of_each_place() -> None:
    photo = photo_of(np.full((300, 640, 3), 90, np.uint8))
    networks = Networks({"boiler_top": Judge(), "loupe": Loupe()}, FUSION, "fixed")
    evidence = gather(photo, sighting(2.0), networks, "switch_lever", (0.54, 0.84))
    cue = weigh(evidence, FUSION)
    assert cue.near == nearby(dict(evidence.values), PLACED, FUSION)
    assert [look.place for look in cue.near] == [0.54, 0.84]
    assert cue.near[0].p_present < cue.near[1].p_present  # it said 2 of the one and 3 of the other


def test_log_odds_of_the_loupe_are_those_of_its_decisions() -> None:
    """The first that a part stands there, the second that it would be seen."""
    photo = photo_of(np.full((300, 640, 3), 90, np.uint8))
    said = look_closely(photo, crop_of(photo, LEVEL), ENDS, [0.5], Loupe())
    assert said == {"near_0.5000": 2.0, "clear_0.5000": -5.0}
    assert closely_named({"said_00", "judge_present", *said}) == set(said)
