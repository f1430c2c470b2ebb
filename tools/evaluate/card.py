"""Marked blocks of the model card, which nobody types by hand."""

from __future__ import annotations

import re
from pathlib import Path


def refresh(card: Path, blocks: dict[str, str]) -> None:
    """Put each block between its marks, at the end where the card has none yet.

    A block NAME stands between "<!-- begin:NAME -->" and "<!-- end:NAME -->"; everything
    else in the card is left as it is.

    Raises
    ------
    ValueError
        A block that begins and does not end; nothing is written then.
    """
    text = card.read_text(encoding="utf-8") if card.exists() else "# Model card\n"
    for name, body in blocks.items():
        begin, end = f"<!-- begin:{name} -->", f"<!-- end:{name} -->"
        if (begin in text) != (end in text):
            raise ValueError(f"{card}: block {name} has only one of its two marks")
        block = f"{begin}\n{body.strip()}\n{end}"
        if begin in text:
            between = re.compile(re.escape(begin) + ".*?" + re.escape(end), re.DOTALL)
            text = between.sub(lambda _, block=block: block, text)
        else:
            text = f"{text.rstrip()}\n\n{block}\n"
    card.write_text(text, encoding="utf-8")
