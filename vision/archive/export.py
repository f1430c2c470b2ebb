"""Records as CSV (RFC 4180) and as Apache Parquet."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from importlib import import_module
from typing import Any

from vision.archive.record import Record, columns
from vision.records import VALUED_CUES, ArchiveError

_WHOLE_NUMBERS = ("first_year", "last_year")
_TRUTHS = ("engine_found", "narrowed_down", "tender_mismatched", "several_engines")
_SHARES = ("confidence", "variation_p")


def to_csv(records: Sequence[Record]) -> bytes:
    """Lay records out as CSV with one line of names; UTF-8."""
    stream = io.StringIO(newline="")
    writer = csv.DictWriter(stream, column_names())
    writer.writeheader()
    writer.writerows(columns(record) for record in records)
    return stream.getvalue().encode()


def to_parquet(records: Sequence[Record]) -> bytes:
    """Lay records out as Parquet.

    Raises
    ------
    ArchiveError
        The library for it is not installed.
    """
    try:
        arrow: Any = import_module("pyarrow")
        parquet: Any = import_module("pyarrow.parquet")
    except ImportError:
        raise ArchiveError(
            "--parquet needs pyarrow; install telltale with its extra: telltale-vision[archive]"
        ) from None
    types = {name: _type(arrow, name) for name in column_names()}
    table = arrow.Table.from_pylist([columns(r) for r in records], arrow.schema(types.items()))
    sink = arrow.BufferOutputStream()
    parquet.write_table(table, sink)
    data: bytes = sink.getvalue().to_pybytes()
    return data


def column_names() -> list[str]:
    """Names of the columns, in order."""
    empty = Record("", "", "", False, False, "", (), None, "", None, False, False, {})
    return list(columns(empty))


def _type(arrow: Any, name: str) -> Any:
    if name in _WHOLE_NUMBERS:
        return arrow.int32()
    if name in _TRUTHS:
        return arrow.bool_()
    if name in _SHARES or (name.endswith("_confidence") and name not in VALUED_CUES):
        return arrow.float64()
    return arrow.string()
