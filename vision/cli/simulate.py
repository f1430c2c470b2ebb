"""`telltale guide simulate`: what a guide is worth to a perfect and to a realistic eye."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from vision.estimate import Eyesight, Skill

GUIDE = typer.Argument(metavar="NAME|FILE", help="A built-in guide's name, or a file.")
_RATE = "CUE=SHARE"


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
    """
    import numpy as np

    from vision.estimate import PERFECT
    from vision.estimate import simulate as try_out
    from vision.guide import load_guide
    from vision.report import sight_text, worth_text

    table = load_guide(guide)
    given = {
        "visible": _rates(visible, "--visible"),
        "sensitivity": _rates(sensitivity, "--sensitivity"),
        "specificity": _rates(specificity, "--specificity"),
    }
    sight, origins = realistic_sight(given)
    typer.echo(f"{table.title}\n{items} engines drawn by the guide's own rates, seed {seed}\n")
    eyes = {
        name: try_out(table, eye, items, np.random.default_rng(seed))
        for name, eye in (("perfect", PERFECT), ("realistic", sight))
    }
    typer.echo("The realistic eye")
    for line in sight_text(table, sight, origins):
        typer.echo(line)
    typer.echo("")
    for line in worth_text(eyes):
        typer.echo(line)


def realistic_sight(given: Mapping[str, Mapping[str, float]]) -> tuple[Eyesight, dict[str, str]]:
    """Rates of the realistic eye, and where those of each cue come from.

    Parameters
    ----------
    given : mapping
        For "visible", "sensitivity" and "specificity" the rates by cue that the person
        states; they go before what was measured when the shipped networks were fitted,
        and that before what was chosen.
    """
    from vision.estimate import CHOSEN, PERSON_RELIABILITY, Eyesight, visible_shares

    measured = visible_shares(_fusion())
    skills: dict[str, Skill] = {}
    origins: dict[str, str] = {}
    for name, skill in CHOSEN.items():
        stated = {kind: rates[name] for kind, rates in given.items() if name in rates}
        seen = {"visible": measured[name]} if name in measured else {}
        skills[name] = replace(skill, **(seen | stated))
        origins[name] = _origin(stated, bool(seen))
    for name, skill in skills.items():
        if skill.sensitivity + skill.specificity <= 1.0:
            raise typer.BadParameter(
                f"{name}: sensitivity and specificity must come to more than 1, or the eye "
                "sees the opposite of what is there"
            )
    return Eyesight(MappingProxyType(skills), PERSON_RELIABILITY), origins


def _origin(stated: Mapping[str, float], measured: bool) -> str:
    """Where "seen" comes from, and where the rest."""
    seen = "given" if "visible" in stated else "measured" if measured else "chosen"
    right = "given" if stated.keys() - {"visible"} else "chosen"
    return seen if seen == right else f"seen {seen}, right {right}"


def _fusion() -> Any:
    from vision.network import models_folder

    path = models_folder() / "fusion.json"
    return json.loads(path.read_text(encoding="utf-8")) if path.is_file() else {}


def _rates(statements: Iterable[str] | None, option: str) -> dict[str, float]:
    from vision.estimate import READINGS

    rates = {}
    for statement in statements or ():
        name, _, number = (part.strip() for part in statement.partition("="))
        try:
            share = float(number)
        except ValueError:
            share = -1.0
        if name not in READINGS or not 0.0 <= share <= 1.0:
            raise typer.BadParameter(
                f'{option} "{statement}": write CUE=SHARE with a share from 0 to 1 and a cue of '
                f"{', '.join(READINGS)}"
            )
        rates[name] = share
    return rates
