"""A guide as frozen values, from TOML data that the check has passed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
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
from vision.records import BINARY_CUES, State


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
        lever_at=float(data["lever_at"]) if "lever_at" in data else None,
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
