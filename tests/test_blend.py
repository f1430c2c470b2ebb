"""Weights mixed: between two, and the mean of several, as they are kept and told of."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

torch = pytest.importorskip("torch", reason="the training's library is not among the tests' own")

from tools.train import blend  # noqa: E402
from tools.train.networks import judge_of  # noqa: E402

NAME = "running_board"


def _trained(folder: Path, seed: int) -> torch.nn.Module:
    """A judge with weights of its own, kept with a report as a training leaves it."""
    torch.manual_seed(seed)
    net = judge_of(NAME)
    for part in net.modules():
        if isinstance(part, torch.nn.BatchNorm2d):
            torch.nn.init.normal_(part.running_mean)
    folder.mkdir()
    torch.save(net.state_dict(), folder / f"{NAME}.pt")
    report = {"steps": 10 * seed, "batch": 4, "pictures": 7, "finished": True}
    (folder / f"{NAME}.json").write_text(json.dumps(report), encoding="utf-8")
    return net


def _run(monkeypatch: pytest.MonkeyPatch, *arguments: object) -> None:
    monkeypatch.setattr(sys, "argv", ["blend", *(str(argument) for argument in arguments)])
    blend.main()


def test_the_mean_is_that_of_torchs_own_averaged_model(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`torch.optim.swa_utils.AveragedModel`, with buffers (Izmailov et al. 2018)."""
    folders = [tmp_path / str(seed) for seed in (1, 2, 3)]
    nets = [_trained(folder, seed) for seed, folder in enumerate(folders, start=1)]
    theirs = torch.optim.swa_utils.AveragedModel(nets[0], use_buffers=True)
    for net in nets:
        theirs.update_parameters(net)
    _run(monkeypatch, "--mean", *folders, "--only", NAME, "--out", tmp_path / "mean")
    mine = torch.load(tmp_path / "mean" / f"{NAME}.pt", weights_only=True)
    for name, value in theirs.module.state_dict().items():
        if value.is_floating_point():
            assert torch.allclose(mine[name], value, atol=1e-6), name


def test_the_mean_tells_of_every_training(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("onnx", reason="the training's library is not among the tests' own")
    from tools.export import training_words

    folders = [tmp_path / str(seed) for seed in (1, 2)]
    for seed, folder in enumerate(folders, start=1):
        _trained(folder, seed)
    _run(monkeypatch, "--mean", *folders, "--only", NAME, "--out", tmp_path / "mean")
    report = json.loads((tmp_path / "mean" / f"{NAME}.json").read_text("utf-8"))
    each = "(1) 10 steps of 4 on 7 pictures; (2) 20 steps of 4 on 7 pictures"
    assert training_words(report) == f"the mean of 2 trainings' weights: {each}"
    # What is trained on from there tells of them as of any weights before it.
    after = {"steps": 5, "batch": 4, "pictures": 9, "finished": True, "before": report}
    assert training_words(after).startswith("the mean of 2 trainings' weights: (1)")


def test_half_way_weights_of_a_mean_or_a_shipped_network_tell_their_share(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half-way weights of a mean, and of a shipped network that came back, told of none of it."""
    pytest.importorskip("onnx", reason="the training's library is not among the tests' own")
    from tools.export import training_words

    folders = [tmp_path / str(seed) for seed in (1, 2)]
    for seed, folder in enumerate(folders, start=1):
        _trained(folder, seed)
    _run(monkeypatch, "--mean", *folders, "--only", NAME, "--out", tmp_path / "mean")

    def told() -> str:
        ends = ("--before", tmp_path / "1", "--after", tmp_path / "mean", "--share", 0.25)
        _run(monkeypatch, *ends, "--only", NAME, "--out", tmp_path / "mixed")
        return training_words(json.loads((tmp_path / "mixed" / f"{NAME}.json").read_text("utf-8")))

    # Before the list: behind it, it would be said of the last training alone.
    share = "of which 25% of the way is kept"
    assert told().startswith(f"the mean of 2 trainings' weights, {share}: (1) 10 steps of 4")
    report = tmp_path / "mean" / f"{NAME}.json"
    report.write_text(json.dumps({"words": "90 steps"}), encoding="utf-8")
    assert told() == f"90 steps, {share}"
    report.write_text(json.dumps({"words": "", "chosen": "the best of 2"}), encoding="utf-8")
    assert told() == f"{share}, the best of 2"


def test_half_way_lies_between_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one, two = (_trained(tmp_path / str(seed), seed).state_dict() for seed in (1, 2))
    (tmp_path / "1" / f"{NAME}.json").unlink()  # what came before is told by what came after
    ends = ("--before", tmp_path / "1", "--after", tmp_path / "2", "--share", 0.25)
    _run(monkeypatch, *ends, "--only", NAME, "--out", tmp_path / "mixed")
    mixed = torch.load(tmp_path / "mixed" / f"{NAME}.pt", weights_only=True)
    for name, value in mixed.items():
        if value.is_floating_point():
            assert torch.allclose(value, 0.75 * one[name] + 0.25 * two[name], atol=1e-6)
    assert json.loads((tmp_path / "mixed" / f"{NAME}.json").read_text("utf-8"))["share"] == 0.25


@pytest.mark.parametrize("given", [["--before", "a"], ["--mean", "a"], []])
def test_one_folder_alone_is_refused(given: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(SystemExit):
        _run(monkeypatch, *given, "--only", NAME, "--out", "b")


def test_two_designs_have_no_mean() -> None:
    weights = judge_of(NAME).state_dict()
    with pytest.raises(ValueError, match="one design"):
        blend.mean_of([weights, {**weights, "more": torch.zeros(1)}])
