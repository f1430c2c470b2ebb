"""Print what the eye is worth, and write it into the model card.

python -m tools.evaluate --looks looks/*.jsonl.gz --card models/CARD.md
python -m tools.evaluate --photos DIR --card models/CARD.md

Looks at spoilt pictures (tools.look --corrupt) are compared with the unspoilt ones among
the same files. Exits with 1 where --strict is given and a target is missed.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from tools.evaluate import drawings, photos
from tools.evaluate.card import refresh
from tools.evaluate.dated import years_rows
from tools.evaluate.engines import engine_rows
from tools.evaluate.pairs import corruption_rows, pair_rows
from tools.evaluate.readings import cue_rows, readings, together
from tools.evaluate.rows import Row, missed, table
from tools.evaluate.targets import TARGETS, Target
from tools.looks import Judged, Look, judge, read_looks
from vision.network import load_networks
from vision.records import BINARY_CUES

_NOTE = (
    "Intervals take pictures as independent; views of one scene are not, so that the true "
    "ones are wider."
)


def split_rows(judged: Sequence[Judged], fusion: Mapping[str, Any]) -> list[Row]:
    """All rows of one split."""
    rows = [*engine_rows(judged, fusion["locate"]), *cue_rows(judged), *pair_rows(judged)]
    if any(j.look.label.get("variation") for j in judged):
        rows += years_rows(judged)
    return rows


def fitted_on_these(looks: Sequence[Look], fusion: Mapping[str, Any]) -> list[str]:
    """Series that the coefficients were fitted on: figures on them would flatter."""
    used = set(fusion.get("fitted", {}).get("series", ()))
    return sorted(used & {look.series for look in looks})


class Report:
    """Collects the tables of a run: printed at once, kept for the card."""

    def __init__(self) -> None:
        self.blocks: dict[str, str] = {}
        self.missed: list[str] = []

    def add(self, name: str, title: str, rows: Sequence[Row], targets: str) -> None:
        """Print a table and keep it as the block `name`."""
        wanted: dict[str, Target] = dict(TARGETS.get(targets, {}))
        text = f"### {title}\n\n{table(rows, wanted)}\n\n{_NOTE}"
        print(text, end="\n\n")
        self.blocks[name] = f"{self.blocks[name]}\n\n{text}" if name in self.blocks else text
        self.missed += [f"{title}: {row.figure}" for row in missed(rows, wanted)]


def report_looks(
    looks: Sequence[Look], fusion: Mapping[str, Any], report: Report, pictures: Path | None
) -> None:
    """Tables of every split, then of every corruption; curves beside the card."""
    judged = [judge(look, fusion) for look in looks]
    clean = [j for j in judged if not j.look.corruption]
    for split in sorted({j.look.split for j in clean}):
        mine = [j for j in clean if j.look.split == split]
        series = ", ".join(sorted({j.look.series for j in mine}))
        report.add(split, f"Renders, {split} ({series})", split_rows(mine, fusion), split)
        if pictures is not None:
            report.blocks[f"curves_{split}"] = _draw(mine, split, pictures)
    for kind in sorted({j.look.corruption for j in judged if j.look.corruption}):
        spoilt = [j for j in judged if j.look.corruption == kind]
        rows = corruption_rows(clean, spoilt)
        report.add("corruptions", f"Spoilt renders, {kind}", rows, "corrupted")


def _draw(judged: Sequence[Judged], split: str, folder: Path) -> str:
    parts = {cue: readings(judged, cue) for cue in BINARY_CUES}
    names = (f"reliability_{split}.png", f"risk_coverage_{split}.png")
    drawings.reliability_diagram(parts, folder / names[0])
    parts |= {"all cues": together(list(parts.values()))}
    drawings.risk_coverage_curves(parts, folder / names[1])
    captions = (f"Reliability, {split}", f"Risk and coverage, {split}")
    return "\n".join(f"![{c}]({n})" for c, n in zip(captions, names, strict=True))


def report_photos(folder: Path, models: Path, fusion: Mapping[str, Any], report: Report) -> None:
    """Tables of real photographs. Only here does a network run."""
    from tools.look import look, read_labels
    from vision.network import load_networks

    networks = load_networks(models)
    looks = photos.look_at_photos(folder, read_labels(folder), lambda path: look(path, networks))
    groups = photos.judge_photos(looks, fusion)
    for name, judged in groups.items():
        targets = "photos" if name == "all photographs" else ""
        title = f"Real photographs, {name} (n = {len(judged)})"
        report.add("photos", title, photos.photo_rows(judged), targets)
        text = photos.confusion(judged)
        print(text, end="\n\n")
        report.blocks["photos"] += f"\n\n{text}"
    for m in photos.mistakes(groups["all photographs"]):
        print(f"{m.file}: {m.cue} is {m.truth}, stated {m.stated} at {m.confidence:.3f}")


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
    parser.add_argument("--photos", type=Path, metavar="DIR", help="labelled photographs")
    parser.add_argument("--models", type=Path, default=Path("models"))
    parser.add_argument("--fusion", type=Path, help="default: fusion.json in --models")
    parser.add_argument("--card", type=Path, help="refresh the marked blocks of this file")
    parser.add_argument("--strict", action="store_true", help="exit with 1 on a missed target")
    arguments = parser.parse_args()
    if not arguments.looks and arguments.photos is None:
        parser.error("--looks FILE... or --photos DIR")
    path = arguments.fusion or arguments.models / "fusion.json"
    fusion = json.loads(path.read_text(encoding="utf-8"))
    report = Report()
    if arguments.looks:
        looks = read_looks(arguments.looks)
        if used := fitted_on_these(looks, fusion):
            parser.error(f"the coefficients were fitted on {', '.join(used)}; take other looks")
        report_looks(looks, fusion, report, arguments.card and arguments.card.parent)
    if arguments.photos is not None:
        report_photos(arguments.photos, arguments.models, fusion, report)
    if arguments.card is not None:
        report.blocks["training"] = training_table(arguments.models)
        refresh(arguments.card, report.blocks)
    print("\n".join(["Targets missed:", *(f"- {m}" for m in report.missed or ["none"])]))
    if arguments.strict and report.missed:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
