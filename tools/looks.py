"""What `tools.look` wrote, read back: labels beside everything the eye saw.

Nothing here runs a network. The eye's thresholds and fitted coefficients are applied to
the stored evidence by the eye's own functions, so that the figures are those of the
shipped line.
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from tools.naming import Name, name_of
from vision.cues import Evidence, weigh, weigh_axles
from vision.cues.driving import DRIVING_AXLES, RODS
from vision.cues.evidence import ENOUGH_PX
from vision.cues.tender import TenderCounts, weigh_counts
from vision.guide import Guide, load_guide
from vision.guide.whyte import driving_axles

# The eye refuses narrower boxes; a look has to be refused by the very same limit.
from vision.locate.finder import MIN_WIDTH_PX
from vision.locate.poser import is_coupled
from vision.pipeline.placing import LEVER, placed
from vision.records import BINARY_CUES, DRIVING, REGION_OF_CUE, Box, Cue, NotFound

# A box that shares half of its union with the labelled one counts as found: the usual
# limit of object detection (M. Everingham et al., "The PASCAL Visual Object Classes
# Challenge", International Journal of Computer Vision 88, 2010, section 4.2).
FOUND_IOU = 0.5
# Share of an engine's surface in sight from which on it has to be found.
ENOUGH_IN_SIGHT = 0.6
# Below this share in sight, and this length in pixels, a region is clearly not to be seen:
# half of what the renderer's labels ask of a visible one. Between, people differ.
_HIDDEN_SHARE, _HIDDEN_LENGTH_PX = 0.3, 35.0
_GLIMPSED_PX = 6  # that stand out, from which a lever shows some of itself; chosen
RODS_IN_SIGHT = 0.75  # share of the rods from which on all their wheels show; chosen
_ASTRAY = 0.35  # of the boiler top's length, from the lever's place to one told wrongly


@dataclass(frozen=True, slots=True)
class Look:
    """One picture: its label and what the eye saw.

    Attributes
    ----------
    file : str
    label, seen : mapping
        As `tools.look` wrote them.
    corruption : str
        "kind at severity n" where the picture was spoilt first; else "".
    complete : bool
        Whether every network had its word; not of looks that `tools.former` cut down.
    """

    file: str
    label: Mapping[str, Any]
    seen: Mapping[str, Any]
    corruption: str
    complete: bool = True

    @property
    def name(self) -> Name:
        return name_of(self.file)

    @property
    def split(self) -> str:
        return str(self.label.get("split", "unnamed"))

    @property
    def has_engine(self) -> bool:
        return self.label.get("locomotive") is not None

    @property
    def must_find(self) -> bool:
        """Whether an engine shows enough of itself that it has to be found."""
        enough = float(self.label.get("locomotive_share", 0.0)) >= ENOUGH_IN_SIGHT
        return self.has_engine and self.label.get("kind") == "locomotive" and enough

    @property
    def overlap(self) -> float:
        """Intersection over union of the engine seen and the engine labelled."""
        return _overlap(self.seen.get("locomotive"), self.label.get("locomotive"))

    @property
    def tender_overlap(self) -> float:
        return _overlap(self.seen.get("tender"), self.label.get("tender"))


def _overlap(seen: Sequence[float] | None, true: Sequence[float] | None) -> float:
    if seen is None or true is None:
        return 0.0
    return Box(*seen).intersection_over_union(Box(*true))


def read_looks(paths: Iterable[Path]) -> list[Look]:
    """Every look of the files, in the order of the files.

    Raises
    ------
    ValueError
        No line at all, or a line that is no look.
    """
    looks = []
    for path in paths:
        with gzip.open(path, "rt", encoding="utf-8") as lines:
            looks += [_look(json.loads(line), path) for line in lines if line.strip()]
    if not looks:
        raise ValueError("looks: at least one line expected, got none")
    return looks


def _look(line: Mapping[str, Any], path: Path) -> Look:
    missing = {"file", "label", "seen"} - line.keys()
    if missing:
        raise ValueError(f"{path}: a look with {', '.join(sorted(missing))} expected")
    spoilt = line.get("corruption")
    return Look(
        file=line["file"],
        label=line["label"],
        seen=line["seen"],
        corruption=f"{spoilt['kind']} at severity {spoilt['severity']}" if spoilt else "",
    )


def spans_of(looks: Iterable[Look]) -> dict[str, list[int]]:
    """The lowest and the highest scene's number of each series."""
    numbers: dict[str, list[int]] = {}
    for look in looks:
        numbers.setdefault(look.name.series, []).append(look.name.number)
    return {series: [min(each), max(each)] for series, each in sorted(numbers.items())}


@dataclass(frozen=True, slots=True)
class Judged:
    """A look after the thresholds: what the shipped line says of the picture.

    Attributes
    ----------
    look : Look
    stated : bool
        The eye says that there is an engine.
    found : bool
        It says so, and its box shares at least `FOUND_IOU` with the labelled one.
    cues : mapping of str to Cue
        Empty where none is stated.
    anywhere : Cue or None
        The lever once more, as judged by whoever does not know where it would stand.
    misled : Cue or None
        And as judged by whoever is told a place where it never stands.
    """

    look: Look
    stated: bool
    found: bool
    cues: Mapping[str, Cue]
    anywhere: Cue | None = None
    misled: Cue | None = None


def judge(look: Look, fusion: Mapping[str, Any]) -> Judged:
    """Apply the thresholds and coefficients of `fusion.json` to one look."""
    stated = engine_stated(look.seen, fusion["locate"])
    cues: dict[str, Cue] = {}
    anywhere = misled = None
    if stated:
        cues = {name: weigh(evidence_of(look, name), fusion) for name in BINARY_CUES}
        anywhere = cues[LEVER]
        told = place_told(look.label)
        cues[LEVER] = placed(anywhere, NotFound(""), told)
        wrong = None if told is None else _astray(told)
        misled = placed(anywhere, NotFound(""), wrong)
        if axles_judged(look):
            cues[DRIVING] = weigh_axles(look.seen["cues"][RODS], None, fusion)
        cues |= _tender_cues(look, fusion)
    return Judged(look, stated, stated and look.overlap >= FOUND_IOU, cues, anywhere, misled)


def shows(look: Look, cue: str) -> bool:
    """Whether the label says that a cue can be seen; false of what nobody was asked for."""
    return bool(look.label.get("cues", {}).get(cue, {}).get("visible"))


def glimpsed(look: Look) -> bool:
    """Whether a lever that is there shows some of itself, too little to be judged by.

    Its boiler top being in sight. It is neither visible nor unseen: to say that it is there
    is no mistake.
    """
    lever, region = look.label["cues"][LEVER], REGION_OF_CUE[LEVER]
    open_ = look.label["visible"][region] >= ENOUGH_IN_SIGHT
    shows_some = lever.get("distinct_px", 0) >= _GLIMPSED_PX
    enough = lever["length_px"] >= ENOUGH_PX[region]
    return bool(open_ and enough and shows_some and not lever["visible"])


def axles_judged(look: Look) -> bool:
    """Whether the eye had a word on the driving axles; earlier networks had none."""
    return "axles_countable" in look.seen.get("cues", {}).get(RODS, {})


def axles_shown(look: Look) -> int | None:
    """The label's driving axles, where the picture shows them at the engine that was boxed.

    They are counted where nearly all of the rods is in sight and a linkage would be seen.
    """
    label = look.label
    if not label.get("wheels") or look.overlap < FOUND_IOU:
        return None
    open_ = label["visible"][REGION_OF_CUE[RODS]] >= RODS_IN_SIGHT
    axles = driving_axles(label["wheels"])
    shown = open_ and shows(look, RODS) and axles in DRIVING_AXLES
    return axles if shown else None


def place_told(label: Mapping[str, Any]) -> float | None:
    """Where a guide says that the lever stands, or would: share of the boiler top's length.

    Pictures of an example guide's castings are dated by that guide, its place too; of any
    other engine a guide would say what the renderer knows.
    """
    guide = (label.get("variation") or {}).get("guide")
    if guide:
        return _guide(guide).lever_at
    along = label.get("cues", {}).get(LEVER, {}).get("along")
    return None if along is None else float(along)


def places_of(label: Mapping[str, Any]) -> tuple[float, ...]:
    """Where a lever is looked for closely: at the place told, and at one told wrongly."""
    told = place_told(label)
    return () if told is None else (told, _astray(told))


def _astray(place: float) -> float:
    return (place + _ASTRAY) % 1.0


def clearly_unseen(label: Mapping[str, Any], cue: str) -> bool:
    """Whether a cue's region is hidden or tiny beyond dispute."""
    truth = label["cues"][cue]
    if truth["visible"]:
        return False
    in_sight = label["visible"][REGION_OF_CUE[cue]] >= _HIDDEN_SHARE
    return not (in_sight and truth["length_px"] >= _HIDDEN_LENGTH_PX)


@cache
def _guide(name: str) -> Guide:
    return load_guide(name)


def engine_stated(seen: Mapping[str, Any], limits: Mapping[str, Any]) -> bool:
    """Whether `vision.locate` would report an engine, from the stored scores."""
    if "finder" not in seen or seen["finder"] < float(limits["finder"]):
        return False
    left, _, right, _ = seen["glimpse"]
    return right - left >= MIN_WIDTH_PX and seen["score"] >= float(limits["engine"])


def tender_stated(seen: Mapping[str, Any], limits: Mapping[str, Any]) -> bool:
    """Whether `vision.locate` would report a tender of the engine, from what is stored."""
    near = is_coupled(Box(*seen["tender"]), Box(*seen["locomotive"]))
    return bool(seen["tender_score"] >= float(limits["tender"]) and near)


def evidence_of(look: Look, cue: str) -> Evidence:
    """The stored evidence on one cue; empty where none could be gathered."""
    return Evidence(cue, REGION_OF_CUE[cue], look.seen.get("cues", {}).get(cue, {}), None)


def _tender_cues(look: Look, fusion: Mapping[str, Any]) -> dict[str, Cue]:
    """Counts of axles and lamps; none without a tender, or in looks that kept no counts."""
    counts = look.seen.get("counts")
    if counts is None or not tender_stated(look.seen, fusion["locate"]):
        return {}
    raw = TenderCounts(*(tuple(counts[key]) for key in ("axles", "lamps", "countable")))
    return {cue.name: cue for cue in weigh_counts(raw, Box(*look.seen["tender"]), fusion)}
