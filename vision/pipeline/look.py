"""One photo as the eye saw it, to be kept: no pixels, and text without loss."""

from __future__ import annotations

import base64
import json
from dataclasses import asdict, dataclass
from types import MappingProxyType
from typing import Any

from vision import __version__
from vision.cues.loupe import same_place
from vision.records import Box, Closely, Cue, Heading, NotFound, Sighting, State

# Increased whenever what is kept of a photo changes its meaning.
LOOK_FORMAT = "18"


def eye_name(model: str, lever_at: float | None = None) -> str:
    """Name everything on which a look depends, besides the photo.

    Parameters
    ----------
    model : str
        Version of the eye.
    lever_at : float or None
        Where it looks closely.
    """
    place = "" if lever_at is None else f"{lever_at + 0.0:.4f}"  # of two noughts one
    return f"{__version__}/{LOOK_FORMAT}/{place}/{model}"


def is_readable(eye: str) -> bool:
    """Whether looks by an eye of that name are kept as they are today."""
    return eye.split("/", 2)[1:2] == [LOOK_FORMAT]


def looks_at(eye: str, lever_at: float | None) -> bool:
    """Whether an eye of that name looks closely at that place, and so leaves nothing out."""
    place = eye.split("/", 3)[2]
    return lever_at is None or (bool(place) and same_place(float(place), lever_at))


def model_of(eye: str) -> str:
    """Version of the model in a name that `eye_name` made."""
    return eye.split("/", 3)[3]


@dataclass(frozen=True, slots=True)
class Look:
    """One photo as the eye saw it, without its pixels.

    Attributes
    ----------
    sha256 : str
        Of the photo's bytes.
    size : (int, int)
        Width and height of the upright photo, pixels.
    orientation : int
        As stored in the file, 1 to 8 (EXIF 2.32, CIPA DC-008, tag 0x0112).
    taken : str or None
    notes : tuple of str
    sighting : Sighting or NotFound
    cues : tuple of Cue
    alike : int
        Perceptual hash of the whole photo, 64 bits.
    engine : (int, int) or None
        The same of the engine's box, as it is and mirrored; None without an engine.
    picture : bytes
        A small JPEG for the shelf.
    """

    sha256: str
    size: tuple[int, int]
    orientation: int
    taken: str | None
    notes: tuple[str, ...]
    sighting: Sighting | NotFound
    cues: tuple[Cue, ...]
    alike: int
    engine: tuple[int, int] | None
    picture: bytes = b""


def look_to_text(look: Look) -> str:
    """Write a look as JSON, without loss."""
    plain = {
        "sha256": look.sha256,
        "size": list(look.size),
        "orientation": look.orientation,
        "taken": look.taken,
        "notes": list(look.notes),
        "sighting": _sighting_to_plain(look.sighting),
        "cues": [_cue_to_plain(cue) for cue in look.cues],
        "alike": f"{look.alike:016x}",
        "engine": None if look.engine is None else [f"{h:016x}" for h in look.engine],
        "picture": base64.b64encode(look.picture).decode("ascii"),
    }
    return json.dumps(plain, allow_nan=False)


def look_from_text(text: str) -> Look:
    """Read the look that `look_to_text` wrote."""
    plain = json.loads(text)
    engine = plain["engine"]
    return Look(
        sha256=plain["sha256"],
        size=(plain["size"][0], plain["size"][1]),
        orientation=plain["orientation"],
        taken=plain["taken"],
        notes=tuple(plain["notes"]),
        sighting=_sighting_from_plain(plain["sighting"]),
        cues=tuple(_cue_from_plain(cue) for cue in plain["cues"]),
        alike=int(plain["alike"], 16),
        engine=None if engine is None else (int(engine[0], 16), int(engine[1], 16)),
        picture=base64.b64decode(plain["picture"]),
    )


def _sighting_to_plain(sighting: Sighting | NotFound) -> dict[str, Any]:
    if isinstance(sighting, NotFound):
        return {"reason": sighting.reason, "score": sighting.score}
    return {
        "locomotive": _box_to_plain(sighting.locomotive),
        "tender": _box_to_plain(sighting.tender),
        "faces": sighting.faces.value,
        "regions": {name: [list(p) for p in region] for name, region in sighting.regions.items()},
        "visible": dict(sighting.visible),
        "score": sighting.score,
        "tender_score": sighting.tender_score,
        "another": _box_to_plain(sighting.another),
    }


def _sighting_from_plain(plain: dict[str, Any]) -> Sighting | NotFound:
    if "reason" in plain:
        return NotFound(plain["reason"], plain["score"])
    regions: dict[str, Any] = {
        name: tuple((x, y) for x, y in corners) for name, corners in plain["regions"].items()
    }
    return Sighting(
        locomotive=Box(*plain["locomotive"]),
        tender=_box_from_plain(plain["tender"]),
        faces=Heading(plain["faces"]),
        regions=MappingProxyType(regions),
        visible=MappingProxyType(plain["visible"]),
        score=plain["score"],
        another=_box_from_plain(plain["another"]),
        tender_score=plain.get("tender_score"),  # looks of before have none
    )


def _cue_to_plain(cue: Cue) -> dict[str, Any]:
    return {
        "name": cue.name,
        "state": cue.state.value,
        "p_present": cue.p_present,
        "value": cue.value,
        "confidence": cue.confidence,
        "where": _box_to_plain(cue.where),
        "because": cue.because,
        "values": dict(cue.values),
        "source": cue.source,
        "photo": cue.photo,
        "in_sight": cue.in_sight,
        "along": list(cue.along),
        "near": [asdict(closely) for closely in cue.near],
        "along_in_sight": cue.along_in_sight,
        "clear": cue.clear,
    }


def _cue_from_plain(plain: dict[str, Any]) -> Cue:
    return Cue(
        name=plain["name"],
        state=State(plain["state"]),
        p_present=plain["p_present"],
        value=plain["value"],
        confidence=plain["confidence"],
        where=_box_from_plain(plain["where"]),
        because=plain["because"],
        values=MappingProxyType(plain["values"]),
        source=plain["source"],
        photo=plain["photo"],
        in_sight=plain["in_sight"],
        along=tuple(plain["along"]),
        near=tuple(Closely(**closely) for closely in plain["near"]),
        along_in_sight=plain["along_in_sight"],
        clear=plain["clear"],
    )


def _box_to_plain(box: Box | None) -> list[float] | None:
    return None if box is None else [float(edge) for edge in box.as_tuple()]


def _box_from_plain(edges: list[float] | None) -> Box | None:
    return None if edges is None else Box(*edges)
