"""What the file's name of a rendered picture says of it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

# Split and seed, scene, view; behind a view t where one cue is swapped, t1 to t3 where a view
# has a twin for each.
_NAME = re.compile(
    r"^(?P<view>(?P<scene>(?P<series>\w+-\d+)-(?P<number>\d+))_\d+)(?P<twin>t\d?)?\.\w+$"
)
_TWIN = re.compile(r"(?<=\d)t\d?(?=\.\w+$)")  # the mark in a name of any form


@dataclass(frozen=True, slots=True)
class Name:
    """A picture by its file's name.

    Attributes
    ----------
    series : str
        Split and seed, such as "held-3".
    scene : str
        Pictures of one scene share it, twins included: they are not independent.
    view : str
        A picture and its twins share it.
    number : int
        Of the scene within its series.
    twin : bool
        Whether one cue was swapped against the picture of the same view.
    """

    series: str
    scene: str
    view: str
    number: int
    twin: bool


@cache
def name_of(file: str) -> Name:
    """Take a file's name apart; one of another form is a series, scene and view of its own."""
    found = _NAME.match(file)
    if found is None:
        view = _TWIN.sub("", file)
        return Name(view, view, view, 0, twin=view != file)
    series, scene, view = found["series"], found["scene"], found["view"]
    return Name(series, scene, view, int(found["number"]), twin=bool(found["twin"]))
