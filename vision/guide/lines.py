"""Where each key of a TOML text stands: line numbers that tomllib does not keep.

Only the borders between statements are found here (strings, comments and brackets
may span lines); what a header or a key means is left to tomllib itself.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping

Path = tuple[str | int, ...]

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}'  # strings of several lines, basic and literal
    r"|'''.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|\#[^\n]*"
    r"|[\[\]{}=\n]"
    r"|[^\"'\#\[\]{}=\n]+",
    re.DOTALL,
)


def key_lines(text: str) -> dict[Path, int]:
    r"""Line of every table header and key of a valid TOML text.

    Parameters
    ----------
    text : str
        TOML that tomllib accepts.

    Returns
    -------
    dict of path to int
        Lines from 1. A path is made of keys, and of positions in arrays of tables:
        ("variation", 0, "years"). An array of tables as a whole stands where its
        first table does.

    Examples
    --------
    >>> key_lines('a = 1\n[[b]]\nc = [\n 2]\n')
    {('a',): 1, ('b',): 2, ('b', 0): 2, ('b', 0, 'c'): 3}
    """
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    for line, head, is_header in _statements(text):
        if is_header:
            repeated = head.startswith("[[")
            keys = _keys(f"{head}\n")
            table = _place(keys[:-1], counts)
            table += (keys[-1],)
            lines.setdefault(table, line)
            if repeated:
                counts[table] = counts.get(table, -1) + 1
                table += (counts[table],)
                lines[table] = line
        else:
            path = table
            for key in _keys(f"{head} = 0"):
                path += (key,)
                lines.setdefault(path, line)
    return lines


def _place(keys: tuple[str, ...], counts: Mapping[Path, int]) -> Path:
    """Path of a table, with the position of the latest table in each array."""
    path: Path = ()
    for key in keys:
        path += (key,)
        if path in counts:
            path += (counts[path],)
    return path


def _keys(statement: str) -> tuple[str, ...]:
    keys: tuple[str, ...] = ()
    value: object = tomllib.loads(statement)
    while isinstance(value, (dict, list)) and value:
        if isinstance(value, list):
            value = value[0]
            continue
        key = next(iter(value))
        keys += (key,)
        value = value[key]
    return keys


def _statements(text: str) -> Iterator[tuple[int, str, bool]]:
    """Line, text before "=" (or the whole header), and whether it is a header."""
    line, start, head, depth, in_value = 1, 1, "", 0, False
    for match in _TOKEN.finditer(text.replace("\r\n", "\n")):
        token = match.group()
        if token == "\n" and depth == 0:
            if head.strip():
                yield start, head.strip(), not in_value
            head, in_value = "", False
        elif token == "=" and depth == 0:
            in_value = True
        elif not in_value and not token.startswith("#"):
            if not head.strip() and token.strip():
                start = line
            head += token
        if token in ("[", "{"):
            depth += 1
        elif token in ("]", "}"):
            depth -= 1
        line += token.count("\n")
    if head.strip():
        yield start, head.strip(), not in_value
