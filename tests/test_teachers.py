"""What a judge or a loupe learns from others: their mean answer, and half of what is true."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

torch = pytest.importorskip("torch", reason="the training's library is not among the tests' own")

from tools.train.judging import Asked, Batch, judge_loss  # noqa: E402
from tools.train.layers import Trunk  # noqa: E402
from tools.train.loading import empty  # noqa: E402
from tools.train.loupe import LOUPE_SIZE, Loupe, loupe_loss  # noqa: E402
from tools.train.networks import STRIDES_TO_16, Judge, judge_of  # noqa: E402
from tools.train.settings import Settings  # noqa: E402
from tools.train.tasks import task_of  # noqa: E402
from tools.train.teachers import Teachers  # noqa: E402

COUNT, SIZE = 3, (128, 448)


def _saved(net: Judge, path: Path) -> Path:
    for part in net.modules():  # as after a training, which no two answer alike after
        if isinstance(part, torch.nn.BatchNorm2d):
            torch.nn.init.normal_(part.weight, 1.0, 0.2)
    torch.save(net.state_dict(), path)
    return path


def _batch() -> Batch:
    drawn = torch.Generator().manual_seed(7)
    asked = Asked(
        share=torch.tensor([[0.3, 0.7]] * COUNT),
        there=torch.tensor([[1.0, 0.0]] * COUNT),
        weight=torch.ones(COUNT, 2),
        ends=torch.tensor([[32.0, 416.0]] * COUNT),
        axles=torch.zeros(COUNT, dtype=torch.long),
        countable=torch.ones(COUNT),
    )
    pixels = torch.rand(COUNT, 3, *SIZE, generator=drawn)
    place = torch.zeros(COUNT, 1, SIZE[0] // 4, SIZE[1] // 4)
    return pixels, torch.tensor([1.0, 0.0, 1.0]), torch.ones(COUNT), place, asked


@pytest.fixture
def two(tmp_path: Path) -> list[Path]:
    """Weights of two judges, of which one has a trunk of its own and one a published one's."""
    torch.manual_seed(3)
    own = Judge(Trunk(STRIDES_TO_16, (1, 3, 2), 64), told=True)
    return [
        _saved(own, tmp_path / "own.pt"),
        _saved(judge_of("boiler_top"), tmp_path / "taught.pt"),
    ]


def test_half_of_the_truth_gives_way_to_the_mean_log_odds(two: list[Path]) -> None:
    batch = _batch()
    each = [Teachers("boiler_top", [path], torch.device("cpu"))(batch) for path in two]
    both = Teachers("boiler_top", two, torch.device("cpu"))(batch)

    def believed(of: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
        return torch.logit((of - 0.5 * truth) / 0.5)

    for told in (lambda b: b[1], lambda b: b[4].there):
        logits = [believed(told(one), told(batch)) for one in each]
        assert float((logits[0] - logits[1]).abs().max()) > 1e-3
        mean = believed(told(both), told(batch))
        assert torch.allclose(mean, (logits[0] + logits[1]) / 2, atol=1e-4)


def test_what_can_be_seen_and_where_stays_the_truth(two: list[Path]) -> None:
    batch = _batch()
    told = Teachers("boiler_top", two, torch.device("cpu"))(batch)
    for at in (0, 2, 3):
        assert torch.equal(told[at], batch[at])
    assert replace(told[4], there=batch[4].there) == batch[4]


def test_teachers_answer_without_dropping_anything_and_learn_nothing(two: list[Path]) -> None:
    batch, ask = _batch(), Teachers("boiler_top", two, torch.device("cpu"))
    one, again = ask(batch), ask(batch)
    assert torch.equal(one[1], again[1])
    assert torch.equal(one[4].there, again[4].there)
    assert not one[1].requires_grad and not one[4].there.requires_grad


def test_a_judge_that_answers_as_its_teachers_do_loses_least() -> None:
    """The cross-entropy is least where what is said is what is told (Gibbs' inequality)."""
    batch, net = _batch(), judge_of("boiler_top").eval()
    with torch.no_grad():
        logits = net(batch[0])[0][:, 0]
        same = (batch[0], torch.sigmoid(logits), *batch[2:])
        losses = [
            float(judge_loss(net, (*same[:1], (same[1] + shift).clamp(0, 1), *same[2:])))
            for shift in (-0.2, 0.0, 0.2)
        ]
        entropy = [
            float(torch.nn.functional.binary_cross_entropy(p, p))
            for p in ((same[1] + shift).clamp(0, 1) for shift in (-0.2, 0.0, 0.2))
        ]
    over = [loss - least for loss, least in zip(losses, entropy, strict=True)]
    assert over[1] < min(over[0], over[2])


def test_loupes_teach_whether_a_part_stands_in_the_middle_and_nothing_else(tmp_path: Path) -> None:
    torch.manual_seed(4)
    paths = [
        _saved(Loupe(Trunk(STRIDES_TO_16, (1, 2, 2), 64)), tmp_path / "own.pt"),
        _saved(Loupe(), tmp_path / "taught.pt"),
    ]
    pixels = torch.rand(COUNT, 3, *LOUPE_SIZE[::-1], generator=torch.Generator().manual_seed(8))
    place = torch.zeros(COUNT, 1, LOUPE_SIZE[1] // 4, LOUPE_SIZE[0] // 4)
    truth = torch.tensor([1.0, 0.0, 1.0])
    batch = (pixels, truth, torch.ones(COUNT), place, torch.ones(COUNT))

    def logits(weights: list[Path]) -> torch.Tensor:
        told = Teachers("loupe", weights, torch.device("cpu"))(batch)
        assert all(torch.equal(told[at], batch[at]) for at in (0, 2, 3, 4))
        return torch.logit(2 * told[1] - truth)

    one, two = (logits([path]) for path in paths)
    assert float((one - two).abs().max()) > 1e-3
    assert torch.allclose(logits(paths), (one + two) / 2, atol=1e-4)
    # Its training listens to them.
    task = task_of("loupe", empty(1, "cpu", (64, 48)), Settings(), teachers=paths)
    net = task.net.eval()
    mingled = Teachers("loupe", paths, torch.device("cpu"))(batch)
    with torch.no_grad():
        assert torch.equal(task.loss(net, batch), loupe_loss(net, mingled))
        assert not torch.equal(task.loss(net, batch), loupe_loss(net, batch))


def test_a_judge_that_has_not_learnt_to_count_teaches_and_one_of_another_design_does_not(
    tmp_path: Path,
) -> None:
    net = judge_of("side_rods")
    plain = {k: v for k, v in net.state_dict().items() if not k.startswith("tally.")}
    torch.save(plain, tmp_path / "plain.pt")
    Teachers("side_rods", [tmp_path / "plain.pt"], torch.device("cpu"))
    torch.save(plain | {"odd": torch.zeros(1)}, tmp_path / "odd.pt")
    lacking = {k: v for k, v in plain.items() if not k.startswith("heat.")}
    torch.save(lacking, tmp_path / "lacking.pt")
    for name in ("odd.pt", "lacking.pt"):
        with pytest.raises(ValueError, match=name):
            Teachers("side_rods", [tmp_path / name], torch.device("cpu"))


@pytest.mark.parametrize("name", ["tender", "finder"])
def test_teachers_of_what_is_no_judge_are_refused(name: str, two: list[Path]) -> None:
    pictures = empty(1, "cpu", (64, 48))
    with pytest.raises(ValueError, match=name):
        task_of(name, pictures, Settings(), teachers=two)
    assert task_of("boiler_top", pictures, Settings(), teachers=two).batch > 0
