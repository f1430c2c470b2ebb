"""The page's own files, read once at the start and served from memory.

No path of a request ever reaches the file system, so none can climb out of a folder.
"""

from __future__ import annotations

import hashlib
import html
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

MEDIA_TYPES = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "json": "application/json",
    "svg": "image/svg+xml",
    "webmanifest": "application/manifest+json",
}
# The English words of the page; a translation is a file with the same keys.
WORDS = "words.json"
PAGE = "page.html"


@dataclass(frozen=True, slots=True)
class Asset:
    """One file as it is served; `tag` changes with its content."""

    content: bytes
    media_type: str
    tag: str


def english() -> dict[str, Any]:
    """Every string of the page, in English."""
    text = (files("vision.page") / "static" / WORDS).read_text(encoding="utf-8")
    words: dict[str, Any] = json.loads(text)
    return words


def load_assets(words: Mapping[str, Any] | None = None) -> dict[str, Asset]:
    """Read every file of the page and fill in the words.

    Parameters
    ----------
    words : mapping, optional
        In place of the English ones; the same keys.

    Returns
    -------
    dict of path to Asset
        "/" is the page itself.

    Raises
    ------
    KeyError
        A string that the page needs is missing.
    """
    words = english() if words is None else words
    texts = {
        item.name: item.read_text(encoding="utf-8")
        for item in (files("vision.page") / "static").iterdir()
        if item.name.rpartition(".")[2] in MEDIA_TYPES and item.name != WORDS
    }
    texts[PAGE] = _filled(texts[PAGE], words)
    texts["telltale.webmanifest"] = _filled(texts["telltale.webmanifest"], words, quote=_in_json)
    # Whoever holds an older page gets all of the new one together, or none of it.
    version = hashlib.sha256("".join(texts[name] for name in sorted(texts)).encode()).hexdigest()
    names = sorted(f"/{name}" for name in texts if name not in (PAGE, "worker.js"))
    texts["worker.js"] = (
        texts["worker.js"]
        .replace("{version}", version[:16])
        .replace("{names}", json.dumps(["/", *names]))
    )
    assets = {}
    for name, text in texts.items():
        content = text.encode()
        tag = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
        asset = Asset(content, MEDIA_TYPES[name.rpartition(".")[2]], tag)
        assets["/" if name == PAGE else f"/{name}"] = asset
    return assets


def _in_json(text: str) -> str:
    return json.dumps(text)[1:-1]


def _filled(text: str, words: Mapping[str, Any], *, quote: Any = html.escape) -> str:
    """Put words in place of {{key}}, and all of them in place of {{*}}."""

    def word(match: re.Match[str]) -> str:
        if match[1] == "*":
            # "<" is the only character that could end the block that holds the JSON.
            return json.dumps(words, ensure_ascii=False).replace("<", "\\u003c")
        return str(quote(str(words[match[1]])))

    return re.sub(r"\{\{(\*|\w+)\}\}", word, text)
