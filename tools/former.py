"""Looks by the networks before, without the word of those that have changed since."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from tools.looks import Look, read_looks
from vision.cues.driving import RODS
from vision.cues.loupe import closely_named
from vision.pipeline.placing import LEVER
from vision.records import BINARY_CUES

# What says something beside the judge of a cue: of what is counted at a tender, and of a lever
# from near by.
TENDER, LOUPE = "tender", "loupe"
CHANGED = (*BINARY_CUES, TENDER, LOUPE)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Let a command take `--former` and `--changed`, each once for all networks before."""
    parser.add_argument(
        "--former",
        action="append",
        type=Path,
        nargs="+",
        default=[],
        metavar="FILE",
        help="looks by the networks before; again, by those before these",
    )
    parser.add_argument(
        "--changed",
        action="append",
        nargs="+",
        choices=CHANGED,
        default=[],
        help="cues whose judges have changed since --former, or other networks",
    )


def check_options(parser: argparse.ArgumentParser, arguments: argparse.Namespace) -> None:
    """End the command where the options of `add_options` are not as many."""
    if len(arguments.former) != len(arguments.changed):
        parser.error("--former FILE...: as often as --changed expected")


def with_former(
    looks: Sequence[Look], files: Iterable[Sequence[Path]], changed: Iterable[Sequence[str]]
) -> list[Look]:
    """Looks, and those by the networks before of all pictures that were not looked at again.

    Parameters
    ----------
    looks : sequence of Look
        By the networks of today.
    files : iterable of sequence of Path
        Looks by the networks before, those before these, and so on: the newest first.
    changed : iterable of sequence of str
        What has changed since each of them.
    """
    out = list(looks)
    for paths, names in zip(files, changed, strict=True):
        again = {(look.file, look.corruption) for look in out}
        before = former(read_looks(paths), names)
        out += [look for look in before if (look.file, look.corruption) not in again]
    return out


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
