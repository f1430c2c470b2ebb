"""Pixels after the renderer: shape kept, geometry told, corruptions graded."""

import cv2
import numpy as np
import pytest

from tools.camera import CORRUPTIONS, corrupt, develop, frame, reflect
from tools.corruptions import GAUSSIAN_SIGMA, plasma


def gradient_scene(height=180, width=270):
    """Linear light with edges: a dark engine-like block on a shaded ground."""
    y, x = np.mgrid[0 : 1 : height * 1j, 0 : 1 : width * 1j]
    light = np.stack([0.2 + 0.6 * x, 0.3 + 0.4 * y, 0.5 - 0.2 * x], -1).astype(np.float32)
    light[60:120, 70:200] *= 0.1
    light[::9] *= 0.8
    return light


def snapshot():
    return (np.clip(gradient_scene(), 0, 1) ** (1 / 2.2) * 255).astype(np.uint8)


def test_develop_keeps_shape_and_gives_bytes_and_repeats():
    scene = gradient_scene()
    for seed in range(30):
        picture = develop(np.random.default_rng(seed), scene, severity=1.0 + (seed % 2))
        assert picture.shape == scene.shape
        assert picture.dtype == np.uint8
    first, again = (develop(np.random.default_rng(3), scene) for _ in "ab")
    np.testing.assert_array_equal(first, again)


def test_develop_exposes_any_scale_of_light_alike():
    scene = gradient_scene()
    dim, bright = (develop(np.random.default_rng(8), scene * k) for k in (0.01, 100.0))
    assert abs(float(dim.mean()) - float(bright.mean())) < 3


def test_develop_moves_nothing():
    scene = gradient_scene()
    scene[:] = 0.6
    scene[60:120, 70:200] = 0.05
    for seed in range(12):
        picture = develop(np.random.default_rng(seed), scene).mean(-1)
        # Where a profile is steepest: dark corners and glare bend levels, not edges.
        down, across = picture[:, 100:170].mean(1), picture[70:110].mean(0)
        for profile, edge, sign in [
            (down, 60, -1),
            (down, 120, 1),
            (across, 70, -1),
            (across, 200, 1),
        ]:
            slope = sign * np.diff(cv2.GaussianBlur(profile[:, None], (1, 9), 2)[:, 0])
            assert abs(edge - 15 + np.argmax(slope[edge - 15 : edge + 15]) + 1 - edge) <= 2


def test_develop_survives_black_and_broken_light():
    assert develop(np.random.default_rng(0), np.zeros((60, 90, 3), np.float32)).max() < 120
    broken = gradient_scene()
    broken[0, 0] = np.nan, np.inf, -1
    assert develop(np.random.default_rng(0), broken).std() > 5
    with pytest.raises(ValueError, match="linear"):
        develop(np.random.default_rng(0), np.zeros((60, 90), np.float32))


def test_frame_tells_where_a_mark_has_gone():
    picture = np.full((150, 220, 3), 120, np.uint8)
    picture[40:60, 150:180] = 250, 20, 20
    for seed in range(40):
        framed, (dx, dy), scale = frame(np.random.default_rng(seed), picture)
        red = (framed[..., 0] > 185) & (framed[..., 1] < 90)
        rows, columns = np.nonzero(red)
        middle = np.array([columns.mean() + 0.5, rows.mean() + 0.5])
        expected = scale * np.array([165.0, 50.0]) + [dx, dy]
        np.testing.assert_allclose(middle, expected, atol=1.0)
        np.testing.assert_allclose((expected - [dx, dy]) / scale, [165.0, 50.0])


def test_a_pane_mirrors_some_light_and_keeps_the_scene():
    scene, sky = gradient_scene(), np.zeros((64, 128, 3), np.float32)
    sky[:, :40] = 5.0
    seen = reflect(np.random.default_rng(1), scene, sky)
    assert seen.shape == scene.shape
    assert np.corrcoef(seen.ravel(), scene.ravel())[0, 1] > 0.8
    assert not np.allclose(seen, scene)


@pytest.mark.parametrize("kind", CORRUPTIONS)
def test_corruptions_grow_with_severity(kind):
    clean = snapshot()
    errors = []
    for severity in range(1, 6):
        spoilt = [corrupt(np.random.default_rng(s), clean, kind, severity) for s in range(12)]
        assert all(p.shape == clean.shape and p.dtype == np.uint8 for p in spoilt)
        errors.append(np.mean([np.abs(p.astype(float) - clean).mean() for p in spoilt]))
    if kind == "fog":
        # Severities 3 and 4 share the paper's density, 2.5; only the fog's grain differs.
        assert errors[3] == pytest.approx(errors[2], rel=0.05)
        del errors[3]
    assert np.all(np.diff(errors) > 0), errors


def test_gaussian_noise_has_the_papers_sigma():
    grey = np.full((300, 300, 3), 128, np.uint8)
    for severity in (1, 2):  # heavier ones are clipped at black and white
        noisy = corrupt(np.random.default_rng(0), grey, "gaussian_noise", severity) / 255.0
        assert noisy.std() == pytest.approx(GAUSSIAN_SIGMA[severity - 1], rel=0.02)


def test_shot_noise_has_poisson_spread():
    grey = np.full((300, 300, 3), 128, np.uint8)
    noisy = corrupt(np.random.default_rng(0), grey, "shot_noise", 1) / 255.0
    # Poisson: variance of (count / n) is level / n, n = 60 photons at severity 1.
    assert noisy.var() == pytest.approx(128 / 255 / 60, rel=0.05)


def test_plasma_fills_its_range_and_gets_rougher_with_less_decay():
    smooth, rough = (plasma(np.random.default_rng(2), 128, d) for d in (2.0, 1.4))
    assert smooth.min() == 0 and smooth.max() == 1
    assert np.abs(np.diff(rough)).mean() > 1.5 * np.abs(np.diff(smooth)).mean()


def test_unknown_corruptions_are_refused():
    with pytest.raises(ValueError, match="kind"):
        corrupt(np.random.default_rng(0), snapshot(), "snowfall", 1)
    with pytest.raises(ValueError, match="severity"):
        corrupt(np.random.default_rng(0), snapshot(), "fog", 6)
