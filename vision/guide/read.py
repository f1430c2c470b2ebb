"""From the text of a checked guide to a `Guide`."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import replace
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import Any

from vision.guide.values import (
    DEFAULT_ADDED,
    DEFAULT_LOST,
    Guide,
    HandsOnCheck,
    PartRates,
    Rates,
    Tender,
    Variation,
)
from vision.guide.years import years_of
from vision.records import BINARY_CUES, GuideError, State

BUILTIN = ("wayfarer", "brindle")


def builtin_names() -> tuple[str, ...]:
    """Names of the guides that come with the package; the first is the default."""
    return BUILTIN


def starter_text() -> str:
    """Return a commented guide to start from; it passes `check_guide` as it stands."""
    return _packaged("starter")


def builtin_text(name: str) -> str:
    """Return the text of a built-in guide.

    Raises
    ------
    GuideError
        No such guide.
    """
    if name not in BUILTIN:
        raise GuideError(f"no built-in guide {name!r}; there are {', '.join(BUILTIN)}")
    return _packaged(name)


def load_guide(path_or_name: str | Path = BUILTIN[0]) -> Guide:
    """Read a guide from a file, or one that comes with the package.

    Parameters
    ----------
    path_or_name : str or path
        Name of a built-in guide, or a TOML file. A name wins over a file of the
        same name; "./wayfarer" is the file.

    Raises
    ------
    GuideError
        No such file, not UTF-8, or an error that `check_guide` finds; the message
        names the first one with its line.
    """
    from vision.guide.check import check_guide

    if str(path_or_name) in BUILTIN:
        name, text = str(path_or_name), _packaged(str(path_or_name))
    else:
        path = Path(path_or_name)
        if not path.exists():
            names = ", ".join(BUILTIN)
            raise GuideError(f"{path}: no such guide; give a file or one of {names}")
        name, text = path.name, read_text(path)
    errors = [f for f in check_guide(text, name) if f.severity == "error"]
    if errors:
        more = f" (and {len(errors) - 1} more; see guide check)" if errors[1:] else ""
        raise GuideError(f"{errors[0]}{more}")
    digest = hashlib.sha256(text.encode()).hexdigest()
    guide = build_guide(tomllib.loads(text), name.removesuffix(".toml"))
    return replace(guide, sha256=digest)


def read_text(path: Path) -> str:
    """Text of a guide's file, with or without a byte-order mark.

    Raises
    ------
    GuideError
        It cannot be read, or is not UTF-8.
    """
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise GuideError(f"{path}: not UTF-8 text (byte {error.start})") from None
    except OSError as error:
        raise GuideError(f"{path}: cannot be read ({error.strerror})") from None


def build_guide(data: Mapping[str, Any], name: str) -> Guide:
    """Build a guide out of TOML data that `check_guide` has no error for."""
    tender_ids = tuple(row["id"] for row in data.get("tender", ()))
    checks = tuple(_check(row) for row in data.get("check", ()))
    names = (*BINARY_CUES, *(check.id for check in checks))
    return Guide(
        name=name,
        version=data.get("version", "1"),
        title=data["title"],
        maker=data.get("maker", ""),
        gauge=data["gauge"],
        gauge_mm=float(data["gauge_mm"]),
        scale=float(data["scale"]),
        wheels=data["wheels"],
        variations=tuple(_variation(row, names, tender_ids) for row in data["variation"]),
        tenders=tuple(Tender(**row) for row in data.get("tender", ())),
        checks=checks,
        rates=_rates(data.get("rates", {}), data.get("check", ())),
    )


def base_tender(reference: str, tenders: Iterable[str]) -> str | None:
    """Return the tender that a reference means, or None.

    A dash number or suffix ("K-2", "K-W") marks lettering alone (common practice,
    no source): where the guide lists no tender under the full reference, what
    stands before the dash is the tender.
    """
    known = tuple(tenders)
    while reference:
        if reference in known:
            return reference
        reference = reference.rpartition("-")[0]
    return None


def _packaged(name: str) -> str:
    file = resources.files("vision").joinpath("guides", f"{name}.toml")
    return file.read_text(encoding="utf-8")


def _check(row: Mapping[str, Any]) -> HandsOnCheck:
    return HandsOnCheck(row["id"], row["question"], row["instruction"], row.get("caution", ""))


def _variation(
    row: Mapping[str, Any], names: tuple[str, ...], tenders: tuple[str, ...]
) -> Variation:
    numbers = row.get("cab_number", [])
    numbers = numbers if isinstance(numbers, list) else [numbers]
    belonging = (base_tender(str(t), tenders) for t in row.get("tenders", ()))
    return Variation(
        id=row["id"],
        edtf=row["years"],
        years=years_of(row["years"]),
        expects=MappingProxyType({name: State(row[name]) for name in names if name in row}),
        stripe_colour=str(row["edge_stripe_colour"]).lower()
        if "edge_stripe_colour" in row
        else None,
        numbers=tuple(dict.fromkeys(str(number).upper() for number in numbers)),
        tenders=tuple(dict.fromkeys(tender for tender in belonging if tender is not None)),
        output=float(row.get("output", 1.0)),
        text=row.get("text", ""),
    )


def _rates(table: Mapping[str, Any], checks: Iterable[Mapping[str, Any]]) -> Rates:
    shares = {key: float(value) for key, value in table.items() if not isinstance(value, dict)}
    rows = {key: value for key, value in table.items() if isinstance(value, dict)}
    rows |= {row["id"]: row for row in checks}
    parts = {
        key: PartRates(
            lost=float(row.get("lost", DEFAULT_LOST)), added=float(row.get("added", DEFAULT_ADDED))
        )
        for key, row in rows.items()
    }
    return Rates(**shares, parts=MappingProxyType(parts))
