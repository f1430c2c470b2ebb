"""What is wrong with a guide, said line by line to the person who writes it."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from typing import Any

from vision.guide.build import base_tender, build_guide
from vision.guide.doubts import doubts
from vision.guide.keys import (
    CHECK_KEYS,
    RATED_PARTS,
    RATES,
    RESERVED,
    TABLES,
    TENDER_KEYS,
    TOP_OPTIONAL,
    TOP_REQUIRED,
    VARIATION_KEYS,
)
from vision.guide.lines import Path, key_lines
from vision.guide.remedies import (
    STATES,
    as_toml,
    number_remedy,
    share_remedy,
    state_remedy,
    toml_remedy,
)
from vision.guide.values import Finding
from vision.guide.whyte import driving_axles
from vision.guide.years import years_of
from vision.records import (
    BINARY_CUES,
    LINE_COLOURS,
    PHOTO_CUES,
    did_you_mean,
)

_KINDS = {str: "text in quotes", float: "a number", int: "a whole number", bool: "true or false"}
_CHECK_ID = re.compile(r"[a-z][a-z0-9_]*")
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._ -]*")


def check_guide(text: str, name: str = "guide") -> tuple[Finding, ...]:
    """Everything wrong or doubtful in the text of a guide.

    Parameters
    ----------
    text : str
        The whole TOML file.
    name : str
        What to call it in messages.

    Returns
    -------
    tuple of Finding
        In the order of lines. No finding of severity "error" means that the guide
        can be used.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"line (\d+)", str(error))
        line = int(at.group(1)) if at else max(1, text.count("\n"))
        message = re.sub(r"\s*\(at .*\)$", "", str(error))
        at_fault = text.split("\n")[line - 1 : line] or [""]
        remedy = toml_remedy(message, at_fault[0])
        return (Finding("error", line, f"not TOML: {message}{remedy}", name),)
    except RecursionError:
        return (Finding("error", 1, "brackets without end inside each other", name),)
    review = _Review(data, key_lines(text), name)
    review.run()
    if not review.failed:
        for path, message in doubts(build_guide(data, name)):
            review.say("warning", path, message)
    return tuple(sorted(review.findings, key=lambda f: (f.line, f.severity, f.message)))


class _Review:
    """One pass over one guide; collects findings."""

    def __init__(self, data: Mapping[str, Any], lines: Mapping[Path, int], name: str) -> None:
        self.data, self.lines, self.name = data, lines, name
        self.findings: list[Finding] = []
        self.lettered: tuple[str, ...] = ()

    @property
    def failed(self) -> bool:
        return any(finding.severity == "error" for finding in self.findings)

    def say(self, severity: str, path: Path, message: str) -> None:
        while path and path not in self.lines:
            path = path[:-1]
        self.findings.append(Finding(severity, self.lines.get(path, 1), message, self.name))

    def run(self) -> None:
        top = {k: v for k, v in self.data.items() if k not in TABLES}
        self.fields((), top, TOP_REQUIRED | TOP_OPTIONAL, tuple(TOP_REQUIRED), also=TABLES)
        self.header(top)
        self.rates()
        tenders = self.rows("tender")
        checks = self.rows("check")
        variations = self.rows("variation")
        if "variation" not in self.data or variations == []:
            self.say("error", (), "missing [[variation]]: a guide needs at least one")
        self.tenders(tenders)
        self.checks(checks)
        self.variations(variations, _ids(tenders), _ids(checks))

    def rows(self, kind: str) -> list[Mapping[str, Any]]:
        rows = self.data.get(kind, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            self.say("error", (kind,), f"write [[{kind}]] with two brackets, one for each")
            return []
        return rows

    def fields(
        self,
        path: Path,
        table: Mapping[str, Any],
        known: Mapping[str, type],
        required: Iterable[str],
        *,
        also: Iterable[str] = (),
    ) -> None:
        """Missing, unknown and wrongly typed keys of one table."""
        where = _label(path, table)
        for key in required:
            if key not in table:
                self.say("error", path, f'{where}missing "{key}" ({_KINDS[known[key]]})')
        for key, value in table.items():
            if key not in known:
                if key not in also:
                    hint = did_you_mean(key, (*known, *also), or_all=True)
                    self.say("error", (*path, key), f'{where}unknown key "{key}"{hint}')
            elif not _is_a(value, known[key]):
                self.say("error", (*path, key), f'{where}"{key}" must be {_KINDS[known[key]]}')

    def header(self, top: Mapping[str, Any]) -> None:
        for key in ("gauge_mm", "scale"):
            if _is_a(top.get(key), float) and not top[key] > 0:
                self.say("error", (key,), f'"{key}" must be more than 0')
        if _is_a(top.get("lever_at"), float) and not 0 <= top["lever_at"] <= 1:
            self.say("error", ("lever_at",), '"lever_at" must be 0 (smokebox) to 1 (cab)')
        if isinstance(top.get("wheels"), str):
            try:
                driving_axles(top["wheels"])
            except ValueError as error:
                self.say("error", ("wheels",), str(error))

    def rates(self) -> None:
        rates = self.data.get("rates", {})
        if not isinstance(rates, dict):
            self.say("error", ("rates",), "write [rates] as a table")
            return
        for key, value in rates.items():
            if key in RATES:
                self.share(("rates", key), key, value)
            elif key not in RATED_PARTS:
                hint = did_you_mean(key, (*RATES, *RATED_PARTS), or_all=True)
                self.say("error", ("rates", key), f'rates: unknown key "{key}"{hint}')
            elif not isinstance(value, dict):
                self.say("error", ("rates", key), f"rates: write {key} = {{ lost = , added = }}")
            else:
                for part, share in value.items():
                    path = ("rates", key, part)
                    if part in ("lost", "added"):
                        self.share(path, f"{key}.{part}", share)
                    else:
                        hint = did_you_mean(part, ("lost", "added"), or_all=True)
                        self.say("error", path, f'rates of {key}: unknown key "{part}"{hint}')
        if not self.failed and rates.get("other", 0.0) + rates.get("reproduction", 0.0) >= 1.0:
            message = (
                'rates: "other" and "reproduction" together leave no engine to the guide, so that '
                "nothing is ever dated; lower them"
            )
            self.say("error", ("rates", "other"), message)

    def share(self, path: Path, label: str, value: Any) -> None:
        if not _is_a(value, float) or not 0 <= value <= 0.5:
            got = f"got {as_toml(value)}{share_remedy(value)}"
            self.say("error", path, f'"{label}" is a share of engines, 0 to 0.5, {got}')

    def unique(self, kind: str, rows: list[Mapping[str, Any]]) -> None:
        seen: dict[str, str] = {}
        for index, row in enumerate(rows):
            id, path = row.get("id"), (kind, index, "id")
            if not isinstance(id, str):
                continue
            if id.casefold() in seen:
                self.say("error", path, f'{kind} "{id}" is there twice; ids must differ')
            elif not _ID.fullmatch(id) or id.casefold() in RESERVED:
                self.say("error", path, f'{kind} id "{id}" cannot be used; try A to Z and figures')
            seen[id.casefold()] = id

    def tenders(self, rows: list[Mapping[str, Any]]) -> None:
        self.unique("tender", rows)
        self.lettered = _ids([row for row in rows if "lettering" in row])
        for index, row in enumerate(rows):
            self.fields(("tender", index), row, TENDER_KEYS, ("id", "axles", "lamps"))
            for key, least in (("axles", 1), ("lamps", 0)):
                if _is_a(row.get(key), int) and not least <= row[key] <= 9:
                    message = f'tender "{row.get("id")}": {key} must be {least} to 9'
                    self.say("error", ("tender", index, key), message)

    def checks(self, rows: list[Mapping[str, Any]]) -> None:
        self.unique("check", rows)
        taken = (*PHOTO_CUES, *VARIATION_KEYS, "tenders", "tender")
        for index, row in enumerate(rows):
            self.fields(("check", index), row, CHECK_KEYS, ("id", "question", "instruction"))
            for key in ("lost", "added"):
                if key in row:
                    self.share(("check", index, key), key, row[key])
            id = row.get("id")
            if isinstance(id, str) and (id in taken or not _CHECK_ID.fullmatch(id)):
                why = "is a name already used" if id in taken else "needs small letters, figures, _"
                self.say("error", ("check", index, "id"), f'check id "{id}" {why}')

    def variations(
        self, rows: list[Mapping[str, Any]], tenders: tuple[str, ...], checks: tuple[str, ...]
    ) -> None:
        self.unique("variation", rows)
        for index, row in enumerate(rows):
            path = ("variation", index)
            also = (*BINARY_CUES, "cab_number", "tenders", *checks)
            self.fields(path, row, VARIATION_KEYS, ("id", "years"), also=also)
            where = _label(path, row)
            for key in (*BINARY_CUES, *checks):
                if key in row and row[key] not in STATES:
                    got = f"got {as_toml(row[key])}{state_remedy(row[key])}"
                    message = f'{where}{key} is "present" or "absent", {got}'
                    self.say("error", (*path, key), message)
            self.years(path, row)
            self.numbers_and_tenders(path, row, tenders)
            if "edge_stripe_colour" in row and row.get("edge_stripe") != "present":
                message = f"{where}edge_stripe_colour without a stripe that is present"
                self.say("error", (*path, "edge_stripe_colour"), message)
            self.stripe_colour(path, row)
            if _is_a(row.get("output"), float) and not 0 < row["output"] < math.inf:
                message = f"{where}output must be a number more than 0, got {row['output']}"
                self.say("error", (*path, "output"), message)

    def stripe_colour(self, path: Path, row: Mapping[str, Any]) -> None:
        colour, where = row.get("edge_stripe_colour"), _label(path, row)
        if isinstance(colour, str) and colour.lower() not in LINE_COLOURS:
            hint = did_you_mean(colour, LINE_COLOURS, or_all=True)
            message = f'{where}no photo tells a stripe as "{colour}"{hint}'
            self.say("error", (*path, "edge_stripe_colour"), message)

    def years(self, path: Path, row: Mapping[str, Any]) -> None:
        if not isinstance(row.get("years"), str):
            return
        try:
            years_of(row["years"])
        except ValueError as error:
            self.say("error", (*path, "years"), f"{_label(path, row)}{error}")

    def numbers_and_tenders(
        self, path: Path, row: Mapping[str, Any], tenders: tuple[str, ...]
    ) -> None:
        where = _label(path, row)
        numbers = row.get("cab_number", [])
        if numbers == [] and "cab_number" in row:
            message = f"{where}cab_number is an empty list; name its numbers or leave the line out"
            self.say("warning", (*path, "cab_number"), message)
        for number in numbers if isinstance(numbers, list) else [numbers]:
            if not re.fullmatch(r"[0-9A-Za-z]{1,8}", str(number)):
                got = f"got {as_toml(number)}{number_remedy(number)}"
                message = f"{where}cab_number must be 1 to 8 figures or letters alone, {got}"
                self.say("error", (*path, "cab_number"), message)
        belonging = row.get("tenders", [])
        if not isinstance(belonging, list):
            self.say("error", (*path, "tenders"), f'{where}write tenders as a list, ["K"]')
            return
        for tender in belonging:
            meant = base_tender(str(tender), tenders)
            if meant in self.lettered and meant != tender:
                message = (
                    f'{where}tender "{tender}" is taken for "{meant}", its lettering too; '
                    "list it as a tender of its own"
                )
                self.say("warning", (*path, "tenders"), message)
            if meant is None:
                hint = did_you_mean(str(tender), tenders, or_all=True)
                self.say("error", (*path, "tenders"), f'{where}unknown tender "{tender}"{hint}')


def _ids(rows: list[Mapping[str, Any]]) -> tuple[str, ...]:
    return tuple(row["id"] for row in rows if isinstance(row.get("id"), str))


def _label(path: Path, table: Mapping[str, Any]) -> str:
    if not path:
        return ""
    index = path[1] if len(path) > 1 else 0
    number = f"number {index + 1}" if isinstance(index, int) else str(index)
    return f'{path[0]} "{table["id"]}": ' if "id" in table else f"{path[0]} {number}: "


def _is_a(value: Any, kind: type) -> bool:
    if isinstance(value, bool):
        return kind is bool
    return isinstance(value, (int, float)) if kind is float else isinstance(value, kind)
