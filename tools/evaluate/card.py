"""Marked blocks of the model card, which nobody types by hand."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path


def refresh(card: Path, blocks: Mapping[str, str]) -> None:
    """Put each block between its marks; everything else in the card is left as it is.

    A block NAME stands between "<!-- begin:NAME -->" and "<!-- end:NAME -->". One that the
    card lacks comes behind the nearest block before it in `blocks` that the card has, else
    before the nearest one after it, else at the end: renders and photographs, refreshed one
    after the other, stay apart.

    Raises
    ------
    ValueError
        A block that begins and does not end; nothing is written then.
    """
    text = card.read_text(encoding="utf-8") if card.exists() else "# Model card\n"
    for name in blocks:
        if (_begin(name) in text) != (_end(name) in text):
            raise ValueError(f"{card}: block {name} has only one of its two marks")
    names = list(blocks)
    for index, (name, body) in enumerate(blocks.items()):
        block = f"{_begin(name)}\n{body.strip()}\n{_end(name)}"
        if _begin(name) in text:
            between = re.compile(re.escape(_begin(name)) + ".*?" + re.escape(_end(name)), re.DOTALL)
            text = between.sub(lambda _, block=block: block, text)
        else:
            text = _placed(text, block, names[:index], names[index + 1 :])
    card.write_text(text, encoding="utf-8")


def _placed(text: str, block: str, before: Sequence[str], after: Sequence[str]) -> str:
    """The text with a new block among its neighbours."""
    mark = next((_end(name) for name in reversed(before) if _end(name) in text), "")
    if mark:
        return text.replace(mark, f"{mark}\n\n{block}", 1)
    mark = next((_begin(name) for name in after if _begin(name) in text), "")
    if mark:
        return text.replace(mark, f"{block}\n\n{mark}", 1)
    return f"{text.rstrip()}\n\n{block}\n"


def _begin(name: str) -> str:
    return f"<!-- begin:{name} -->"


def _end(name: str) -> str:
    return f"<!-- end:{name} -->"
