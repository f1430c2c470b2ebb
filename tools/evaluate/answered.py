"""Real photographs as `telltale date` answers them, once with each guide that comes with it.

The guide matters to what is stated of a photo, not only to the years: it says where the
lever is looked for.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tools.evaluate.passed import narrowed
from tools.evaluate.readings import BOLD
from tools.evaluate.rows import Row, share
from tools.looks import Judged
from vision.guide import Guide
from vision.guide.whyte import driving_axles
from vision.photo import open_photo
from vision.pipeline.item import Eye, Seen, date_seen
from vision.pipeline.item import told as told_places
from vision.pipeline.views import agree
from vision.pipeline.witnesses import witnesses
from vision.records import DRIVING, ILLEGIBLE, Answer, Cue, State, TelltaleError

# Read by eye where the labels have them; null where they could not be.
VALUED = (DRIVING, "tender_axles", "cab_number")
MODEL = "model"
NOTE = (
    "Cues stated wrongly, and years, are those of `telltale date` with each guide that comes "
    "with it: wrong with one of them is wrong, and the last column says with which. All other "
    "rows, and what was stated against what is there, are without a guide."
)
# Answers to one photo, by the name of the guide.
Answers = Mapping[str, Answer]


@dataclass(frozen=True, slots=True)
class Mistake:
    """A cue stated wrongly with confidence; `file` is for the terminal alone.

    Attributes
    ----------
    file, cue, truth : str
    stated : str
        As with the guide with which it is stated most surely.
    confidence : float
        The same.
    guides : tuple of str
        All with which it is stated wrongly with confidence.
    """

    file: str
    cue: str
    truth: str
    stated: str
    confidence: float
    guides: tuple[str, ...]


def date_photos(
    folder: Path, labels: Sequence[Mapping[str, Any]], eye: Eye, guides: Sequence[Guide]
) -> dict[str, Answers]:
    """Date each labelled photograph alone with each guide; one look for all guides.

    Parameters
    ----------
    folder : Path
    labels : sequence of mapping
        "file" is the photo's name within the folder.
    eye : Eye
    guides : sequence of Guide

    Returns
    -------
    dict of str to mapping
        By file. Photos that cannot be read are left out.
    """
    answers: dict[str, Answers] = {}
    eye = told_places(eye, *(guide.lever_at for guide in guides))
    for label in labels:
        file = str(label["file"])
        try:
            photo = open_photo(folder / file)
            sighting, cues = eye.look(photo)
        except TelltaleError:
            continue
        seen = Seen((sighting,), (cues,), witnesses([photo], [sighting]))
        answers[file] = {
            guide.name: date_seen([photo], seen, guide, model=eye.version) for guide in guides
        }
    return answers


def bold_row(judged: Sequence[Judged], answers: Mapping[str, Answers]) -> Row:
    """Cues of photographs stated wrongly with confidence, with any guide.

    n counts the cues that the labeller could tell, of photographs of which an engine is
    stated.
    """
    scored = sum(len(_scored(j, answers)) for j in judged)
    wrong = mistakes(judged, answers)
    return Row(
        f"cues stated wrongly with confidence ≥ {BOLD}",
        # No wrong state among none judged would be no merit.
        float(len(wrong)) if scored else math.nan,
        scored,
        "bold_and_wrong",
        style="count",
        which=_counted(f"{m.cue} ({', '.join(m.guides)})" for m in wrong),
    )


def mistakes(judged: Sequence[Judged], answers: Mapping[str, Answers]) -> list[Mistake]:
    """Every wrong state or value of confidence `BOLD` or more, wherever the engine was boxed."""
    out = []
    for j in judged:
        for cue, truth in _scored(j, answers).items():
            told = {name: _cue(answer, cue) for name, answer in answers[j.look.file].items()}
            wrong = {
                name: said
                for name, said in told.items()
                if said is not None and said.confidence >= BOLD and not _agrees(said, truth)
            }
            if wrong:
                worst = max(wrong.values(), key=lambda said: said.confidence)
                stated = worst.value or worst.state.value
                out.append(Mistake(j.look.file, cue, truth, stated, worst.confidence, tuple(wrong)))
    return out


def year_rows(judged: Sequence[Judged], answers: Mapping[str, Answers]) -> list[Row]:
    """How often years are told of what no guide that comes with telltale is of.

    Photographs of full-size engines, drawings and the like apart from those of models; those
    whose label does not say which are left out.
    """
    known = [j for j in judged if j.look.label.get("subject", "unnamed") != "unnamed"]
    models = [j for j in known if j.look.label["subject"] == MODEL]
    others = [j for j in known if j.look.label["subject"] != MODEL]
    words = f"years narrowed down, confidence ≥ {BOLD}"
    return [
        _year_row(f"{words}: of photographs of no model", others, answers),
        _year_row(f"{words}: of photographs of models, none of a guide", models, answers),
    ]


def _year_row(figure: str, judged: Sequence[Judged], answers: Mapping[str, Answers]) -> Row:
    named = [_naming(answers.get(j.look.file, {})) for j in judged]
    which = _counted(name for names in named for name in names)
    return share(figure, [bool(names) for names in named], which=which)


def _naming(answers: Answers) -> list[str]:
    """Guides with which a photo is told fewer years than all, with confidence."""
    return [
        name
        for name, answer in answers.items()
        if answer.estimate is not None
        and narrowed(answer.estimate)
        and answer.estimate.confidence >= BOLD
    ]


def _scored(judged: Judged, answers: Mapping[str, Answers]) -> dict[str, str]:
    """True states and values that the labeller could tell, where an engine is stated."""
    told = answers.get(judged.look.file, {})
    if not any(answer.cues for answer in told.values()):
        return {}
    label = judged.look.label
    states = {cue: truth["state"] for cue, truth in label["cues"].items() if truth["visible"]}
    label = {DRIVING: driving_axles(label["wheels"])} | label if label.get("wheels") else label
    return states | {cue: str(label[cue]) for cue in VALUED if label.get(cue) is not None}


def _cue(answer: Answer, name: str) -> Cue | None:
    return next((cue for cue in answer.cues if cue.name == name), None)


def _agrees(said: Cue, truth: str) -> bool:
    """Whether a cue says nothing, or the truth; a figure left open may be any."""
    if said.state is State.UNSEEN:
        return True
    if said.value is None or said.name not in VALUED:
        return said.state.value == truth
    return agree(said.value, truth) if ILLEGIBLE in said.value else said.value == truth


def _counted(words: Iterable[str]) -> str:
    """Each once, with how often where it is more than once."""
    counts = Counter(words).items()
    return "; ".join(word if n == 1 else f"{word} x {n}" for word, n in sorted(counts))
