"""What counts the driving axles is taught on top of a judge, which says the same as before."""

from __future__ import annotations

import json
import math
import time
from pathlib import Path

import numpy as np
import pytest
from scipy.special import log_softmax

torch = pytest.importorskip("torch", reason="training needs torch, the rest does not")

from tools.train.augment import _MOST_HAZE, _blur, _haze  # noqa: E402
from tools.train.judging import Asked, _miscounted, judge_batch  # noqa: E402
from tools.train.keeper import Keeper  # noqa: E402
from tools.train.loading import _columns, _driving, empty  # noqa: E402
from tools.train.networks import COUNTING, Judge, judge_of  # noqa: E402
from tools.train.pictures import REGIONS, Pictures  # noqa: E402
from tools.train.settings import Settings  # noqa: E402
from vision.cues.driving import DRIVING_AXLES  # noqa: E402

QUAD = [[4.0, 4.0], [60.0, 4.0], [60.0, 20.0], [4.0, 20.0]]


def pictures(*wheels: str | None, share: float = 1.0) -> Pictures:
    labels = [
        {
            "file": f"train-1-{number:06d}_0.jpg",
            "locomotive": [0.0, 0.0, 64.0, 24.0],
            "tender": None,
            "faces": "left",
            "regions": dict.fromkeys(REGIONS, QUAD),
            "visible": dict.fromkeys(REGIONS, share),
            "wheels": each,
        }
        for number, each in enumerate(wheels)
    ]
    store = empty(len(labels), "cpu", (64, 24))
    for name, values in _columns(labels, (1.0,) * len(labels)).items():
        getattr(store, name)[: len(labels)] = values
    store.filled.fill_(len(labels))
    return store


def asked(store: Pictures) -> Asked:
    generator = torch.Generator().manual_seed(1)
    rows = torch.arange(int(store.filled))
    settings = Settings(patches=0.0)
    return judge_batch(store, rows, generator, settings, REGIONS.index("side_rods"))[-1]


def test_labels_in_whyte_notation_become_classes() -> None:
    """4-6-2 has three driving axles, 0-4-0 two, 2-2-2 one (Whyte notation halves its wheels)."""
    told = [_driving({"wheels": wheels}) for wheels in ("4-6-2", "0-4-0", "2-2-2", None, "2-8-8-2")]
    assert [DRIVING_AXLES[k] if k >= 0 else None for k in told] == [3, 2, 1, None, None]


def test_axles_are_asked_for_where_the_rods_show_them() -> None:
    open_, half = (asked(pictures("4-6-2", None, "0-4-0", share=s)) for s in (1.0, 0.5))
    assert open_.countable.tolist() == [1.0, 0.0, 1.0]
    assert half.countable.tolist() == [0.0, 0.0, 0.0]
    assert [DRIVING_AXLES[k] for k in open_.axles[[0, 2]].tolist()] == [3, 2]


def test_a_miscount_costs_its_cross_entropy_where_it_can_be_counted() -> None:
    """By SciPy's softmax; of rows that show no wheels only the doubt counts."""
    rng = np.random.default_rng(4)
    logits, doubt = rng.normal(size=(3, 6)), rng.normal(size=(3, 1))
    truth, countable = np.array([2, 0, 5]), np.array([1.0, 0.0, 1.0])
    counted = -log_softmax(logits, axis=1)[np.arange(3), truth]
    signed = np.where(countable > 0, doubt[:, 0], -doubt[:, 0])
    expected = (counted * countable).sum() / 2 + 0.3 * np.log1p(np.exp(-signed)).mean()
    nothing = torch.zeros(0)
    where = Asked(
        *(nothing, nothing, nothing, nothing), torch.tensor(truth), torch.tensor(countable)
    )
    got = _miscounted(torch.tensor(logits), torch.tensor(doubt), where)
    assert float(got) == pytest.approx(expected, rel=1e-5)


def test_only_the_judge_of_the_rods_counts() -> None:
    assert COUNTING == ("side_rods",)
    crops = torch.rand(2, 3, 128, 384, generator=torch.Generator().manual_seed(1))
    with torch.no_grad():
        said = judge_of("side_rods").eval()(crops)
    assert [tuple(each.shape) for each in said[2:]] == [(2, 6), (2, 1)]
    assert not judge_of("running_board").counting


def test_a_part_is_trained_alone_and_all_else_stays(tmp_path: Path) -> None:
    before = judge_of("side_rods")
    (tmp_path / "start").mkdir()
    known = {k: v for k, v in before.state_dict().items() if not k.startswith("tally.")}
    torch.save(known, tmp_path / "start" / "side_rods.pt")
    (tmp_path / "start" / "side_rods.json").write_text(json.dumps({"words": "before"}))
    keeper = Keeper(tmp_path, seed=1, start=tmp_path / "start", part="tally")
    keeper("side_rods", pictures("4-6-2", "0-4-0", "2-8-0"), time.time() + 4.0)
    after = torch.load(tmp_path / "side_rods.pt", weights_only=True)
    assert all(torch.equal(after[name], value) for name, value in known.items())
    torch.manual_seed(1)  # as the training begins
    fresh = judge_of("side_rods").state_dict()
    taught = [name for name in after if name.startswith("tally.") and name.endswith("weight")]
    assert taught and any(not torch.equal(after[name], fresh[name]) for name in taught)
    report = json.loads((tmp_path / "side_rods.json").read_text("utf-8"))
    assert report["part"] == "tally" and report["steps"] > 0


def test_a_judge_that_counts_nothing_says_two_things() -> None:
    with torch.no_grad():
        assert len(Judge().eval()(torch.rand(1, 3, 64, 128))) == 2


def test_fog_comes_in_wisps_and_never_hides_all() -> None:
    batch = torch.zeros(64, 3, 32, 96)
    haze = _haze(batch, torch.Generator().manual_seed(2))
    assert haze.shape == (64, 1, 32, 96)
    assert float(haze.min()) >= 0.0 and float(haze.max()) == pytest.approx(_MOST_HAZE)
    within, steps = haze.std((1, 2, 3)), haze.diff(dim=3).abs().amax((1, 2, 3))
    thick = haze.mean((1, 2, 3)) > 0.2
    assert bool((within[thick] > 0.01).all())  # in wisps
    assert float(steps.max()) < 0.2  # without edges


@pytest.mark.parametrize("widest", [2.4, 6.5])
def test_a_blur_does_not_darken_the_borders_of_a_crop(widest: float) -> None:
    plain = torch.full((8, 3, 32, 64), 0.6)
    generator = torch.Generator().manual_seed(3)
    for _ in range(12):  # of every kind
        blurred = _blur(plain, generator, 1.0, widest)
        assert float((blurred - plain).abs().max()) < 1e-5
    assert math.isclose(float(plain.mean()), 0.6, rel_tol=1e-6)
