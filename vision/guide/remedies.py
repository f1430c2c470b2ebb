"""What to write instead of what a guide cannot say so: the end of an error's line."""

from __future__ import annotations

import re
from typing import Any

from vision.records import did_you_mean

STATES = ("present", "absent")
# What people write for a state, and what it means; in small letters.
_MEANT = {"yes": "present", "true": "present", "no": "absent", "false": "absent", "none": "absent"}
_NOT_KNOWN = ("", "?", "-", "–", "unknown", "unsure")
_DASH = r"(?:-|[\u2010-\u2015\u2212]|to|until|bis|\.\.)"
_SPAN = re.compile(rf"(\d\d)(\d\d)\s*(?:{_DASH}|/)\s*((?:\d\d)?)(\d\d)")
_ABOUT = re.compile(r"(?:c\.?|ca\.?|circa|about|um)\s*(\d{4})", re.IGNORECASE)
_DECADE = re.compile(r"(\d{3})0'?s|(\d{3})0er")
_COMMA = re.compile(r"""[^"'#]*[=\s](\d+),(\d+)\s*[,}\s#]""")
# Parts of tomllib's messages, and what they most often mean in a guide.
_TOML = (
    (
        r"Illegal character|Unterminated|Expected [\"']'[\"']",
        "close the text with a quote on its line",
    ),
    (
        "Cannot (overwrite|declare|redefine|mutate)|Duplicate",
        "each key stands once in a table; write [[variation]], [[tender]] and [[check]] with two "
        "brackets each time",
    ),
    ("Unescaped", "put a text with a backslash in single quotes"),
    ("Unclosed array", "end the list with ]"),
    ("Unclosed inline table", "end it with } on the same line"),
    ("at the end of a(n array|table) declaration|Expected ']", "close [ with ], and [[ with ]]"),
    ("after a key|Invalid statement|key part", "write key = value, and put # before a note"),
    ("Expected newline", "write one key = value a line"),
    ("Invalid value", "write text in quotes, numbers with a point, true or false in small letters"),
)


def as_toml(value: Any) -> str:
    """Write a value as it stands in a guide: true, not True.

    Examples
    --------
    >>> as_toml(True), as_toml("yes"), as_toml(4)
    ('true', '"yes"', '4')
    """
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else repr(value)


def toml_remedy(message: str, line: str) -> str:
    """What to do about a line that is not TOML; empty where that cannot be guessed.

    Parameters
    ----------
    message : str
        Of tomllib.
    line : str
        The line of the guide that it is about.
    """
    if re.search("[“”„‟«»‘’]", line) and "Illegal" not in message:
        return '; write straight quotes: "text"'
    if comma := _COMMA.match(f"{line} "):
        return f"; write a decimal point: {comma.group(1)}.{comma.group(2)}"
    return next((f"; {remedy}" for part, remedy in _TOML if re.search(part, message)), "")


def years_remedy(text: str) -> str:
    """How to write years that are not EDTF (ISO 8601-2) of level 0 or 1.

    Examples
    --------
    >>> years_remedy("1931–1932"), years_remedy("c. 1931"), years_remedy("1930s")
    ('; write "1931/1932"', '; write "1931~"', '; write "193X"')
    """
    text = text.strip()
    if span := _SPAN.fullmatch(text):
        century, first, other, last = span.groups()
        if (century, first) < (other or century, last):
            return f'; write "{century}{first}/{other or century}{last}"'
    if about := _ABOUT.fullmatch(text):
        return f'; write "{about.group(1)}~"'
    if decade := _DECADE.fullmatch(text):
        return f'; write "{decade.group(1) or decade.group(2)}X"'
    return '; write a year as "1931", several as "1931/1932"'


def number_remedy(number: Any) -> str:
    """How to write a cab number with blanks or signs in it.

    Examples
    --------
    >>> number_remedy("E 105")
    '; write "E105"'
    """
    bare = re.sub(r"[^0-9A-Za-z]", "", str(number))
    return f'; write "{bare}"' if 1 <= len(bare) <= 8 else ""


def state_remedy(value: Any) -> str:
    """How to write a state.

    Examples
    --------
    >>> state_remedy(True), state_remedy("no"), state_remedy("unknown")
    ('; write "present"', '; write "absent"', '; leave the line out where you do not know')
    """
    told = str(value).strip().lower()
    if told in _NOT_KNOWN:
        return "; leave the line out where you do not know"
    meant = _MEANT.get(told)
    return f'; write "{meant}"' if meant else did_you_mean(told, STATES)


def share_remedy(value: Any) -> str:
    """How to write a share that was given in percent.

    Examples
    --------
    >>> share_remedy("4 %"), share_remedy(2.5), share_remedy("few")
    ('; write 0.04', '; write 0.025', '')
    """
    told = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*(%?)\s*", str(value))
    if told is None:
        return ""
    percent = float(told.group(1).replace(",", "."))
    if told.group(2) or (percent >= 1 and not isinstance(value, str)):
        return f"; write {percent / 100:g}" if percent <= 50 else ""
    return f"; write {percent:g}" if isinstance(value, str) and percent <= 0.5 else ""
