"""The changes that training makes to its crops, against what optics and statistics say."""

from __future__ import annotations

import math

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="the training's library is not among the tests' own")
from scipy import ndimage  # noqa: E402

from tools.train.augment import _disk, _line, _smeared, photometric  # noqa: E402
from tools.train.heat import focal  # noqa: E402
from tools.train.oddments import strewn  # noqa: E402


@pytest.mark.parametrize("sigma", [2.0, 4.0])
@pytest.mark.parametrize("drawn", [0.0, 0.06, 0.2])
def test_a_movement_spreads_by_its_sigma_along_one_line(sigma: float, drawn: float) -> None:
    """A uniform distribution of half-width a has variance a^2 / 3 (from memory)."""
    steps = np.array(_line(sigma, drawn), float)
    variances = np.linalg.eigvalsh(np.cov(steps.T, bias=True))
    # Whole pixels: each coordinate is rounded, which adds a twelfth at most on average.
    assert variances[1] == pytest.approx(sigma**2, rel=0.2)
    assert variances[0] < 0.2


@pytest.mark.parametrize("sigma", [1.5, 3.0, 5.0])
def test_a_disk_of_confusion_is_even_and_round(sigma: float) -> None:
    """A disk of radius r has variance r^2 / 4 along either axis (from memory)."""
    steps = np.array(_disk(sigma), float)
    assert np.hypot(*steps.T).max() <= 2 * sigma + math.sqrt(0.5)
    assert np.abs(steps.mean(axis=0)).max() < 0.35 * sigma
    assert steps.var(axis=0) == pytest.approx([sigma**2, sigma**2], rel=0.3)


def test_smearing_is_a_correlation_with_its_steps() -> None:
    """Against SciPy's correlation with the same kernel and replicated edges."""
    rng = np.random.default_rng(3)
    picture = rng.random((2, 3, 24, 40)).astype(np.float32)
    steps = _line(3.0, 0.1)
    reach = 9
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1))
    for x, y in steps:
        kernel[reach + y, reach + x] += 1.0 / len(steps)
    smeared = _smeared(torch.from_numpy(picture), steps).numpy()
    for one, other in zip(smeared.reshape(-1, 24, 40), picture.reshape(-1, 24, 40), strict=True):
        assert one == pytest.approx(ndimage.correlate(other, kernel, mode="nearest"), abs=1e-5)


def test_photometric_changes_keep_the_range_and_the_shape() -> None:
    generator = torch.Generator().manual_seed(0)
    batch = torch.rand(4, 3, 32, 64, generator=generator)
    for _ in range(20):  # every kind of blur is drawn among them
        changed = photometric(batch, generator, widest=3.0)
        assert changed.shape == batch.shape
        assert bool(torch.isfinite(changed).all())
        assert 0.0 <= float(changed.min()) <= float(changed.max()) <= 1.0


def test_round_things_lie_on_the_pictures_that_were_chosen_alone() -> None:
    generator = torch.Generator().manual_seed(1)
    batch = torch.full((64, 3, 48, 64), 0.5)
    bare = torch.arange(64) < 32
    drawn = strewn(batch, bare, generator, share=1.0)
    changed = (drawn != batch).flatten(1).any(1)
    assert int(changed[bare].sum()) >= 28  # now and then nothing is drawn after all
    assert 1 <= int(changed[~bare].sum()) <= 14  # a fifth of 32
    assert 0.0 <= float(drawn.min()) <= float(drawn.max()) <= 1.0
    assert torch.equal(strewn(batch, bare, generator, share=0.0), batch)


def test_the_focal_loss_is_the_published_sum() -> None:
    """Law and Deng 2018 (CornerNet), equation 1, written out cell by cell."""
    logit = torch.tensor([[2.0, -1.0, 0.5, 3.0]])
    heat = torch.tensor([[1.0, 0.6, 0.0, 0.0]])
    judged = torch.tensor([[1.0, 1.0, 1.0, 0.0]])
    p = [1 / (1 + math.exp(-v)) for v in (2.0, -1.0, 0.5)]
    by_hand = (1 - p[0]) ** 2 * math.log(p[0])
    by_hand += (1 - 0.6) ** 4 * p[1] ** 2 * math.log(1 - p[1]) + p[2] ** 2 * math.log(1 - p[2])
    assert float(focal(logit, heat, judged)) == pytest.approx(-by_hand, rel=1e-5)
