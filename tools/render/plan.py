"""What stands in picture number n: everything is drawn from (seed, n), nothing is remembered."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tools import locomotive, scene

# Splits: "train" and "held" share families of shapes and rooms but no seed; "second" uses
# families and rooms that training never sees; "guide" shows the castings of the two
# example guides, which training never sees either, in the held rooms.
SPLIT_SEEDS = {"train": 11, "held": 23, "second": 37, "guide": 53}
GUIDE_VARIATIONS = {
    "wayfarer": ("W1", "W2", "W3", "W4", "W5", "W6"),
    "brindle": ("M1", "M2", "M3", "M4", "M5"),
}
CUES = ("switch_lever", "side_linkage", "edge_stripe")
# Shapes are what a network has to get beyond: the family that mixes all comes up most.
_TRAIN_DRAW = (*locomotive.TRAIN_FAMILIES, locomotive.MIXED, locomotive.MIXED, locomotive.MIXED)
# And two thirds of what is trained on are of families that no judged set draws.
_MORE_DRAW = (*locomotive.MORE_FAMILIES, locomotive.BLENDED, locomotive.BLENDED)
_MORE_SHARE = 2 / 3
_EMPTY_SHARE = 0.18  # pictures without a steam locomotive
_TWIN_SHARE = 0.3  # engines rendered again with one cue swapped
_BEHIND_SHARE = 0.35  # wagons, or another engine, coupled or beside


@dataclass(frozen=True, slots=True)
class Job:
    """One scene: an engine (or none) in a room, seen `views` times.

    `twin_cue` names the one cue that is swapped in a second rendering of all views.
    """

    number: int
    split: str
    seed: int
    kind: str
    family: str
    room: str
    guide: str | None
    variation: str | None
    twin_cue: str | None
    train_behind: bool
    lens: int

    def generator(self, purpose: int) -> np.random.Generator:
        """An independent stream for one purpose of this job."""
        return np.random.default_rng([SPLIT_SEEDS[self.split], self.seed, self.number, purpose])


def job(split: str, seed: int, number: int) -> Job:
    """The job `number` of a split; the same for the same arguments, always."""
    rng = np.random.default_rng([SPLIT_SEEDS[split], seed, number])
    seen = split in ("train", "held")
    families = _TRAIN_DRAW if seen else locomotive.HELD_FAMILIES
    # A stream of its own: what the other splits draw does not depend on it.
    if split == "train" and np.random.default_rng([seed, number, 7]).random() < _MORE_SHARE:
        families = _MORE_DRAW
    rooms = scene.TRAIN_ROOMS if seen else scene.HELD_ROOMS
    kind = "locomotive"
    if split != "guide" and rng.random() < _EMPTY_SHARE:
        kind = str(rng.choice(["wagon", "coach", "diesel", "railcar", "tender", "empty"]))
    guide = variation = None
    if split == "guide":
        guide = "wayfarer" if rng.random() < 0.6 else "brindle"
        variation = str(rng.choice(GUIDE_VARIATIONS[guide]))
    return Job(
        number=number,
        split=split,
        seed=seed,
        kind=kind,
        family=str(rng.choice(families)),
        room=str(rng.choice(rooms)),
        guide=guide,
        variation=variation,
        twin_cue=str(rng.choice(CUES)) if rng.random() < _TWIN_SHARE else None,
        train_behind=bool(rng.random() < _BEHIND_SHARE),
        lens=int(rng.integers(4)),
    )
