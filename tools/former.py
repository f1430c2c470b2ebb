"""Looks by the networks before, without the word of those that have changed since."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from tools.looks import Look
from vision.cues.driving import RODS
from vision.cues.loupe import closely_named
from vision.pipeline.placing import LEVER
from vision.records import BINARY_CUES

# What says something beside the judge of a cue: of what is counted at a tender, and of a lever
# from near by.
TENDER, LOUPE = "tender", "loupe"
CHANGED = (*BINARY_CUES, TENDER, LOUPE)


def former(looks: Sequence[Look], changed: Sequence[str]) -> list[Look]:
    """Looks by networks before: the word of what has `changed` since is left out.

    That of the judges of those cues, of the counter (`TENDER`), or of the loupe (`LOUPE`).
    Neither is the truth on such a cue kept: nobody was asked for it.
    """
    out = []
    for look in looks:
        cues = {k: v for k, v in (look.label.get("cues") or {}).items() if k not in changed}
        seen = dict(look.seen)
        if RODS in changed and RODS in seen.get("cues", {}):
            seen["cues"] = {k: v for k, v in seen["cues"].items() if k != RODS}
        if TENDER in changed:
            seen.pop("counts", None)
        if LOUPE in changed and LEVER in seen.get("cues", {}):
            near = closely_named(seen["cues"][LEVER])
            afar = {k: v for k, v in seen["cues"][LEVER].items() if k not in near}
            seen["cues"] = {**seen["cues"], LEVER: afar}
        label = {**look.label, "cues": cues}
        out.append(replace(look, label=label, seen=seen, complete=not changed))
    return out
