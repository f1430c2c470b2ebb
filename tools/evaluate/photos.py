"""The real eye over real photographs with hand-made labels, apart from all renders."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from tools.evaluate.answered import Answers, bold_row, year_rows
from tools.evaluate.rows import Row, markdown, share
from tools.looks import Judged, Look, judge
from vision.records import BINARY_CUES, TelltaleError

# Looks at one picture and returns what `tools.look` calls "seen".
Looker = Callable[[Path], Mapping[str, Any]]
ALL = "all photographs"


def look_at_photos(folder: Path, labels: Sequence[Mapping[str, Any]], looker: Looker) -> list[Look]:
    """Look at every labelled photograph; one that cannot be read is recorded as unseen."""
    looks = []
    for label in labels:
        file = str(label["file"])
        try:
            seen = looker(folder / file)
        except TelltaleError as error:
            seen = {"error": str(error)}
        looks.append(Look(file, as_rendered(label), seen, ""))
    return looks


def as_rendered(label: Mapping[str, Any]) -> dict[str, Any]:
    """A photograph's label with the names that a render's label has.

    "kind" says model or full size there; it is kept as "subject".
    """
    engine = label.get("locomotive") is not None
    cues = {
        cue: {"state": label[cue], "visible": label[cue] != "unseen"}
        for cue in BINARY_CUES
        if cue in label
    }
    return dict(label) | {
        "subject": label.get("kind", "unnamed"),
        "kind": "locomotive" if engine else "empty",
        "locomotive_share": 1.0 if label.get("whole") else 0.0,
        "cues": cues,
        "split": "photos",
    }


def photo_rows(judged: Sequence[Judged], answers: Mapping[str, Answers]) -> list[Row]:
    """Figures on photographs; several may show one engine, so that n flatters.

    Parameters
    ----------
    judged : sequence of Judged
        Without a guide.
    answers : mapping of file name to the answers with each guide
        From `date_photos`.
    """
    engines = [j for j in judged if j.look.has_engine]
    whole = [j for j in engines if j.look.label.get("whole")]
    empty = [j for j in judged if not j.look.has_engine]
    found = [j for j in engines if j.found]
    heads = [j.look.seen["faces"] == j.look.label["faces"] for j in found]
    rows = [
        share("engine found, IoU ≥ 0.5, of whole engines", [j.found for j in whole], "found"),
        share("engine found, IoU ≥ 0.5, of all engines", [j.found for j in engines]),
        share("engine stated, box or not, of all engines", [j.stated for j in engines]),
        share("false finds, of photographs without an engine", [j.stated for j in empty]),
        share("heading right, of engines found", heads),
    ]
    for cue in BINARY_CUES:
        kept = [j for j in found if j.look.label["cues"].get(cue, {}).get("visible")]
        spoken = [j.cues[cue].state != "unseen" for j in kept]
        stated = [j for j, said in zip(kept, spoken, strict=True) if said]
        right = [j.cues[cue].state == j.look.label["cues"][cue]["state"] for j in stated]
        rows += [
            share(f"{cue}: right, of those stated", right),
            share(
                f"{cue}: stated, of those visible", [j.cues[cue].state != "unseen" for j in kept]
            ),
        ]
    return [*rows, bold_row(judged, answers), *year_rows(judged, answers)]


def _scored(judged: Judged) -> dict[str, str]:
    """True states of the cues that the labeller could tell, where the eye states an engine."""
    if not judged.stated:
        return {}
    cues = judged.look.label["cues"]
    return {cue: truth["state"] for cue, truth in cues.items() if truth["visible"]}


def confusion(judged: Sequence[Judged]) -> str:
    """What was stated against what is there, as a table of counts."""
    counts: Counter[tuple[str, str, str]] = Counter()
    for j in judged:
        for cue, truth in _scored(j).items():
            counts[cue, truth, str(j.cues[cue].state)] += 1
    stated = ("present", "absent", "unseen")
    rows = [
        (cue, truth, *(str(counts[cue, truth, state]) for state in stated))
        for cue in BINARY_CUES
        for truth in ("present", "absent")
    ]
    return markdown(("cue", "truth", *(f"stated {s}" for s in stated)), rows)


def judge_photos(looks: Sequence[Look], fusion: Mapping[str, Any]) -> dict[str, list[Judged]]:
    """Judged photographs: all of them, then those of each subject."""
    judged = [judge(look, fusion) for look in looks]
    groups = {ALL: judged}
    for subject in sorted({str(j.look.label["subject"]) for j in judged}):
        groups[subject] = [j for j in judged if j.look.label["subject"] == subject]
    return groups
