"""The fast renderer: its light, its cameras, and its truth beside the path tracer's."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tools.parts import Material, Part, Scene
from tools.render import plan, probe
from tools.render.closeup import shoot_close
from tools.render.projection import camera_basis, in_sight, lens, looking, perspective, project
from tools.scene.lighting import directions


@dataclass(frozen=True)
class Pose:
    origin: tuple[float, float, float]
    target: tuple[float, float, float]
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)


VIEW = Pose((0.3, 0.8, 0.5), (0.02, -0.01, 0.03))


def one_direction(along: tuple[float, float, float], height: int = 64) -> NDArray[np.float32]:
    """A panorama that is dark but for a small patch, of irradiance 1 on a surface facing it."""
    rays = directions(height)
    near = rays @ np.asarray(along) > np.cos(np.radians(6))
    weight = probe.solid_angles(height) * near
    return np.where(near[..., None], np.ones(3), 0.0).astype(np.float32) / weight.sum()


def test_solid_angles_fill_the_sphere() -> None:
    assert 64 * 2 * probe.solid_angles(64).mean() * 64 == pytest.approx(4 * np.pi)


def test_harmonics_of_an_even_sky_light_every_surface_by_pi() -> None:
    """Radiance 1 from everywhere: irradiance pi (textbook; Lambert)."""
    factors = probe.harmonics(np.ones((64, 128, 3), np.float32))
    assert np.allclose(factors[0], np.pi, rtol=1e-3)
    assert np.allclose(factors[1:], 0.0, atol=2e-3)


def test_harmonics_of_one_direction_follow_the_cosine() -> None:
    """Ramamoorthi and Hanrahan 2001 report errors of a few percent of the largest value."""
    factors = probe.harmonics(one_direction((0, 0, 1)))[:, 0]
    for cosine in (1.0, 0.5, 0.0, -0.5):
        x, y, z = np.sqrt(1 - cosine**2), 0.0, cosine
        basis = [1, y, z, x, x * y, y * z, 3 * z * z - 1, x * z, x * x - y * y]
        assert factors @ basis == pytest.approx(max(cosine, 0.0), abs=0.1)


@pytest.mark.parametrize("count", [1, 7, 15])
def test_distant_lights_keep_the_energy_and_its_direction(count: int) -> None:
    light = np.random.default_rng(3).gamma(0.3, 1.0, (32, 64, 3)).astype(np.float32)
    along, colour = probe.median_cut(light, count)
    total = (light * probe.solid_angles(32)[..., None]).sum(axis=(0, 1))
    assert len(along) == count
    assert np.allclose(colour.sum(axis=0), total, rtol=1e-6)
    assert np.allclose(np.linalg.norm(along, axis=1), 1.0)


def test_a_lone_light_is_found_where_it_is() -> None:
    wanted = np.array([0.6, -0.48, 0.64])
    along, colour = probe.median_cut(one_direction(tuple(wanted)), 15)
    strength = colour.sum(axis=1)
    mean = (along * strength[:, None]).sum(axis=0) / strength.sum()
    assert np.allclose(mean, wanted, atol=0.02)


def test_six_faces_become_the_panorama_they_were_taken_of() -> None:
    """A sky that is its own direction, through six cameras and back."""
    n = 64
    across = (np.arange(n) + 0.5) / n * 2 - 1
    faces = []
    for basis in np.array(probe.FACES, float):
        rays = across[None, :, None] * basis[0] + across[:, None, None] * basis[1] + basis[2]
        faces.append(rays / np.linalg.norm(rays, axis=2, keepdims=True))
    got = probe.panorama(np.stack(faces).astype(np.float32), 32)
    assert np.abs(got - directions(32)).max() < 0.04


def test_blurring_keeps_an_even_light_and_spreads_a_lone_one() -> None:
    even = probe.blurred(np.full((64, 128, 3), 0.7, np.float32))
    assert [level.shape[0] for level in even] == [64 >> n for n in range(probe.LEVELS)]
    assert all(np.allclose(level, 0.7, atol=1e-3) for level in even)
    peaks = [level.max() for level in probe.blurred(one_direction((0, 1, 0)))]
    assert all(a > b for a, b in pairwise(peaks))


def test_the_camera_matrix_projects_as_the_labels_do() -> None:
    points = np.random.default_rng(1).uniform(-0.2, 0.2, (40, 3))
    size = (640, 480)
    clip = np.c_[points, np.ones(40)] @ perspective(VIEW, 31.0, size).T
    seen = (clip[:, :2] / clip[:, 3:] * (1, -1) + 1) / 2 * size
    assert np.allclose(seen, project(points, VIEW, 31.0, size)[0], atol=1e-6)


def test_what_reaches_into_sight_is_never_left_out() -> None:
    """Against the points of the balls themselves, one by one."""
    rng = np.random.default_rng(5)
    camera = lens(40.0, 0.75) @ looking(camera_basis(VIEW), np.asarray(VIEW.origin))
    balls = np.c_[rng.uniform(-1, 1, (200, 3)), rng.uniform(0.01, 0.2, 200)]
    around = rng.normal(size=(300, 3))
    around /= np.linalg.norm(around, axis=1, keepdims=True)
    kept = in_sight(camera, balls)
    for ball, stays in zip(balls, kept, strict=True):
        clip = np.c_[ball[:3] + ball[3] * around, np.ones(300)] @ camera.T
        if (np.abs(clip[:, :3]) < clip[:, 3:]).all(axis=1).any():
            assert stays
    assert 0 < kept.sum() < len(kept)


def rasteriser() -> Any:
    pytest.importorskip("moderngl", reason="the fast renderer is not among the tests' libraries")
    from tools.render.raster import Rasteriser

    try:
        return Rasteriser()
    except Exception as error:  # a library of its own raises what it likes
        pytest.skip(f"no OpenGL here: {error}")


def sheet(colour: float) -> Scene:
    """A level square of a metre at height 0.1, rough and hardly mirroring, under a white sky."""
    corners = np.array([[-1, -1, 0.2], [1, -1, 0.2], [1, 1, 0.2], [-1, 1, 0.2]], np.float32) / 2
    faces = np.array([[0, 1, 2], [0, 2, 3]], np.int32)
    paint = Material(color=(colour,) * 3, roughness=1.0, specular=0.02)
    square = Part("boiler", "locomotive", corners, faces, "paint")
    return Scene((square,), {"paint": paint}, np.ones((32, 64, 3), np.float32))


def test_a_surface_under_an_even_sky_shows_its_own_colour() -> None:
    """Radiance 1 from everywhere leaves a matt surface as its reflectance (furnace test)."""
    stage = rasteriser().stage(sheet(0.4))
    light = stage.photograph(VIEW, 20.0, (64, 48), samples=1, seed=0, rng=np.random.default_rng(0))
    assert np.median(light) == pytest.approx(0.4, rel=0.1)


def test_distances_are_those_of_the_plane_that_was_drawn() -> None:
    stage = rasteriser().stage(sheet(0.4))
    hits = stage.first_hits(VIEW, 20.0, (64, 48))
    middle = hits.depth[24, 32]
    towards = np.asarray(VIEW.target) - VIEW.origin
    expected = (0.1 - VIEW.origin[2]) / (towards[2] / np.linalg.norm(towards))
    assert middle == pytest.approx(expected, rel=0.01)
    assert (hits.part == 0).all()
    _, reach = stage.cast(np.asarray([VIEW.origin]), towards[None] / np.linalg.norm(towards))
    # The furthest of nine subpixels, on a slope.
    assert reach[0] == pytest.approx(middle, rel=0.02)


def test_both_renderers_tell_the_same_truth() -> None:
    """One by its depth buffer, one by casting rays: the same labels of the same views."""
    pytest.importorskip("mitsuba", reason="the renderer is not among the tests' libraries")
    from tools.render.raytrace import PathTracer

    fast, slow = rasteriser(), PathTracer("llvm_ad_rgb")
    fast.lenses = slow.lenses
    job = plan.job("held", 5, 2)
    shots = [
        list(shoot_close(renderer, job, ["side_rods", "tender"], views=1, samples=1))
        for renderer in (fast, slow)
    ]
    assert len(shots[0]) == len(shots[1]) > 1
    for quick, traced in zip(*shots, strict=True):
        assert quick[:2] == traced[:2]
        assert (quick[3] == traced[3]).mean() > 0.97
        for region, share in traced[4]["visible"].items():
            assert quick[4]["visible"][region] == pytest.approx(share, abs=0.05)
        for cue, said in traced[4]["cues"].items():
            assert quick[4]["cues"][cue]["visible"] == said["visible"]
            assert quick[4]["cues"][cue]["pixels"] == pytest.approx(said["pixels"], rel=0.1, abs=8)
            assert (said["share"] is None) == (said["state"] == "absent")
            if said["share"] is not None:
                # The rasteriser takes the furthest of the pixels round a point: it is laxer.
                assert 1.0 >= quick[4]["cues"][cue]["share"] >= said["share"] - 0.05
