"""The studio's bookkeeping: what is drawn from which seed, and where points land."""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest

from tools import locomotive, scene
from tools.produce.phases import clock
from tools.render import plan
from tools.render.projection import camera_basis, project
from tools.render.quieten import quieten
from tools.render.raytrace import start
from tools.render.view import clip_box
from tools.render.worker import _finished, size_of
from tools.sheet import TILE, sheet


@dataclass(frozen=True)
class Pose:
    origin: tuple[float, float, float]
    target: tuple[float, float, float]
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)


POSES = [
    Pose((0.0, 0.6, 0.2), (0.0, 0.0, 0.05)),
    Pose((-0.4, -0.5, 0.3), (0.05, 0.0, 0.03)),
    Pose((0.7, 0.1, 0.02), (0.0, 0.0, 0.06), (0.05, 0.0, 1.0)),
]


@pytest.mark.parametrize("pose", POSES)
@pytest.mark.parametrize("fov", [18.0, 58.0])
def test_projection_equals_opencv(pose: Pose, fov: float) -> None:
    """Against cv2.projectPoints with the same pinhole camera."""
    size = (640, 480)
    points = np.random.default_rng(2).uniform(-0.15, 0.15, (50, 3))
    basis = camera_basis(pose)
    focal = size[0] / 2 / np.tan(np.radians(fov) / 2)
    matrix = np.array([[focal, 0, 320], [0, focal, 240], [0, 0, 1.0]])
    turn, _ = cv2.Rodrigues(basis)
    shift = -basis @ np.array(pose.origin)
    expected, _ = cv2.projectPoints(points, turn, shift, matrix, None)
    pixels, depth = project(points, pose, fov, size)
    assert (depth > 0).all()
    assert np.allclose(pixels, expected[:, 0], atol=1e-6)


@pytest.mark.parametrize("pose", POSES)
def test_camera_axes_are_orthonormal_and_right_handed(pose: Pose) -> None:
    basis = camera_basis(pose)
    assert np.allclose(basis @ basis.T, np.eye(3), atol=1e-9)
    assert np.linalg.det(basis) == pytest.approx(1.0)
    assert basis[1][2] < 0  # down in the picture is down in the room


def test_a_job_is_the_same_whenever_it_is_drawn() -> None:
    assert plan.job("train", 1, 7) == plan.job("train", 1, 7)
    first = plan.job("train", 1, 7).generator(3).random(4)
    assert np.array_equal(first, plan.job("train", 1, 7).generator(3).random(4))
    assert not np.array_equal(first, plan.job("train", 2, 7).generator(3).random(4))


def test_training_and_the_second_domain_share_no_family_and_no_room() -> None:
    train = [plan.job("train", 1, n) for n in range(300)]
    second = [plan.job("second", 2, n) for n in range(300)]
    assert not {j.family for j in train} & {j.family for j in second}
    assert not {j.room for j in train} & {j.room for j in second}
    every = {*locomotive.TRAIN_FAMILIES, *locomotive.MORE_FAMILIES}
    assert {j.family for j in train} == every
    assert {j.room for j in second} == set(scene.HELD_ROOMS)


def test_families_of_training_alone_are_judged_by_no_set() -> None:
    judged = [plan.job(split, 2, n) for split in ("held", "second") for n in range(300)]
    assert not {j.family for j in judged} & set(locomotive.MORE_FAMILIES)


def test_held_jobs_repeat_no_training_job() -> None:
    train = {plan.job("train", 1, n).generator(0).integers(1 << 62) for n in range(300)}
    held = {
        plan.job("held", s, n).generator(0).integers(1 << 62) for s in (1, 2) for n in range(150)
    }
    assert not train & held
    assert len(held) == 300


def test_guide_jobs_name_every_variation() -> None:
    jobs = [plan.job("guide", 2, n) for n in range(300)]
    assert {(j.guide, j.variation) for j in jobs} == {
        (guide, id) for guide, ids in plan.GUIDE_VARIATIONS.items() for id in ids
    }


def test_clip_box_keeps_what_lies_inside_and_drops_slivers() -> None:
    assert clip_box([-10, 5, 50, 40], (100, 30)) == [0.0, 5.0, 50.0, 30.0]
    assert clip_box([98, 5, 150, 40], (100, 30)) is None


def test_quieting_takes_grain_and_leaves_letters_and_edges() -> None:
    pytest.importorskip("mitsuba", reason="the renderer is not among the tests' libraries")
    mi = start("llvm_ad_rgb")
    rng = np.random.default_rng(4)
    height, width = 60, 80
    albedo = np.full((height, width, 3), 0.1, np.float32)
    albedo[20:40, 10:20] = 0.8  # lettering
    normal = np.zeros((height, width, 3), np.float32)
    normal[:, :40, 2], normal[:, 40:, 0] = 1.0, 1.0
    lit = np.where(normal[..., 2:] > 0, 0.3, 1.0).astype(np.float32)
    clean = albedo * lit
    grainy = clean * rng.gamma(4, 1 / 4, clean.shape[:2])[..., None]
    layers = np.concatenate([grainy, albedo, normal, np.ones((height, width, 1))], axis=2)
    quiet = quieten(mi, np.random.default_rng(1), mi.Float(np.ravel(layers)), (width, height))
    assert quiet.shape == (height, width, 3)
    error, before = np.abs(quiet - clean), np.abs(grainy - clean)
    for part in (np.s_[5:15, 5:35], np.s_[22:38, 12:18], np.s_[5:55, 45:75]):
        assert error[part].mean() < 0.5 * before[part].mean()
    # Nothing leaks over the edge of the letters or of the surface.
    assert error[22:38, 10].mean() < 0.5 * before[22:38, 10].mean()
    assert error[5:55, 40].mean() < 0.5 * before[5:55, 40].mean()


def test_a_cut_off_last_line_does_not_count_as_a_finished_scene(tmp_path: Path) -> None:
    log = tmp_path / "labels-train-00.jsonl"
    log.write_text(json.dumps({"job": 3}) + "\n" + json.dumps({"job": 4})[:-3])
    assert _finished(log) == {3}
    assert _finished(tmp_path / "none.jsonl") == set()


@pytest.mark.parametrize("seconds", [300.0, 1600.0])
def test_every_phase_of_a_production_has_its_time(seconds: float) -> None:
    times = clock(1000.0, seconds, reserve=100.0)
    ends = [1000.0, times.unseen, times.traced, times.traced_close, times.fast]
    ends += [times.fast_unseen, times.training, times.end]
    assert all(a < b for a, b in pairwise(ends))
    assert times.end == 1000.0 + seconds
    assert times.end - times.training == pytest.approx(100.0)


def test_what_unseen_sets_would_take_goes_to_the_training() -> None:
    alone = clock(1000.0, 900.0, reserve=100.0, unseen=False)
    beside = clock(1000.0, 900.0, reserve=100.0)
    assert alone.unseen == 1000.0
    assert alone.training == beside.training
    spared = beside.unseen - 1000.0
    assert spared == pytest.approx(beside.fast - alone.fast)
    assert alone.traced - alone.unseen == pytest.approx(beside.traced - beside.unseen)


def test_a_contact_sheet_shows_every_picture(tmp_path: Path) -> None:
    records = []
    for index, grey in enumerate((60, 120, 180)):
        name = f"train-1-{index}.jpg"
        cv2.imwrite(str(tmp_path / name), np.full((48, 64, 3), grey, np.uint8))
        records.append({"file": name, "kind": "empty", "locomotive": [5, 5, 40, 30]})
    lines = "".join(json.dumps(record) + "\n" for record in records)
    (tmp_path / "labels-train-00.jsonl").write_text(lines)
    picture = sheet(tmp_path, columns=2, rows=2)
    assert picture.shape == (2 * TILE[1], 2 * TILE[0], 3)
    for index, grey in enumerate((60, 120, 180)):
        row, col = divmod(index, 2)
        middle = picture[row * TILE[1] + 250, col * TILE[0] + 350]
        assert abs(int(middle[0]) - grey) < 4


@pytest.mark.parametrize("scenes", [range(6), range(1_000_000, 1_000_006)])
def test_scenes_take_turns_with_the_sizes(scenes: range) -> None:
    sizes = [size_of(scene, [1008, 756, 2016, 1512]) for scene in scenes]
    assert sizes == [(1008, 756), (2016, 1512)] * 3
    assert {size_of(scene, [640, 480]) for scene in scenes} == {(640, 480)}
