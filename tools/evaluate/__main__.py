"""Print what the eye is worth, and write it into the model card.

python -m tools.evaluate --looks looks/*.jsonl.gz --numbers numbers.jsonl.gz --card models/CARD.md
python -m tools.evaluate --looks new.jsonl.gz --former old.jsonl.gz --changed side_linkage
python -m tools.evaluate --photos DIR --card models/CARD.md

Looks at spoilt pictures (tools.look --corrupt) are compared with the unspoilt ones among
the same files. Numbers are those that tools.evaluate.numbers kept of the same pictures.
Looks by the networks before (--former) count for all but what has changed since; of a picture
that was looked at again, the new look alone counts. Both options may be given once more for the
networks before these, and so on, the newest first, with all that has changed since each. Exits
with 1 where --strict is given and a target is missed.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from tools.evaluate.ablations import ablation_table, read_ablations
from tools.evaluate.card import refresh
from tools.evaluate.numbers import read_numbers
from tools.evaluate.report import Report, report_looks, report_photos
from tools.former import add_options, check_options, with_former
from tools.looks import Look, read_looks
from vision.network import load_networks


def fitted_on_these(looks: Sequence[Look], fusion: Mapping[str, Any]) -> list[str]:
    """Scenes, by their series, that the coefficients were fitted on: they would flatter."""
    used = fusion.get("fitted", {}).get("series", {})
    told = []
    for series, (first, last) in used.items():
        if any(look.name.series == series and first <= look.name.number <= last for look in looks):
            told.append(f"{series}, scenes {first} to {last}")
    return told


def training_table(models: Path) -> str:
    """How long each shipped network was trained and on how much, from its own metadata."""
    loaded = load_networks(models)
    lines = ["| network | version | training |", "|---|---|---|"]
    for name, network in loaded.networks.items():
        words = network.metadata.get("training") or "not recorded"
        lines.append(f"| `{name}` | {network.metadata['version']} | {words} |")
    return "\n".join(lines)


def main() -> None:
    """Parse the arguments and report."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--looks", type=Path, nargs="+", default=[], metavar="FILE")
    add_options(parser)
    parser.add_argument("--numbers", type=Path, nargs="+", default=[], metavar="FILE")
    parser.add_argument("--photos", type=Path, metavar="DIR", help="labelled photographs")
    parser.add_argument(
        "--ablations",
        type=Path,
        nargs="+",
        default=[],
        metavar="FILE",
        help="of tools.train.ablate",
    )
    parser.add_argument("--models", type=Path, default=Path("models"))
    parser.add_argument("--fusion", type=Path, help="default: fusion.json in --models")
    parser.add_argument("--card", type=Path, help="refresh the marked blocks of this file")
    parser.add_argument("--strict", action="store_true", help="exit with 1 on a missed target")
    arguments = parser.parse_args()
    if not (arguments.looks or arguments.photos or arguments.ablations):
        parser.error("--looks FILE..., --photos DIR or --ablations FILE")
    check_options(parser, arguments)
    path = arguments.fusion or arguments.models / "fusion.json"
    fusion = json.loads(path.read_text(encoding="utf-8"))
    renders, photographs = Report(), Report()
    if arguments.looks:
        looks = with_former(read_looks(arguments.looks), arguments.former, arguments.changed)
        if used := fitted_on_these(looks, fusion):
            parser.error(f"the coefficients were fitted on {'; '.join(used)}; take other looks")
        numbers = read_numbers(arguments.numbers)
        pictures = arguments.card and arguments.card.parent
        report_looks(looks, fusion, renders, numbers=numbers, pictures=pictures)
    if arguments.photos is not None:
        report_photos(arguments.photos, arguments.models, fusion, photographs)
    if arguments.card is not None:
        training = {"training": training_table(arguments.models)}
        if arguments.ablations:
            training["ablations"] = ablation_table(read_ablations(arguments.ablations))
        for blocks in (renders.blocks, photographs.blocks, training):
            refresh(arguments.card, blocks)
    if not arguments.looks and arguments.photos is None:
        return
    missed = renders.missed + photographs.missed
    print("\n".join(["Targets missed:", *(f"- {m}" for m in missed or ["none"])]))
    if arguments.strict and missed:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
