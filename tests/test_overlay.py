"""The annotated picture: where labels go, and whether lines can be seen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from answers import CUES, answer, photo_of
from shapes import engine
from vision.records import Box, State
from vision.report import draw_overlay
from vision.report.labels import leader_line, place_labels
from vision.report.strip import drawable


@given(
    st.lists(st.tuples(st.floats(10, 220), st.floats(8, 40)), max_size=9),
    st.floats(200, 900),
    st.floats(100, 700),
    st.randoms(use_true_random=False),
)
def test_labels_stay_inside_and_apart(
    sizes: list[tuple[float, float]], width: float, height: float, random: object
) -> None:
    bounds = Box(3.0, 5.0, 3.0 + width, 5.0 + height)
    targets = [Box(width * k / 9, height / 3, width * k / 9 + 30, height / 2) for k in range(9)]
    places = place_labels(sizes, targets[: len(sizes)], bounds=bounds, keep_clear=targets, gap=4)
    assert len(places) == len(sizes)
    placed = [place for place in places if place is not None]
    for place, size in zip(places, sizes, strict=True):
        if place is not None:
            assert place.left >= bounds.left - 1e-9
            assert place.top >= bounds.top - 1e-9
            assert place.right <= bounds.right + 1e-6
            assert place.bottom <= bounds.bottom + 1e-6
            assert place.width == pytest.approx(size[0])
    for index, one in enumerate(placed):
        for other in placed[index + 1 :]:
            assert one.intersection_over_union(other) == 0.0


def test_a_label_lies_beside_what_it_names_not_on_it() -> None:
    target = Box(100.0, 100.0, 300.0, 160.0)
    (place,) = place_labels(
        [(80.0, 20.0)], [target], bounds=Box(0, 0, 400, 300), keep_clear=[target]
    )
    assert place is not None
    assert place.intersection_over_union(target) == 0.0
    assert min(abs(place.bottom - target.top), abs(place.top - target.bottom)) < 15.0


def test_a_label_that_fits_nowhere_is_given_up() -> None:
    bounds = Box(0.0, 0.0, 100.0, 20.0)
    target = Box(0.0, 0.0, 10.0, 10.0)
    assert place_labels([(200.0, 10.0)], [target], bounds=bounds) == (None,)
    first, second = place_labels([(90.0, 18.0), (90.0, 18.0)], [target, target], bounds=bounds)
    assert first is not None
    assert second is None


def luminance(rgb: np.ndarray) -> np.ndarray:
    """Relative luminance of sRGB, WCAG 2.2."""
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ np.array([0.2126, 0.7152, 0.0722]))


@pytest.mark.parametrize(("backdrop", "paint"), [("white", "white"), ("black", "black")])
def test_outlines_show_on_the_brightest_and_the_darkest_picture(backdrop: str, paint: str) -> None:
    photo = photo_of(engine(320, 180, backdrop=backdrop, paint=paint))
    drawn = draw_overlay(photo, answer(photo), 0)
    # A row of pixels through the top edge of the dashed boiler-top region.
    column = drawn[150:180, 300:600].astype(float) / 255.0
    light = luminance(column.reshape(-1, 3))
    # WCAG 2.2, criterion 1.4.11: 3 to 1 against what adjoins it.
    assert (light.max() + 0.05) / (light.min() + 0.05) >= 3.0


@pytest.mark.parametrize(("width", "height"), [(320, 180), (180, 320), (2600, 900), (40, 33)])
def test_overlay_size(width: int, height: int) -> None:
    photo = photo_of(engine(width, height))
    drawn = draw_overlay(photo, answer(photo, width / 320), 0)
    longer = min(max(max(width, height), 1280), 2000)
    assert drawn.dtype == np.uint8
    assert drawn.shape[1] == round(width * longer / max(width, height))
    assert drawn.shape[0] > round(height * longer / max(width, height))


def test_overlay_of_a_reduced_photo_draws_in_the_same_place() -> None:
    full = photo_of(engine(1280, 720))
    half = replace(full, pixels=full.pixels[::2, ::2])
    one, other = (draw_overlay(photo, answer(photo, 4.0), 0) for photo in (full, half))
    assert one.shape == other.shape
    # Lines and labels agree to a pixel; only the photo between them is blurred.
    assert np.mean(np.abs(one.astype(int) - other) > 60) < 0.01


def test_overlay_leaves_the_photo_as_it_was() -> None:
    photo = photo_of(engine())
    before = photo.pixels.copy()
    draw_overlay(photo, answer(photo), 0)
    np.testing.assert_array_equal(photo.pixels, before)


def test_present_absent_and_unseen_differ_without_colour() -> None:
    photo = photo_of(engine())

    def drawn(state: State) -> np.ndarray:
        cue = replace(CUES[0], state=state, where=None)
        told = replace(answer(photo), cues=(cue,))
        grey = draw_overlay(photo, told, 0).astype(float).mean(axis=2)
        # The top edge of the region, between the corner brackets and the label.
        return np.asarray(grey[155:166, 170:300])

    bare = replace(answer(photo), cues=())
    ground = draw_overlay(photo, bare, 0).astype(float).mean(axis=2)[155:166, 170:300]
    shares = {
        state: float(np.mean(np.abs(drawn(state) - ground).max(axis=0) > 40)) for state in State
    }
    assert shares[State.PRESENT] > 0.99
    assert 0.5 < shares[State.ABSENT] < 0.85
    assert shares[State.UNSEEN] < 0.55


def test_drawn_text_has_only_letters_the_font_has() -> None:
    assert drawable("1934–1935, Café") == "1934-1935, Cafe"
    assert drawable("機関車").isascii()


def test_a_leader_ends_on_a_slanting_outline_not_on_the_rectangle_round_it() -> None:
    slanting = ((0.0, 100.0), (100.0, 0.0), (110.0, 10.0), (10.0, 110.0))
    label = Box(80.0, 90.0, 140.0, 110.0)
    start, end = leader_line(label, slanting)
    # The label's corner (80, 90) is nearest; its foot on the line x + y = 120 is (55, 65).
    assert start == pytest.approx((80.0, 90.0), abs=1.0)
    assert end == pytest.approx((55.0, 65.0), abs=2.0)


def test_a_leader_from_beside_leaves_from_the_middle() -> None:
    square = ((0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (0.0, 50.0))
    start, end = leader_line(Box(20.0, 70.0, 80.0, 90.0), square)
    assert start == pytest.approx((50.0, 70.0), abs=1.0)
    assert end == pytest.approx((50.0, 50.0), abs=1.0)
