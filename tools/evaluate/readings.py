"""Figures on each cue: right, sure, and silent where nothing can be seen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tools import metrics
from tools.evaluate.rows import Row, share
from tools.looks import Judged, clearly_unseen, glimpsed, shows
from vision.pipeline.placing import LEVER
from vision.records import BINARY_CUES, State

# From this confidence on a wrong state counts as stated with confidence.
BOLD = 0.9
_SEED = 15  # of the resampling that says what chance alone does to the calibration error


@dataclass(frozen=True, slots=True)
class Readings:
    """One cue where the label says it can be seen, on engines found. Shape (n,) each.

    Attributes
    ----------
    present : ndarray of bool
        The truth.
    p : ndarray of float
        Probability that the part is present; 0.5 where the eye gave none. At even odds
        beforehand, as the eye states it.
    p_here : ndarray of float
        The same where as many have the part as in this sample: what its calibration is
        measured on.
    predicted : ndarray of bool
        p >= 0.5; the wrong state where the eye gave none.
    state : ndarray of str
    """

    present: NDArray[np.bool_]
    p: NDArray[np.float64]
    p_here: NDArray[np.float64]
    predicted: NDArray[np.bool_]
    state: NDArray[np.str_]

    @property
    def wrong(self) -> NDArray[np.bool_]:
        return self.predicted != self.present

    @property
    def sureness(self) -> NDArray[np.float64]:
        return np.maximum(self.p, 1 - self.p)


def readings(judged: Sequence[Judged], cue: str) -> Readings:
    """Collect the readings of one cue where the label says it can be seen."""
    return readings_of([j for j in judged if j.found and shows(j.look, cue)], cue)


def readings_of(kept: Sequence[Judged], cue: str) -> Readings:
    """The readings of one cue in exactly these pictures, each with an engine found."""
    present = np.array([j.look.label["cues"][cue]["state"] == "present" for j in kept], bool)
    given = [j.cues[cue].p_present for j in kept]
    p = np.array([0.5 if v is None else v for v in given], dtype=np.float64)
    none = np.array([v is None for v in given], dtype=bool)
    predicted = np.where(none, ~present, p >= 0.5).astype(bool)
    state = np.array([str(j.cues[cue].state) for j in kept], dtype=np.str_)
    here = metrics.at_share(p, float(present.mean())) if len(p) else p
    return Readings(present, p, here, predicted, state)


def together(parts: Sequence[Readings]) -> Readings:
    """All cues in one."""
    columns = ("present", "p", "p_here", "predicted", "state")
    return Readings(*(np.concatenate([getattr(r, c) for r in parts]) for c in columns))


def cue_rows(judged: Sequence[Judged]) -> list[Row]:
    """Rows of each cue, then of all cues together."""
    each = {cue: readings(judged, cue) for cue in BINARY_CUES}
    rows = []
    for cue, found in each.items():
        stated = found.state != "unseen"
        if cue == LEVER:
            rows += _anywhere_rows(judged)
        rows += [
            _balanced(f"{cue}: balanced accuracy, p ≥ 0.5", found, key="balanced_accuracy"),
            _balanced(f"{cue}: balanced accuracy of stated states", _part(found, stated)),
            share(f"{cue}: UNSEEN though visible", ~stated),
            *_sureness_rows(cue, found),
            *unseen_rows(judged, cue),
        ]
    pooled = together(list(each.values()))
    hidden = [hit for cue in BINARY_CUES for hit in _stated_unseen(judged, cue, "")]
    return [
        *rows,
        *_sureness_rows("all cues", pooled),
        share("all cues: stated though not visible", hidden, "stated_unseen"),
    ]


def _anywhere_rows(judged: Sequence[Judged]) -> list[Row]:
    """The lever where no guide tells its place, and where one tells a wrong one.

    The second is an engine of another casting than the guide's.
    """
    known = [j for j in judged if j.found and j.anywhere is not None and j.misled is not None]
    untold = [replace(j, cues={**j.cues, LEVER: j.anywhere}) for j in known]
    misled = [replace(j, cues={**j.cues, LEVER: j.misled}) for j in known]
    found = readings(untold, LEVER)
    astray = readings(misled, LEVER)
    stated = astray.state != "unseen"
    name = f"{LEVER}, its place untold"
    return [
        _balanced(f"{LEVER}, told a wrong place: balanced accuracy, p ≥ 0.5", astray),
        share(f"{LEVER}, told a wrong place: wrong, of those stated", astray.wrong[stated]),
        _balanced(f"{name}: balanced accuracy, p ≥ 0.5", found),
        share(f"{name}: UNSEEN though visible", found.state == "unseen"),
        share(f"{name}: stated though not visible", _stated_unseen(untold, LEVER, "")),
    ]


def _part(found: Readings, keep: NDArray[np.bool_]) -> Readings:
    columns = (found.present, found.p, found.p_here, found.predicted, found.state)
    return Readings(*(column[keep] for column in columns))


def _balanced(figure: str, found: Readings, key: str = "") -> Row:
    value = metrics.balanced_accuracy(found.present, found.predicted)
    ends = metrics.balanced_accuracy_interval(found.present, found.predicted)
    if math.isnan(value):
        return Row(figure, value, len(found.p), key)
    return Row(figure, value, len(found.p), key, ends)


def _sureness_rows(name: str, found: Readings) -> list[Row]:
    """Calibration and risk where the part can be seen."""
    n = len(found.p)
    error = metrics.expected_calibration_error(found.p_here, found.present)
    noise = metrics.calibration_noise(np.random.default_rng(_SEED), found.p_here)
    note = f"chance alone gives up to {noise:.4f}" if n else ""
    top = metrics.expected_calibration_error(found.sureness, ~found.wrong)
    covered = metrics.covered(n, 0.8)
    risk = metrics.selective_risk(found.sureness, found.wrong)
    ends = metrics.wilson_interval(round(risk * covered), covered) if n else None
    bold = found.sureness >= BOLD
    return [
        Row(
            f"{name}: calibration error of p, 15 equal-mass bins",
            error,
            n,
            "calibration",
            style="number",
            note=note,
        ),
        Row(f"{name}: calibration error of the confidence", top, n, style="number"),
        Row(f"{name}: selective risk at 80 % coverage", risk, n, "selective_risk", ends),
        Row(
            f"{name}: area under risk-coverage curve",
            metrics.area_under_risk_coverage(found.sureness, found.wrong),
            n,
            style="number",
        ),
        share(f"{name}: wrong, of those with confidence ≥ {BOLD}", found.wrong[bold]),
    ]


def unseen_rows(judged: Sequence[Judged], cue: str) -> list[Row]:
    """What is stated of a part that the label says cannot be seen.

    Strictly: any state counts, even the true one, wherever an engine is stated in a
    picture that holds one; of a lever of which something is seen only ABSENT. The last row
    leaves out the borderline cases.
    """
    wrong = [not right for right, state in _unseen(judged, cue) if state is not State.UNSEEN]
    clear = [s is not State.UNSEEN for _, s in _unseen(judged, cue, clearly=True)]
    return [
        share(
            f"{cue}: stated though not visible", _stated_unseen(judged, cue, ""), "stated_unseen"
        ),
        share(
            f"{cue}: ABSENT though not visible",
            _stated_unseen(judged, cue, "absent"),
            "absent_unseen",
        ),
        share(f"{cue}: PRESENT though not visible", _stated_unseen(judged, cue, "present")),
        share(f"{cue}: of those stated though not visible, wrong", wrong),
        share(f"{cue}: stated though clearly hidden or tiny", clear),
    ]


def _stated_unseen(judged: Sequence[Judged], cue: str, state: str) -> list[bool]:
    """Flags over unseen cues: that state was stated, or any where `state` is ""."""
    said = [s for _, s in _unseen(judged, cue)]
    return [s == state if state else s is not State.UNSEEN for s in said]


def _unseen(
    judged: Sequence[Judged], cue: str, *, clearly: bool = False
) -> list[tuple[bool, State]]:
    """Whether the state is the true one, and the state, of cues not visible."""
    out = []
    for j in judged:
        truth = j.look.label.get("cues", {}).get(cue)
        if not (j.stated and j.look.has_engine and truth) or truth["visible"]:
            continue
        if clearly and not clearly_unseen(j.look.label, cue):
            continue
        state = j.cues[cue].state
        if cue == LEVER and state is not State.ABSENT and glimpsed(j.look):
            continue
        out.append((state == truth["state"], state))
    return out
