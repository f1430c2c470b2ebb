"""The card's table of what each ingredient of a judge's training is worth."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from tools.evaluate.rows import markdown, shown

# Names of trainings from which nothing was left out.
WHOLE, ANOTHER_SEED = "nothing", "nothing, another seed"
# What each setting of `tools.train.settings` is called in the card.
_WORDS = {
    "photometric": "changes of light, colour, sharpness, noise and compression",
    "patches": "patches laid over",
    "coarse": "crops that lose detail",
    "grainy": "strong grain, averaged away",
    "jitter": "corners that err",
    "teach_place": "where the part stands",
    "averaged": "averaging of the weights",
    "drawn": "levers drawn at new places",
    "spliced": "rears of other engines",
    "stretched": "uneven stretching",
}
_HEAD = (
    "network",
    "without",
    "balanced accuracy",
    "95 % interval",
    "less by",
    "area under the curve",
    "n",
)


def read_ablations(paths: Iterable[Path]) -> list[dict[str, Any]]:
    """Lines of `tools.train.ablate`, those of each network together, the whole one first.

    Raises
    ------
    ValueError
        A network without its training with everything, nothing to compare with; or with two
        of them, or trainings of other lengths.
    """
    texts = [text for path in paths for text in path.read_text("utf-8").splitlines()]
    lines = [json.loads(text) for text in texts if text.strip()]
    for name in {line["network"] for line in lines}:
        mine = [line for line in lines if line["network"] == name]
        if [line["without"] for line in mine].count(WHOLE) != 1:
            raise ValueError(f"one training of {name} with everything expected")
        if len({(line["steps"], line["pictures"]) for line in mine}) > 1:
            raise ValueError(f"trainings of {name} alike in length and pictures expected")
    order = [WHOLE, ANOTHER_SEED, *_WORDS]
    return sorted(lines, key=lambda line: (line["network"], order.index(line["without"])))


def ablation_table(lines: Sequence[Mapping[str, Any]]) -> str:
    """Balanced accuracy of each variant beside that of the training with everything."""
    whole = {
        line["network"]: line["balanced_accuracy"] for line in lines if line["without"] == WHOLE
    }
    rows = []
    for line in lines:
        name, value = line["network"], line["balanced_accuracy"]
        less = "" if line["without"] == WHOLE else f"{100 * (whole[name] - value):+.2f}"
        rows.append(
            (
                f"`{name}`, {line['steps']} steps on {line['pictures']:,} close views",
                _WORDS.get(line["without"], line["without"]),
                shown(value, "share"),
                " to ".join(shown(end, "share") for end in line["interval"]),
                less,
                shown(line["area"], "number"),
                f"{line['present'] + line['absent']:,}",
            )
        )
    return markdown(_HEAD, rows)
