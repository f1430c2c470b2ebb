"""The tables of a run, printed as they are made and kept for the card."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from tools.evaluate import answered, drawings, groups, named, photos, pixels
from tools.evaluate.dated import date_all
from tools.evaluate.engines import engine_rows
from tools.evaluate.mixed import mixed_rows
from tools.evaluate.numbers import number_rows
from tools.evaluate.pairs import corruption_rows, pair_rows
from tools.evaluate.passed import passed_rows
from tools.evaluate.readings import cue_rows, readings, together
from tools.evaluate.rows import Row, missed, table
from tools.evaluate.summary import NOTE as SUMMARY_NOTE
from tools.evaluate.summary import summary
from tools.evaluate.targets import TARGETS, Target
from tools.looks import Judged, Look, judge
from vision.guide import builtin_names, load_guide
from vision.records import BINARY_CUES, Cue

INDEPENDENT = (
    "Intervals take pictures as independent; views of one scene are not, so that the true "
    "ones are wider."
)
SUMMARY = "summary"


class Report:
    """Collects the tables of a run.

    Attributes
    ----------
    blocks : dict of str to str
        What each block of the card is to hold, in the card's order.
    missed : list of str
        Figures whose target was missed or could not be measured.
    held_against : dict of str to list
        For each set of renders its rows that have a target.
    """

    def __init__(self) -> None:
        self.blocks: dict[str, str] = {}
        self.missed: list[str] = []
        self.held_against: dict[str, list[tuple[Row, Target]]] = {}

    def add(
        self, name: str, title: str, rows: Sequence[Row], *, targets: str, of: str = ""
    ) -> None:
        """Print a table and keep it in the block `name`; `of` names the renders it is of."""
        limits = TARGETS.get(targets, {})
        self.text(name, f"### {title}\n\n{table(rows, limits)}\n\n{INDEPENDENT}")
        self.missed += [f"{title}: {row.figure}" for row in missed(rows, limits)]
        if of:
            kept = self.held_against.setdefault(of, [])
            kept += [(row, limits[row.key]) for row in rows if row.key in limits]

    def text(self, name: str, text: str) -> None:
        """Print a text and add it to the block `name`."""
        print(text, end="\n\n")
        self.blocks[name] = f"{self.blocks[name]}\n\n{text}" if name in self.blocks else text


def split_rows(judged: Sequence[Judged], fusion: Mapping[str, Any]) -> list[Row]:
    """All rows of one split."""
    engines = engine_rows(judged, fusion["locate"])
    return [*engines, *passed_rows(judged), *cue_rows(judged), *pair_rows(judged)]


def report_looks(
    looks: Sequence[Look],
    fusion: Mapping[str, Any],
    report: Report,
    *,
    numbers: Mapping[str, Cue] | None = None,
    pictures: Path | None = None,
) -> None:
    """Tables of every split, then of every corruption, and all targets before them.

    Parameters
    ----------
    looks : sequence of Look
    fusion : mapping
    report : Report
    numbers : mapping of file name to Cue, optional
        From `read_numbers`.
    pictures : Path, optional
        Folder of the card, for the curves.
    """
    report.blocks[SUMMARY] = ""
    judged = [judge(look, fusion) for look in looks]
    clean = [j for j in judged if not j.look.corruption]
    for split in sorted({j.look.split for j in clean}):
        mine = [j for j in clean if j.look.split == split]
        title = f"Renders, {split} ({_series(mine)})"
        report.add(split, title, split_rows(mine, fusion), targets=split, of=split)
        if pictures is not None:
            report.blocks[f"curves_{split}"] = _draw(mine, split, pictures)
        report.text(f"where_{split}", _where(mine, title))
        if any(j.look.label.get("variation") for j in mine):
            _report_named(mine, numbers or {}, report, split)
    _report_corruptions(clean, judged, report)
    text = f"### Targets on renders\n\n{summary(report.held_against)}\n\n{SUMMARY_NOTE}"
    print(text, end="\n\n")
    report.blocks[SUMMARY] = text


def _series(judged: Sequence[Judged]) -> str:
    return ", ".join(sorted({j.look.name.series for j in judged}))


def _where(judged: Sequence[Judged], title: str) -> str:
    """Where the eye stops, and how it fares by room, family and hardship."""
    parts = [
        f"### {title}: by pixels",
        pixels.by_length(judged),
        pixels.by_width(judged),
        pixels.NOTE,
        f"### {title}: by renderer, room, family and condition",
        groups.by_renderer(judged),
        groups.by_room(judged),
        groups.by_family(judged),
        groups.by_hardship(judged),
        groups.NOTE,
    ]
    return "\n\n".join(parts)


def _report_named(
    judged: Sequence[Judged], numbers: Mapping[str, Cue], report: Report, split: str
) -> None:
    """Variations named right, for all guides together and for each."""
    block = f"named_{split}"
    dated = date_all(judged, numbers)
    engines = [d.judged for d in dated]
    title = f"Variations named, renders of the example guides ({_series(judged)})"
    report.add(block, title, named.named_rows(dated), targets="named", of=split)
    report.add(
        block,
        f"Cab numbers, renders of the example guides ({_series(judged)})",
        number_rows(engines, numbers),
        targets="named",
        of=split,
    )
    report.add(
        block,
        f"Photos put together, renders of the example guides ({_series(judged)})",
        mixed_rows(dated, numbers),
        targets="",
    )
    for guide in sorted({d.guide for d in dated}):
        mine = [d for d in dated if d.guide == guide]
        rows = [*named.named_rows(mine), *named.covering_rows(mine)]
        report.add(block, f"Variations named, {guide}", rows, targets="each_guide")
        of = [(row, TARGETS["each_guide"]["years"]) for row in rows if row.key == "years"]
        report.held_against[split] += of
        report.text(block, named.named_table(mine))
    report.text(block, named.NOTE)


def _report_corruptions(clean: Sequence[Judged], judged: Sequence[Judged], report: Report) -> None:
    """One table of all kinds."""
    spoilt: dict[str, list[Judged]] = {}
    for j in judged:
        if j.look.corruption:
            spoilt.setdefault(j.look.corruption, []).append(j)
    if not spoilt:
        return
    rows = [row for kind in sorted(spoilt) for row in corruption_rows(clean, spoilt[kind])]
    series = _series([j for mine in spoilt.values() for j in mine])
    title = f"Spoilt renders ({series})"
    report.add("corruptions", title, rows, targets="corrupted", of=f"spoilt {series}")


def _draw(judged: Sequence[Judged], split: str, folder: Path) -> str:
    parts = {cue: readings(judged, cue) for cue in BINARY_CUES}
    names = (f"reliability_{split}.png", f"risk_coverage_{split}.png")
    drawings.reliability_diagram(parts, folder / names[0])
    parts |= {"all cues": together(list(parts.values()))}
    drawings.risk_coverage_curves(parts, folder / names[1])
    captions = (f"Reliability, {split}", f"Risk and coverage, {split}")
    return "\n".join(f"![{c}]({n})" for c, n in zip(captions, names, strict=True))


def report_photos(folder: Path, models: Path, fusion: Mapping[str, Any], report: Report) -> None:
    """Tables of real photographs, their targets first. Only here does a network run."""
    from tools.look import look, read_labels
    from vision.network import load_networks
    from vision.pipeline.item import NetworkEye

    networks = replace(load_networks(models), fusion=fusion)
    labels = read_labels(folder)
    looks = photos.look_at_photos(folder, labels, lambda path: look(path, networks))
    guides = [load_guide(name) for name in builtin_names()]
    answers = answered.date_photos(folder, labels, NetworkEye(networks), guides)
    tables_of_photos(photos.judge_photos(looks, fusion), answers, report)


def tables_of_photos(
    by_subject: Mapping[str, Sequence[Judged]],
    answers: Mapping[str, answered.Answers],
    report: Report,
) -> None:
    """The tables of photographs, all of them first, then by subject.

    Parameters
    ----------
    by_subject : mapping of str to sequence of Judged
        From `photos.judge_photos`.
    answers : mapping of file name to the answers with each guide
    report : Report
    """
    every = by_subject[photos.ALL]
    rows = photos.photo_rows(every, answers)
    targets = TARGETS["photos"]
    held = [(row, targets[row.key]) for row in rows if row.key in targets]
    text = summary({photos.ALL: held}, of="photographs")
    report.text("photos", f"### Targets on real photographs\n\n{text}\n\n{answered.NOTE}")
    for name, mine in by_subject.items():
        limits = "photos" if name == photos.ALL else ""
        title = f"Real photographs, {name} (n = {len(mine)})"
        report.add("photos", title, photos.photo_rows(mine, answers), targets=limits)
        report.text("photos", photos.confusion(mine))
    for m in answered.mistakes(every, answers):
        print(
            f"{m.file}: {m.cue} is {m.truth}, stated {m.stated} at {m.confidence:.3f} "
            f"with {', '.join(m.guides)}"
        )
