"""Rooms: repeatable, clear of the engine, and seen by every camera."""

import numpy as np
import pytest

from tools.scene import (
    HELD_ROOMS,
    TRACK_ROOMS,
    TRAIN_ROOMS,
    distractor_slots,
    furnish,
    place_camera,
)
from tools.scene.lighting import directions, lamp_toward
from tools.scene.shapes import box, lathe, prism, sheet, wall
from tools.scene.viewpoint import project, seen_share

ALL_ROOMS = TRAIN_ROOMS + HELD_ROOMS
SIZE = {"length": 0.31, "width": 0.075, "height": 0.10}
LOW = np.array([-0.155, -0.0375, 0.0])
HIGH = np.array([0.155, 0.0375, 0.10])


def furnished(room, seed, **size):
    rng = np.random.default_rng(seed)
    on_track = room in TRACK_ROOMS or seed % 2 == 0
    return furnish(rng, room, on_track=on_track, **(size or SIZE)), rng


def triangles_in_box(part, low, high):
    """Whether each triangle meets the box: separating axes (Akenine-Moller 2001)."""
    centre, half = (low + high) / 2, (high - low) / 2
    corners = part.vertices[part.faces].astype(float) - centre
    edges = np.roll(corners, -1, axis=1) - corners
    apart = np.zeros(len(corners), bool)
    for axis in range(3):
        apart |= (corners[:, :, axis].min(1) > half[axis]) | (
            corners[:, :, axis].max(1) < -half[axis]
        )
    normal = np.cross(edges[:, 0], edges[:, 1])
    axes = [normal] + [np.cross(np.eye(3)[i], edges[:, j]) for i in range(3) for j in range(3)]
    for axis in axes:
        reach = np.einsum("nij,nj->ni", corners, axis)
        radius = np.abs(axis) @ half
        apart |= (reach.min(1) > radius) | (reach.max(1) < -radius)
    return ~apart


def test_the_box_check_finds_a_box_inside_and_none_outside():
    class Solid:
        def __init__(self, mesh):
            self.vertices, self.faces = mesh.vertices, mesh.faces

    assert triangles_in_box(Solid(box((0.1, 0.1, 0.05))), LOW, HIGH).any()
    assert not triangles_in_box(Solid(box((0.1, 0.1, 0.05)).at(0, 0.2, 0)), LOW, HIGH).any()


def test_enough_rooms_and_none_both_trained_and_held():
    assert len(TRAIN_ROOMS) >= 9
    assert len(HELD_ROOMS) >= 3
    assert not set(TRAIN_ROOMS) & set(HELD_ROOMS)


@pytest.mark.parametrize("room", ALL_ROOMS)
def test_same_seed_same_room_and_other_seed_another(room):
    (first, _), (again, _), (other, _) = furnished(room, 4), furnished(room, 4), furnished(room, 6)
    assert [p.name for p in first.parts] == [p.name for p in again.parts]
    for a, b in zip(first.parts, again.parts, strict=True):
        np.testing.assert_array_equal(a.vertices, b.vertices)
    for key, material in first.materials.items():
        np.testing.assert_array_equal(material.texture, again.materials[key].texture)
    np.testing.assert_array_equal(first.environment, again.environment)
    same = len(first.parts) == len(other.parts) and all(
        np.array_equal(a.vertices, b.vertices)
        for a, b in zip(first.parts, other.parts, strict=False)
    )
    assert not same


@pytest.mark.parametrize("room", ALL_ROOMS)
@pytest.mark.parametrize("seed", range(6))
def test_nothing_but_flagged_occluders_enters_the_engine(room, seed):
    made, _ = furnished(room, seed)
    flagged = {p.name for p in made.parts if p.name.startswith("occluder_")}
    assert bool(flagged) == bool(made.truth["occluders"])
    for part in made.parts:
        if part.name not in flagged:
            inside = triangles_in_box(part, LOW + [0, 0, 0.002], HIGH)
            assert not inside.any(), part.name


@pytest.mark.parametrize("room", ALL_ROOMS)
@pytest.mark.parametrize("seed", range(4))
def test_slots_are_free_of_everything(room, seed):
    made, _ = furnished(room, seed)
    for slot in made.slots:
        x, y = slot.to_world[:2, 3]
        half = 0.49 * np.array([slot.length, 0.9 * slot.width])
        low, high = np.array([x, y]) - half, np.array([x, y]) + half
        for part in made.parts:
            if not part.name.startswith("occluder_"):
                at = triangles_in_box(part, np.array([*low, 0.003]), np.array([*high, 0.05]))
                assert not at.any(), (slot.kind, part.name)


def test_a_coupled_wagon_stands_close_to_the_engine_without_touching():
    made, _ = furnished("layout", 2)
    assert {"ahead", "behind"} & {s.kind for s in made.slots}
    ends = [abs(m[0, 3]) - 0.06 for m in distractor_slots(made, 0.12) if abs(m[1, 3]) < 1e-9]
    assert ends
    assert all(0.155 < end < 0.155 * 1.2 for end in ends)
    assert all(abs(m[1, 3]) > 0.075 for m in distractor_slots(made))


@pytest.mark.parametrize("room", ALL_ROOMS)
def test_parts_are_few_and_well_formed(room):
    for seed in range(3):
        made, _ = furnished(room, seed)
        assert 0 < len(made.parts) <= 40
        for part in made.parts:
            assert part.owner in {"room", "clutter"}
            assert part.vertices.dtype == np.float32
            assert np.isfinite(part.vertices).all()
            assert 0 <= part.faces.min() <= part.faces.max() < len(part.vertices)
            material = made.materials[part.material]
            if material.texture is not None:
                assert part.uv.shape == (len(part.vertices), 2)
                assert material.texture.dtype == np.uint8
        height, width, _ = made.environment.shape
        assert width == 2 * height
        assert made.environment.dtype == np.float32
        assert np.isfinite(made.environment).all()
        assert made.environment.min() >= 0


@pytest.mark.parametrize("room", ALL_ROOMS)
@pytest.mark.parametrize("length", [0.12, 0.31, 0.8])
def test_cameras_see_the_engine_from_free_air(room, length):
    size = {"length": length, "width": 0.24 * length, "height": 0.32 * length}
    high = np.array([length / 2, 0.12 * length, 0.32 * length])
    low = high * [-1, -1, 0]
    poor = 0
    for seed in range(6):
        made, rng = furnished(room, seed, **size)
        fov, aspect = float(rng.uniform(25, 65)), float(rng.choice([0.75, 4 / 3, 1.5]))
        pose = place_camera(rng, made, low, high, fov_deg=fov, aspect=aspect)
        middle = project(pose, ((low + high) / 2)[None], fov, aspect)[0]
        assert np.all((middle > 0) & (middle < 1))
        assert not np.all((pose.origin > low) & (pose.origin < high))
        inside = (pose.origin > made.solids[:, 0]) & (pose.origin < made.solids[:, 1])
        assert not inside.all(1).any()
        assert pose.origin[1] * made.side > -0.5 * length
        poor += seen_share(pose.origin, (low + high)[None] / 2, made.solids) < 1
    assert poor <= 1


def test_angles_and_framing_follow_the_stated_mixture():
    made, rng = furnished("paper_sweep", 2)
    azimuths, spans = [], []
    for _ in range(300):
        pose = place_camera(rng, made, LOW, HIGH, fov_deg=40, aspect=1.5)
        ray = pose.origin - (LOW + HIGH) / 2
        azimuths.append(np.degrees(np.arctan2(abs(ray[0]), abs(ray[1]))))
        corners = np.array(
            [
                [x, y, z]
                for x in (LOW[0], HIGH[0])
                for y in (LOW[1], HIGH[1])
                for z in (LOW[2], HIGH[2])
            ]
        )
        spans.append(np.ptp(project(pose, corners, 40, 1.5)[:, 0]))
    # 55 % near broadside; four standard errors of 300 draws are 0.115.
    assert np.mean(np.array(azimuths) < 30) == pytest.approx(0.55, abs=0.115)
    assert 0.03 < np.mean(np.array(spans) < 0.40) < 0.30
    assert max(spans) < 1.4


def test_a_hidden_point_is_counted_as_hidden():
    screen = np.array([[[-1, 0.9, -1], [1, 1.1, 1.0]]])
    points = np.array([[0.0, 0, 0], [0, 0, 3.0]])
    assert seen_share(np.array([0, 2.0, 0]), points, screen) == 0.5


def test_map_directions_match_the_stated_axes():
    look = directions(64)
    assert look[0, :, 2].min() > 0.99
    np.testing.assert_allclose(look[32, 0], [0, 1, 0], atol=0.05)
    np.testing.assert_allclose(look[32, 32], [1, 0, 0], atol=0.05)


def test_a_lamp_gives_the_asked_irradiance_by_the_inverse_square_law():
    lamp = lamp_toward(np.array([0, 0, 2.0]), np.zeros(3), (0.05, 0.1), kelvin=5500, irradiance=3.0)
    area = 4 * 0.05 * 0.1
    assert lamp.radiance[1] * area / 2.0**2 == pytest.approx(3.0)
    np.testing.assert_allclose(lamp.to_world[:3, 2], [0, 0, -1], atol=1e-12)
    columns = lamp.to_world[:3, :3]
    np.testing.assert_allclose(columns.T @ columns, np.diag([0.05**2, 0.1**2, 1]), atol=1e-12)


def volume(mesh):
    a, b, c = np.moveaxis(mesh.vertices[mesh.faces], 1, 0)
    return abs(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def test_solids_enclose_their_textbook_volumes():
    assert volume(box((0.2, 0.3, 0.4))) == pytest.approx(0.024)
    triangle = np.array([[0.0, 0], [2, 0], [0, 1]])
    assert volume(prism(triangle, 3.0)) == pytest.approx(3.0)
    cone = lathe([(0, 0), (1, 0), (0, 1)], segments=400)
    assert volume(cone) == pytest.approx(np.pi / 3, rel=1e-3)


def test_unknown_rooms_and_empty_engines_are_refused():
    rng = np.random.default_rng(0)
    with pytest.raises(ValueError, match="engine size"):
        furnish(rng, "shelf", on_track=True, length=0.0, width=0.1, height=0.1)
    with pytest.raises(ValueError, match="attic"):
        furnish(rng, "attic", on_track=True, **SIZE)


def test_prints_stand_upright_for_a_viewer_in_front():
    # v = 0 is a picture's top row; facing a +y wall, +x is on the viewer's left.
    for mesh, up in ((wall(2.0, 1.0), 2), (sheet(2.0, 1.0), 1)):
        top = mesh.uv[:, 1] == 0
        left = mesh.uv[:, 0] == 0
        height = mesh.vertices[:, up] * (1 if up == 2 else -1)
        assert height[top].min() > height[~top].max()
        assert mesh.vertices[left, 0].min() > mesh.vertices[~left, 0].max()
