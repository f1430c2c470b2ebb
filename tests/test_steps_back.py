"""A stripe's judge that is in doubt is asked once more, from farther back."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.cues.evidence import gather
from vision.network import Networks
from vision.records import Box, Heading, Photo, Sighting

# A board 20 pixels high, whose striped edge hangs 5 pixels below the region that is known.
LEFT, RIGHT, TOP, BOTTOM = 60, 460, 100, 120
DEPTH = 5
BOARD = ((LEFT, TOP), (RIGHT, TOP), (RIGHT, BOTTOM), (LEFT, BOTTOM))


class Judge:
    """Says `first`, then `then`, and keeps what it was shown."""

    size, margin = (512, 64), (0, 0)

    def __init__(self, first: float, then: float = 0.0) -> None:
        self.words, self.shown = [first, then], list[NDArray[np.uint8]]()

    def run(self, pixels: NDArray[np.uint8]) -> dict[str, Any]:
        self.shown.append(pixels)
        word = self.words[len(self.shown) - 1]
        return {"decision": np.array([word, 6.0]), "heat": np.full((1, 16, 128), 0.1)}


def presence(judge: Judge, cue: str = "edge_stripe", region: str = "running_board") -> float:
    pixels = np.full((200, 520, 3), 90, np.uint8)
    pixels[BOTTOM : BOTTOM + DEPTH, LEFT:RIGHT] = 250
    box = Box(40, 20, 480, 180)
    seen = Sighting(box, None, Heading.LEFT, {region: BOARD}, {region: 1.0}, 0.9)
    photo = Photo(pixels, (520, 200), "0" * 64, "board.png")
    networks = Networks({region: judge}, {}, "fixed")  # type: ignore[dict-item]
    return gather(photo, seen, networks, cue).values["judge_present"]


def test_in_doubt_the_mean_of_both_words_counts() -> None:
    judge = Judge(-1.0, 5.0)
    assert presence(judge) == pytest.approx(2.0)
    near, far = (bool((pixels > 200).any()) for pixels in judge.shown)
    assert (near, far) == (False, True)  # what lies below the region is seen from farther back


def test_no_word_counts_more_than_a_networks_own_certainty_may() -> None:
    assert presence(Judge(1.0, 40.0)) == pytest.approx(5.0)


@pytest.mark.parametrize("word", [-4.0, 4.0, 8.0])
def test_without_doubt_it_is_asked_once(word: float) -> None:
    judge = Judge(word, -word)
    assert presence(judge) == word and len(judge.shown) == 1


def test_the_judge_of_the_rods_is_asked_once() -> None:
    judge = Judge(0.5, 9.0)
    assert presence(judge, "side_linkage", "side_rods") == 0.5 and len(judge.shown) == 1
