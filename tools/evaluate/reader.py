"""The eye beside readers who did not know the truth, on the same parts of the same pictures.

python -m tools.evaluate.reader --key blind/key.json --answers one.csv two.csv \
    --looks held.jsonl.gz guide.jsonl.gz --numbers numbers.jsonl.gz --card models/CARD.md

Sheets and key are those of `tools.blind`; a reader is called as their file of answers is.
They have to answer everywhere, as the eye does at even odds; where they were sure stands apart.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tools import metrics
from tools.blind import ABSENT, PRESENT
from tools.evaluate.card import refresh
from tools.evaluate.numbers import NAME, read_numbers
from tools.evaluate.rows import markdown
from tools.looks import Judged, judge, read_looks
from vision.records import BINARY_CUES, Cue, State

SURENESS = ("sure", "likely", "guess")
_HEAD = ("part", "reader", "tiles", "n", "reader right", "telltale right", "both wrong")


@dataclass(frozen=True, slots=True)
class Tile:
    """One part, what is true of it, and what was said.

    Attributes
    ----------
    truth, reader, eye : str
        `present` or `absent`, or the number; of the eye "" where it says none.
    sureness : str
        Of the reader, one of `SURENESS`.
    """

    truth: str
    reader: str
    sureness: str
    eye: str


def read_answers(path: Path) -> dict[str, tuple[str, str]]:
    """Answer and sureness of each tile.

    Raises
    ------
    ValueError
        A line that is not "tile,answer,sureness".
    """
    told = {}
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.reader(file):
            if len(row) != 3 or row[2].strip() not in SURENESS:
                raise ValueError(f"{path}: 'tile,answer,sureness' expected, got {','.join(row)}")
            told[row[0].strip()] = row[1].strip(), row[2].strip()
    return told


def said_by_eye(
    file: str, what: str, judged: Mapping[str, Judged], numbers: Mapping[str, Cue]
) -> str:
    """What the eye says of a part, at even odds; a number only where it is stated."""
    if what == NAME:
        number = numbers.get(file)
        stated = number is not None and number.state is State.PRESENT
        return str(number.value) if number is not None and stated else ""
    look = judged[file]
    cue = look.cues.get(what) if look.found else None
    if cue is None or cue.p_present is None:
        return ""
    return PRESENT if cue.p_present >= 0.5 else ABSENT


def rows(what: str, reader: str, tiles: Sequence[Tile]) -> list[tuple[str, ...]]:
    """Lines of the table: all tiles, and those that the reader was sure of.

    Of a cue balanced accuracy, of the number the share read exactly.
    """
    out = []
    for words, some in (
        ("all", tiles),
        ("sure", [t for t in tiles if t.sureness == "sure"]),
        ("sure or likely", [t for t in tiles if t.sureness != "guess"]),
    ):
        both = sum(t.reader != t.truth and t.eye != t.truth for t in some)
        figures = [_right(what, some, who) for who in ("reader", "eye")]
        out.append((what, reader, words, str(len(some)), *figures, str(both)))
    return out


def _right(what: str, tiles: Sequence[Tile], who: str) -> str:
    right = np.array([getattr(t, who) == t.truth for t in tiles], dtype=bool)
    if not len(right):
        return "-"
    if what == NAME:
        return f"{right.mean():.1%}"
    present = np.array([t.truth == PRESENT for t in tiles])
    if present.all() or not present.any():
        return "-"
    return f"{metrics.balanced_accuracy(present, present == right):.1%}"


def compared(
    key: Mapping[str, Mapping[str, str]],
    answers: Mapping[str, Mapping[str, tuple[str, str]]],
    judged: Mapping[str, Judged],
    numbers: Mapping[str, Cue],
) -> str:
    """The table, in Markdown; a reader who answered no tile of a part has no line there."""
    lines: list[tuple[str, ...]] = []
    for what in (*BINARY_CUES, NAME):
        for reader, told in answers.items():
            tiles = [
                Tile(known["truth"], *told[name], said_by_eye(known["file"], what, judged, numbers))
                for name, known in key.items()
                if known["what"] == what and name in told
            ]
            lines += rows(what, reader, tiles) if tiles else []
    return markdown(_HEAD, lines)


def main() -> None:
    """Parse the arguments, compare, print, and write the card's block."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--key", type=Path, required=True)
    parser.add_argument("--answers", type=Path, nargs="+", required=True, metavar="FILE")
    parser.add_argument("--looks", type=Path, nargs="+", required=True, metavar="FILE")
    parser.add_argument("--numbers", type=Path, nargs="+", default=[], metavar="FILE")
    parser.add_argument("--fusion", type=Path, default=Path("models/fusion.json"))
    parser.add_argument("--card", type=Path)
    parser.add_argument("--block", default="reader", help="of the card, to write the table into")
    options = parser.parse_args()
    fusion: Mapping[str, Any] = json.loads(options.fusion.read_text(encoding="utf-8"))
    key = json.loads(options.key.read_text(encoding="utf-8"))
    judged = {look.file: judge(look, fusion) for look in read_looks(options.looks)}
    missing = sorted({told["file"] for told in key.values()} - judged.keys())
    if missing:
        parser.error(f"no look at {missing[0]} and {len(missing) - 1} others of the key")
    answers = {path.stem: read_answers(path) for path in options.answers}
    text = compared(key, answers, judged, read_numbers(options.numbers))
    print(text)
    if options.card is not None:
        refresh(options.card, {options.block: text})


if __name__ == "__main__":
    main()
