"""`telltale guide simulate`: what a guide is worth to a perfect and to a realistic eye."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from vision.estimate import Eyesight, Skill

GUIDE = typer.Argument(metavar="NAME|FILE", help="A built-in guide's name, or a file.")
_RATE = "CUE=SHARE"
# Fewer readings of a kind say too little of how often they are right. Chosen.
LEAST_STATED = 30


def simulate(
    guide: Annotated[str, GUIDE],
    items: Annotated[int, typer.Option(min=1, metavar="N", help="How many engines.")] = 1000,
    seed: Annotated[
        int, typer.Option(min=0, metavar="S", help="Seed; the same one gives the same figures.")
    ] = 0,
    visible: Annotated[
        list[str] | None,
        typer.Option(metavar=_RATE, help="Share of photos in which the eye reads a cue at all."),
    ] = None,
    sensitivity: Annotated[
        list[str] | None,
        typer.Option(metavar=_RATE, help="Share of parts that are there, or values, read right."),
    ] = None,
    specificity: Annotated[
        list[str] | None,
        typer.Option(metavar=_RATE, help="Share of parts that are not there, read as absent."),
    ] = None,
) -> None:
    """Say how often engines drawn from a guide would be named right.

    They are drawn as the guide says they survive: parts lost, added or swapped at its
    rates. A perfect eye reads every cue; a realistic one at the rates that are printed.
    What even the perfect eye names wrong is the guide's own doing, and is told first.
    """
    import numpy as np

    from vision.estimate import PERFECT
    from vision.estimate import simulate as try_out
    from vision.guide import load_guide
    from vision.report import sight_text, worth_text
    from vision.report.guide_worth import RIGHT_NOTE, ceiling_text
    from vision.report.terminal import WIDTH
    from vision.report.words import counted
    from vision.report.worth import WITH_ABSENCE, readings_of

    table = load_guide(guide)
    known = readings_of(table)
    two_sided = [name for name in known if name in WITH_ABSENCE]
    given = {
        "visible": _rates(visible, "--visible", known),
        "sensitivity": _rates(sensitivity, "--sensitivity", known),
        "specificity": _rates(specificity, "--specificity", two_sided),
    }
    sight, origins = realistic_sight(given, told=table.lever_at is not None)
    typer.echo(
        f"{table.title}\n{counted(items, 'engine')} drawn by the guide's own rates, seed {seed}\n"
    )
    eyes = {
        name: try_out(table, eye, items, np.random.default_rng(seed))
        for name, eye in (("perfect", PERFECT), ("realistic", sight))
    }
    typer.echo("The realistic eye")
    for line in sight_text(table, sight, origins):
        typer.echo(line)
    if any(right_measured(origin) for origin in origins.values()):
        typer.echo("\n".join(textwrap.wrap(RIGHT_NOTE, WIDTH)))
    for lines in (ceiling_text(eyes["perfect"]), worth_text(eyes)):
        typer.echo("")
        for line in lines:
            typer.echo(line)


def realistic_sight(
    given: Mapping[str, Mapping[str, float]], *, told: bool = False
) -> tuple[Eyesight, dict[str, str]]:
    """Rates of the realistic eye, and where those of each cue come from.

    Parameters
    ----------
    given : mapping
        For "visible", "sensitivity" and "specificity" the rates by cue that the person
        states; they go before what was measured when the shipped networks were fitted,
        and that before what was chosen. How often a cue is read, and how often it is
        read right, may come from different places.
    told : bool
        Whether the guide says where the lever stands.
    """
    from vision.estimate import CHOSEN, PERSON_RELIABILITY, Eyesight, visible_shares

    fusion = _fusion()
    seen, right = visible_shares(fusion, told=told), right_shares(fusion, told=told)
    skills: dict[str, Skill] = {}
    origins: dict[str, str] = {}
    for name, skill in CHOSEN.items():
        stated = {kind: rates[name] for kind, rates in given.items() if name in rates}
        measured = ({"visible": seen[name]} if name in seen else {}) | right.get(name, {})
        skills[name] = replace(skill, **(measured | stated))
        origins[name] = _origin(stated, measured)
    for name, skill in skills.items():
        if skill.sensitivity + skill.specificity <= 1.0:
            raise typer.BadParameter(
                f"{name}: sensitivity and specificity must come to more than 1, or the eye "
                "sees the opposite of what is there"
            )
    return Eyesight(MappingProxyType(skills), PERSON_RELIABILITY), origins


def right_shares(fusion: Mapping[str, Any], *, told: bool = False) -> dict[str, dict[str, float]]:
    """How often what the shipped networks stated was so, when they were fitted.

    Parameters
    ----------
    fusion : mapping
        Content of `models/fusion.json`. Counts of parts that are there and were stated,
        "stated_of_present" and of those "right_of_present", and the same "of_absent";
        for a value "stated_of_visible" and "right_of_visible".
    told : bool
        Whether a guide says where the lever stands.

    Returns
    -------
    dict of cue name to dict
        "sensitivity", for parts "specificity" too. Only where the file holds at least
        `LEAST_STATED` readings of each kind. Where those are no better than a coin's,
        "visible" 0 instead: such an eye sees nothing.

    Notes
    -----
    (right + 1/2) / (stated + 1), so that no reading counts as infallible: the mean under
    Jeffreys' prior; L. D. Brown, T. T. Cai and A. DasGupta, Interval estimation for a
    binomial proportion, Statistical Science 16 (2001), section 3; from memory.
    """
    from vision.estimate import READINGS, fitted_counts
    from vision.records import BINARY_CUES

    blocks = fitted_counts(fusion, told=told)
    shares: dict[str, dict[str, float]] = {}
    for name in READINGS:
        kinds = {"sensitivity": "present", "specificity": "absent"}
        if name not in BINARY_CUES:
            kinds = {"sensitivity": "visible"}
        counts = blocks.get(name, {})
        said = {kind: counts.get(f"stated_of_{of}", 0) for kind, of in kinds.items()}
        so = {kind: counts.get(f"right_of_{of}", -1) for kind, of in kinds.items()}
        if min(said.values()) < LEAST_STATED or min(so.values()) < 0:
            continue
        rates = {kind: (so[kind] + 0.5) / (said[kind] + 1.0) for kind in kinds}
        better = sum(rates.values()) > len(kinds) / 2
        shares[name] = rates if better else {"visible": 0.0}
    return shares


def _origin(stated: Mapping[str, float], measured: Mapping[str, float]) -> str:
    """Where "seen" comes from, and where the rest."""

    def of(kinds: set[str]) -> str:
        if stated.keys() & kinds:
            return "given"
        return "measured" if measured.keys() & kinds else "chosen"

    seen, right = of({"visible"}), of({"sensitivity", "specificity"})
    return seen if seen == right else f"seen {seen}, right {right}"


def right_measured(origin: str) -> bool:
    """Whether `_origin` says so of what is read right."""
    return origin == "measured" or origin.endswith("right measured")


def _fusion() -> Any:
    from vision.network import models_folder

    path = models_folder() / "fusion.json"
    return json.loads(path.read_text(encoding="utf-8")) if path.is_file() else {}


def _rates(
    statements: Iterable[str] | None, option: str, known: Collection[str]
) -> dict[str, float]:
    """Rates by cue; a cue of which the option would change nothing is refused."""
    rates = {}
    for statement in statements or ():
        name, _, number = (part.strip() for part in statement.partition("="))
        try:
            share = float(number)
        except ValueError:
            share = -1.0
        if name not in known or not 0.0 <= share <= 1.0:
            raise typer.BadParameter(
                f'{option} "{statement}": write CUE=SHARE with a share from 0 to 1 and a cue of '
                f"{', '.join(known)}"
            )
        rates[name] = share
    return rates
