"""Small files of listings, and what their photos show."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from answers import FakeEye
from archives import different
from shapes import encoded
from vision.records import Box, Cue, ListingsError, State

COLUMNS = ("id", "title", "description", "price", "currency", "link", "photos")


def part(name: str, state: State, sure: float = 0.99, **more: object) -> Cue:
    """A photo's reading of a part, as sure as said."""
    p = sure if state is State.PRESENT else 1.0 - sure
    return Cue(name, state, p, confidence=sure, where=Box(60, 60, 90, 90), **more)


def engine_cues(
    lever: bool | None, linkage: bool | None, stripe: str | bool | None, axles: str = ""
) -> tuple[Cue, ...]:
    """What a photo shows; None is not seen, a colour is a stripe of it."""
    cues = []
    for name, there in (("switch_lever", lever), ("side_linkage", linkage)):
        if there is None:
            cues.append(Cue(name, State.UNSEEN, because="hidden"))
        else:
            cues.append(part(name, State.PRESENT if there else State.ABSENT))
    if stripe is None:
        cues.append(Cue("edge_stripe", State.UNSEEN, because="glare"))
    elif not stripe:
        cues.append(part("edge_stripe", State.ABSENT))
    else:
        colours = MappingProxyType({stripe: 0.98} if isinstance(stripe, str) else {})
        cues.append(part("edge_stripe", State.PRESENT, values=colours))
    if axles:
        shares = MappingProxyType({axles: 0.97})
        cues.append(Cue("tender_axles", State.PRESENT, value=axles, confidence=0.97, values=shares))
    return tuple(cues)


# The variations of the guide "wayfarer" as its table has them.
W = {
    "W1": engine_cues(True, False, False, "4"),
    "W2": engine_cues(True, True, False, "4"),
    "W3": engine_cues(False, True, "cream", "4"),
    "W4": engine_cues(False, False, "cream", "6"),
    "W5": engine_cues(True, False, "cream", "6"),
    "W6": engine_cues(True, True, "red", "6"),
}
HIDDEN = engine_cues(None, None, None)


def eye(seen: Mapping[str, tuple[Cue, ...] | None]) -> FakeEye:
    """An eye that sees, in the photo of each stem, what is said."""
    return FakeEye(seen)


def write_table(path: Path, rows: Sequence[Mapping[str, str]]) -> Path:
    """Write a CSV table of listings by RFC 4180."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(stream.getvalue(), encoding="utf-8", newline="")
    return path


def write_photos(folder: Path, names: Sequence[str], start: int = 0) -> None:
    """Write a different picture under each name."""
    for number, name in enumerate(names, start):
        folder.joinpath(name).write_bytes(encoded(different(number), "JPEG"))


def with_confidence(cues: Sequence[Cue], sure: float) -> tuple[Cue, ...]:
    """The same readings of parts, less sure."""
    return tuple(
        c if c.p_present is None else replace(part(c.name, c.state, sure), values=c.values)
        for c in cues
    )


def write_shop(folder: Path) -> Path:
    """Four listings: true, wrong in one claim, undecided, and one with another's picture."""
    write_photos(folder, ["w6.jpg", "w3.jpg", "dim.jpg"])
    (folder / "w6copy.jpg").write_bytes((folder / "w6.jpg").read_bytes())
    write_table(
        folder / "shop.csv",
        [
            {
                "id": "true",
                "title": "Wayfarer 1938 with lever",
                "price": "300",
                "currency": "EUR",
                "photos": "w6.jpg",
            },
            {
                "id": "wrong",
                "title": "Wayfarer 1934",
                "description": "with lever",
                "price": "200",
                "currency": "EUR",
                "link": "https://shop.example/2",
                "photos": "w3.jpg",
            },
            {
                "id": "dim",
                "title": "Wayfarer, no lever",
                "price": "100",
                "currency": "EUR",
                "photos": "dim.jpg",
            },
            {"id": "copy", "title": "Wayfarer", "photos": "w6copy.jpg"},
        ],
    )
    return folder / "shop.csv"


EYE = eye({"w6": W["W6"], "w6copy": W["W6"], "w3": W["W3"], "dim": HIDDEN})


def judged(telltale: Any, *arguments: object, eye: FakeEye = EYE) -> list[dict[str, Any]]:
    code, out, _ = telltale("listings", *arguments, "--json", "--jobs", 1, eye=eye)
    assert code in (0, ListingsError.exit_code)
    return [json.loads(line) for line in out.splitlines()]


def by_id(records: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    return {r["id"]: r for r in records if "id" in r}


def unwrapped(out: str) -> str:
    """The text of a run, each wrapped line whole again."""
    return out.replace("\n     ", " ")
