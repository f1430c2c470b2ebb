"""Straightened crops: points go both ways, and pixels land where the points say."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import skimage.data
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from skimage.filters import unsharp_mask
from skimage.transform import ProjectiveTransform

from vision.records import Box, Photo
from vision.rectify import box_crop, region_crop, sharpened, stepped_back, whole


def _photo(width: int, height: int, *, full: int = 1) -> Photo:
    """A photo whose red rises to the right and green downward, decoded at 1/full."""
    x = np.linspace(0, 255, width)[None, :].repeat(height, 0)
    y = np.linspace(0, 255, height)[:, None].repeat(width, 1)
    pixels = np.stack([x, y, np.zeros_like(x)], axis=-1).astype(np.uint8)
    return Photo(pixels, (width * full, height * full), "0" * 64, "drawn.jpg")


corner = st.floats(-20, 20)


@given(st.lists(corner, min_size=8, max_size=8), st.floats(0, 96), st.floats(0, 28))
def test_points_return_from_the_photo(offsets: list[float], x: float, y: float) -> None:
    base = np.array([[60, 50], [300, 60], [310, 150], [50, 160]], float)
    quad = tuple(map(tuple, base + np.reshape(offsets, (4, 2))))
    crop = region_crop(_photo(400, 300), quad, (96, 28))
    back = crop.crop_points(crop.photo_points([(x, y)]))[0]
    assert back == pytest.approx((x, y), abs=1e-3)


def test_homography_equals_scikit_image() -> None:
    """Against scikit-image's ProjectiveTransform estimated from the same four corners."""
    quad = ((60.0, 50.0), (300.0, 62.0), (310.0, 150.0), (50.0, 161.0))
    crop = region_crop(_photo(400, 300), quad, (96, 28))
    target = np.array([[0, 0], [96, 0], [96, 28], [0, 28]], float)
    reference = ProjectiveTransform.from_estimate(target, np.array(quad))
    points = np.array([[10.0, 5.0], [48.0, 14.0], [90.0, 27.0]])
    assert np.allclose(crop.photo_points(points.tolist()), reference(points), atol=1e-3)


@pytest.mark.parametrize("full", [1, 2])
@pytest.mark.parametrize("shrink", [1, 6])
def test_pixels_land_where_points_say(full: int, shrink: int) -> None:
    photo = _photo(1200, 900, full=full)
    size = (240 // shrink, 120 // shrink)
    box = Box(300 * full, 300 * full, 900 * full, 600 * full)
    crop = box_crop(photo, box, size)
    u, v = size[0] // 3, size[1] // 4
    ((x, y),) = crop.photo_points([(u + 0.5, v + 0.5)])
    red, green = 255 * x / full / 1200, 255 * y / full / 900
    assert crop.pixels[v, u, :2] == pytest.approx((red, green), abs=2.0)


def test_front_lies_at_the_left_edge_whatever_the_heading() -> None:
    """Corners are front-top, rear-top, rear-bottom, front-bottom: facing right is mirrored."""
    photo = _photo(400, 300)
    facing_right = ((300.0, 100.0), (100.0, 100.0), (100.0, 200.0), (300.0, 200.0))
    crop = region_crop(photo, facing_right, (80, 40))
    assert crop.pixels[20, 5, 0] > crop.pixels[20, 75, 0]


def test_folded_region_is_refused() -> None:
    with pytest.raises(ValueError, match="convex"):
        region_crop(_photo(400, 300), ((0, 0), (100, 100), (100, 0), (0, 100)), (80, 40))


def test_whole_photo_fits_and_maps_back() -> None:
    photo = _photo(1200, 500, full=2)
    crop = whole(photo, (448, 352))
    assert crop.pixels.shape == (352, 448, 3)
    assert (crop.pixels[-1] == 114).all()
    ((x, y),) = crop.photo_points([(448.0, 448.0 * 500 / 1200)])
    assert (x, y) == pytest.approx((2400, 1000), abs=3)


def _whole_pixels(picture: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """The mean over each pixel's own area, by Pillow: its box filter splits pixels exactly."""
    resized = Image.fromarray(picture).resize(size, Image.Resampling.BOX)
    return np.asarray(resized).astype(int)


@pytest.mark.parametrize(
    "width", [449, 512, 640, 731, 896, 1100, 1280, 1600, 1791, 2000, 2016, 2500]
)
def test_the_finder_is_shown_averages_whatever_the_size(width: int) -> None:
    """Within one grey level, on average, of OpenCV's own averaging over pixels' areas."""
    photo = np.asarray(Image.fromarray(skimage.data.coffee()).resize((width, width * 3 // 4)))
    crop = whole(Photo(photo, (width, width * 3 // 4), "0" * 64, "coffee"), (448, 352))
    size = (448, round(448 * (width * 3 // 4) / width))
    expected = cv2.resize(photo, size, interpolation=cv2.INTER_AREA).astype(int)
    assert np.abs(crop.pixels[: size[1]] - expected).mean() < 1.0


@pytest.mark.parametrize("reduction", [2, 4, 8])
def test_whole_reductions_are_the_mean_of_whole_pixels(reduction: int) -> None:
    picture = np.ascontiguousarray(skimage.data.astronaut()[:, :384])
    size = (384 // reduction, 512 // reduction)
    photo = Photo(picture, (384, 512), "0" * 64, "astronaut")
    got = whole(photo, size).pixels.astype(int)
    # Bytes are rounded at every halving, and halves one way or the other.
    assert np.abs(got - _whole_pixels(picture, size)).mean() < 0.5


@pytest.mark.parametrize("reduction", [1.5, 1.9, 2.4, 3.3, 4.2, 5.0, 6.7])
def test_a_crop_is_an_average_too(reduction: float) -> None:
    picture = np.asarray(Image.fromarray(skimage.data.coffee()).resize((1800, 1200)))
    box = Box(301, 203, 301 + round(160 * reduction), 203 + round(96 * reduction))
    crop = box_crop(Photo(picture, (1800, 1200), "0" * 64, "coffee"), box, (160, 96))
    patch = picture[203 : int(box.bottom), 301 : int(box.right)]
    expected = cv2.resize(patch, (160, 96), interpolation=cv2.INTER_AREA).astype(int)
    # Straightening interpolates once more, which averaging alone does not.
    assert np.abs(crop.pixels - expected)[2:-2, 2:-2].mean() < 1.25


def test_sharpening_is_an_unsharp_mask() -> None:
    """Against scikit-image's, away from the edges, where the two continue the picture apart."""
    view = whole(Photo(skimage.data.coffee(), (600, 400), "0" * 64, "coffee"), (448, 352))
    expected = unsharp_mask(view.pixels, radius=4.0, amount=3.0, channel_axis=2) * 255
    inner = np.s_[20:280, 20:-20]  # below lies the grey beyond the picture
    assert np.abs(sharpened(view).pixels - expected)[inner].max() < 4
    assert np.array_equal(sharpened(view).to_photo, view.to_photo)


@pytest.mark.parametrize("times", [1.2, 1.5, 2.0])
def test_pixels_seen_from_further_away_land_where_points_say(times: float) -> None:
    photo = _photo(800, 600)
    view = whole(photo, (448, 352))
    back = stepped_back(view, times)
    assert back.pixels.shape == view.pixels.shape
    assert back.magnification == pytest.approx(view.magnification / times, rel=0.01)
    for x, y in ((200, 120), (224, 176), (250, 210)):
        there = back.photo_points([(x + 0.5, y + 0.5)])[0]
        red, green = back.pixels[y, x, :2].astype(float)
        assert (red / 255 * 800, green / 255 * 600) == pytest.approx(there, abs=5)
    assert (back.pixels[:3] == 114).all() and (back.pixels[:, :3] == 114).all()


def test_columns_that_fill_no_whole_pixel_are_left_out_of_the_mapping() -> None:
    # 2203 columns halve once to 1101: the last one is not shown, and no point lies on it.
    photo = _photo(2203, 901)
    crop = whole(photo, (448, 352))
    ((x, y),) = crop.photo_points([(448.0, 448.0 * 901 / 2203)])
    assert 2201.0 < x <= 2203.0 and y == pytest.approx(901, abs=3)
    ((x, _),) = crop.photo_points([(400.5, 50.5)])
    assert crop.pixels[50, 400, 0] == pytest.approx(255 * x / 2203, abs=1.5)
