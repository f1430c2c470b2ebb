"""Looking a folder of pictures over: which of them, and how they are spoilt."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from shapes import ramp
from tools.look import Corruption, look_over, spoilt, spread
from vision.photo import open_photo

ROOT = Path(__file__).parents[1]


def test_spoilt_photos_keep_their_size_and_are_spoilt_alike_each_time(tmp_path: Path) -> None:
    path = tmp_path / "held-1-000001_0.png"
    Image.fromarray(ramp(160, 100)).save(path)
    photo = open_photo(path)
    one, two = (spoilt(photo, Corruption("gaussian_noise", 3)) for _ in range(2))
    assert one.size == photo.size == (160, 100)
    np.testing.assert_array_equal(one.pixels, two.pixels)
    # Hendrycks and Dietterich 2019: severity 3 has a sigma of 0.18 of full scale.
    change = one.pixels[:, 60:100].astype(float) - photo.pixels[:, 60:100]
    assert change.std() / 255 == pytest.approx(0.18, abs=0.04)


def test_some_of_a_folders_pictures_are_whole_scenes_from_all_over_it() -> None:
    labels = [{"file": f"{job:03d}_{view}", "job": job} for job in range(50) for view in range(6)]
    kept = spread(labels, 60)
    assert len(kept) == 60
    jobs = sorted({label["job"] for label in kept})
    assert len(jobs) == 10 and jobs[0] < 5 and jobs[-1] > 40
    assert spread(labels, 1000) == spread(labels, None) == labels


def test_only_pictures_decoded_at_full_scale_are_spoilt(tmp_path: Path) -> None:
    small = Image.open(ROOT / "demo_images" / "brindle_m1.jpg").resize((640, 480))
    small.save(tmp_path / "small.jpg")
    small.resize((2254, 1236)).save(tmp_path / "large.jpg")
    labels = [
        {"file": "small.jpg", "size": [640, 480]},
        {"file": "large.jpg", "size": [2254, 1236]},
    ]
    (tmp_path / "labels-x-00.jsonl").write_text("".join(json.dumps(x) + "\n" for x in labels))
    out = tmp_path / "looks.jsonl.gz"
    given: dict[str, Any] = {"models": ROOT / "models", "workers": 1, "most": None}
    assert look_over(tmp_path, out, corruption=Corruption("fog", 3), **given) == 1
    with gzip.open(out, "rt") as lines:
        assert [json.loads(line)["file"] for line in lines] == ["small.jpg"]
    assert look_over(tmp_path, out, **given) == 2
    assert not [*tmp_path.glob("*.partial")]
