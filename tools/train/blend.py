"""Weights between those before and those after more training, and means of several trainings'.

python -m tools.train.blend --before DIR --after DIR --out DIR --only boiler_top
python -m tools.train.blend --mean DIR DIR DIR --out DIR --only loupe

A network that is trained on with a few engines more comes to know those by heart and loses
some of what it knew; half way it keeps most of both (Wortsman et al. 2022, "Robust
fine-tuning of zero-shot models", which found a half good without choosing). The mean of
several trainings that began alike often errs less than any of them, at the cost of one
(Wortsman et al. 2022, "Model soups").
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import torch
from torch import Tensor


def between(
    before: Mapping[str, Tensor], after: Mapping[str, Tensor], share: float
) -> dict[str, Tensor]:
    """The weights `share` of the way from `before` to `after`; counters as after.

    Raises
    ------
    ValueError
        The two are not of one design.
    """
    if {k: v.shape for k, v in before.items()} != {k: v.shape for k, v in after.items()}:
        raise ValueError("weights of one design expected, got two")
    return {
        name: torch.lerp(before[name].float(), new.float(), share)
        if new.is_floating_point()
        else new
        for name, new in after.items()
    }


def mean_of(weights: Sequence[Mapping[str, Tensor]]) -> dict[str, Tensor]:
    """The mean of weights of one design; counters as in the last.

    Raises
    ------
    ValueError
        They are not of one design.
    """
    mean = dict(weights[0])
    for count, more in enumerate(weights[1:], start=2):
        mean = between(mean, more, 1.0 / count)
    return mean


def main() -> None:
    """Blend networks and keep where they come from."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--before", type=Path)
    parser.add_argument("--after", type=Path)
    parser.add_argument("--share", type=float, default=0.5)
    parser.add_argument("--mean", type=Path, nargs="+", help="instead: of all of these")
    parser.add_argument("--only", nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    folders = options.mean or [options.before, options.after]
    if len(folders) < 2 or None in folders:
        parser.error("--before and --after, or several folders after --mean, expected")
    options.out.mkdir(parents=True, exist_ok=True)
    for name in options.only:
        weights = [
            torch.load(folder / f"{name}.pt", map_location="cpu", weights_only=True)
            for folder in folders
        ]
        if options.mean:
            mixed = mean_of(weights)
            report = {"mean_of": [_report(folder, name) for folder in folders]}
        else:
            mixed = between(weights[0], weights[1], options.share)
            report = _report(options.after, name) | {"share": options.share}
        torch.save(mixed, options.out / f"{name}.pt")
        (options.out / f"{name}.json").write_text(json.dumps(report), encoding="utf-8")


def _report(folder: Path, name: str) -> dict[str, Any]:
    return dict(json.loads((folder / f"{name}.json").read_text("utf-8")))


if __name__ == "__main__":
    main()
