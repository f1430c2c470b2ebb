"""Wheel arrangements: Whyte notation and the UIC classification (UIC leaflet 650, from memory)."""

from __future__ import annotations

import re

_UNIT = re.compile(r"\d+(?:-\d+){2,3}")
_SUFFIX = re.compile(r"(?<=\d)[A-Za-z]+$")
# What suffixes of tank engines are besides T and what begins with it: by where the tank is,
# saddle, pannier, well, inverted saddle, and that of a crane (common practice, no source).
_TANKS = ("ST", "PT", "WT", "IST", "CT")


def whyte_to_uic(whyte: str) -> str:
    """Whyte notation (wheels counted) to UIC classification (axles counted).

    Carrying axles get the apostrophe of a truck that turns apart from the main
    frame: Whyte notation does not say when one is rigid. A tank or other suffix
    ("0-6-2T") says nothing about axles and is dropped.

    Parameters
    ----------
    whyte : str
        "4-6-2", "0-6-2T", "2-8-8-2" (an engine with a turning front unit),
        "2-6-0+0-6-2" (two units under one boiler).

    Raises
    ------
    ValueError
        Not Whyte notation.

    Examples
    --------
    >>> whyte_to_uic("4-6-2"), whyte_to_uic("0-6-2T"), whyte_to_uic("2-8-8-2")
    ("2'C1'", "C1'", "(1'D)D1'")
    """
    units = _units(whyte)
    if len(units) == 2:
        return "+".join(f"({_truck(u[0])}{_drivers(u[1], whyte)}{_truck(u[2])})" for u in units)
    axles = units[0]
    if len(axles) == 4:
        front = f"{_truck(axles[0])}{_drivers(axles[1], whyte)}"
        front = f"({front})" if axles[0] else f"{front}'"
        return f"{front}{_drivers(axles[2], whyte)}{_truck(axles[3])}"
    return f"{_truck(axles[0])}{_drivers(axles[1], whyte)}{_truck(axles[2])}"


def driving_axles(whyte: str) -> int:
    """Count the driving axles of an engine by Whyte notation.

    Parameters
    ----------
    whyte : str
        As for `whyte_to_uic`.

    Raises
    ------
    ValueError
        Not Whyte notation.

    Examples
    --------
    >>> driving_axles("4-6-2"), driving_axles("2-8-8-2"), driving_axles("2-6-0+0-6-2")
    (3, 8, 6)
    """
    driven = [axles for unit in _units(whyte) for axles in unit[1:-1]]
    for axles in driven:
        _drivers(axles, whyte)
    return sum(driven)


def names_tank_engine(whyte: str) -> bool:
    """Whether the suffix of an arrangement says that the engine carries its water itself.

    Parameters
    ----------
    whyte : str
        As for `whyte_to_uic`.

    Raises
    ------
    ValueError
        Not Whyte notation.

    Examples
    --------
    >>> names_tank_engine("0-6-2T"), names_tank_engine("0-4-0ST"), names_tank_engine("4-6-2")
    (True, True, False)
    """
    _units(whyte)
    suffix = _SUFFIX.search(whyte.strip())
    letters = suffix.group().upper() if suffix else ""
    return letters.startswith("T") or letters in _TANKS


def _units(whyte: str) -> list[list[int]]:
    """Axles of each group of wheels, front to rear, for each unit of the engine."""
    body = _SUFFIX.sub("", whyte.strip())
    parts = body.split("+")
    if len(parts) > 2 or not all(_UNIT.fullmatch(part) for part in parts):
        raise ValueError(f'"{whyte}" is not a wheel arrangement in Whyte notation, such as 4-6-2')
    return [[_axles(count, whyte) for count in part.split("-")] for part in parts]


def _axles(wheels: str, whyte: str) -> int:
    count = int(wheels)
    if count % 2:
        raise ValueError(f'"{whyte}": wheels come in pairs, got {count}')
    return count // 2


def _truck(axles: int) -> str:
    return f"{axles}'" if axles else ""


def _drivers(axles: int, whyte: str) -> str:
    if not 1 <= axles <= 26:
        raise ValueError(f'"{whyte}": no driving wheels')
    return chr(ord("A") + axles - 1)
