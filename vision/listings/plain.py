"""Sellers' text made plain, character for character, so that places in it stay."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import cache
from types import MappingProxyType
from typing import Any

# Apostrophes and what is typed for them; minus signs and waves that stand for a dash.
_APOSTROPHES = "’‘ʼ‛′`´＇"
_DASHES = "−～〜﹣－"


def plain(text: str) -> str:
    """Lower case, ASCII digits, dashes, apostrophes and blanks; of the same length.

    Digits of every script (Unicode category Nd) become 0 to 9, every dash (category Pd,
    the minus sign, the wave dash) a hyphen. What would change the length stays.

    Examples
    --------
    >>> plain("’34–36, c. ١٩٣٥")
    "'34-36, c. 1935"
    """
    return "".join(map(_plain, text))


@cache
def _plain(letter: str) -> str:
    if letter in _APOSTROPHES:
        return "'"
    kind = unicodedata.category(letter)
    if kind == "Nd":
        return str(unicodedata.decimal(letter))
    if kind == "Pd" or letter in _DASHES:
        return "-"
    if kind == "Zs" or letter in "\t":
        return " "
    lower = letter.lower()
    return lower if len(lower) == 1 else letter


def one_of(words: Iterable[str], *, whole: bool = True) -> str:
    """Regular expression for any of some words, longest first; "*" ends a stem."""
    parts = []
    for word in sorted(words, key=len, reverse=True):
        stem = word.endswith("*")
        part = r"[\s-]+".join(re.escape(w) for w in word.rstrip("*").split())
        parts.append(part + (r"\w*" if stem else ""))
    body = f"(?:{'|'.join(parts)})"
    return rf"(?<![\w]){body}(?![\w])" if whole else body


# A wheel arrangement with blanks round its dashes, which then part no clauses. Three figures
# alone: in "Spur 0 - 4 - 6 - 2" the first of four is a gauge. Whatever stands on either side
# with a figure, over a blank or a dash, makes it a range, a day or a telephone number.
SPACED = r"(?<!\d )(?<!\d -)(?<!\d- )(?<!\d - )[024] - (?:[2468]|1[0246]) - [0246](?!\d| -? ?\d)"
_SPACED = re.compile(rf"(?<![\w-]){SPACED}(?!\d)")
# Signs that part clauses. A point does so only before a blank, and not after "c", "ca",
# "no", "nr" and their like, which are short for something.
_BREAK = re.compile(
    r"[;:!\n\r()\[\]]|,(?!\d)"
    r"|(?<!\bc)(?<!\bca)(?<!\bno)(?<!\bnr)(?<!\bapprox)(?<!\bcat)(?<!\bevtl)(?<!\bcca)(?<!\best)(?<!\bestd)\.(?=\s|$)"
    r"|\?(?=\s*$)|(?<![\d])\?|\?(?=\s+[a-z])"
    r"|\bbut\b|\baber\b|\bmais\b|\bpero\b|\bmaar\b|\s-+\s"
)


# Characters; what goes on for longer without a stop is cut at a blank, so that the time
# a text takes grows no faster than the text. Chosen.
_LONGEST = 400


def clauses(text: str) -> list[tuple[int, int]]:
    """Half-open ranges of the clauses of a plain text; what parts them is left out."""
    ranges = []
    start = 0
    kept = {at for match in _SPACED.finditer(text) for at in range(*match.span())}
    for match in _BREAK.finditer(text):
        if match.start() in kept:
            continue
        ranges.append((start, match.start()))
        start = match.end()
    ranges.append((start, len(text)))
    cut = [piece for whole in ranges for piece in _cut(text, *whole)]
    return [(a, b) for a, b in cut if text[a:b].strip()]


def _cut(text: str, start: int, end: int) -> list[tuple[int, int]]:
    pieces = []
    while end - start > _LONGEST:
        blank = text.rfind(" ", start + 1, start + _LONGEST)
        stop = blank if blank > start else start + _LONGEST
        pieces.append((start, stop))
        start = stop
    return [*pieces, (start, end)]


@cache
def vocabulary() -> Mapping[str, Mapping[str, Any]]:
    """The word lists of words.toml."""
    import tomllib
    from importlib.resources import files

    text = files("vision.listings").joinpath("words.toml").read_text(encoding="utf-8")
    return MappingProxyType(tomllib.loads(text))
