"""What is made, with how much of the time, and by which card."""

from __future__ import annotations

from dataclasses import dataclass

# A quarter of the scale of a phone's photo of 12 megapixels, as large as many a picture in a
# listing; and nearly a half, which `vision.photo` decodes of such a photo. Scenes take turns,
# every third is large: four times the pixels take long to develop. Path-traced ones, which
# cost by the pixel, all have the first.
UNSEEN_SIZES = ((1008, 756), (1008, 756), (1984, 1488))
# Name of the set: split, seed, views a scene, share of the unseen pictures that are path
# traced, and of those that are rasterised. Seeds keep calibration and judgement apart.
UNSEEN = {
    "calib": ("held", 1, 5, 0.27, 0.16),
    "guide": ("guide", 2, 4, 0.33, 0.19),
    "second": ("second", 2, 5, 0.33, 0.12),
    "held": ("held", 2, 5, 0.07, 0.53),
}
TRAIN_VIEWS = 5
# The more engines the better: two views of one say little more than one.
CLOSE_VIEWS = 2
# Close views to choose by between two trainings: split, seed and scenes of their own.
CHECKED = ("held", 3, 220)
# Close views of the second domain, by which ingredients are weighed: split, seed and scenes;
# on so many close views each variant is trained for so many steps.
WEIGHED = ("second", 4, 160)
ABLATED_ON, ABLATED_STEPS = 4000, 500
# Close views whose folder bears another name than the network that learns from them.
FOLDERS = {"number": "cab_side", "loupe": "boiler_top"}
# Pictures a scene yields per view on average: some have twins.
TWINS = 1.27
SPOILT = ("second", 300, 3)  # set, pictures and severity for the corruptions
# What a step of each takes of a card, about, the heaviest first: each goes to the card that
# bears least. Of four cards the lever's judge, whose training ends furthest from done, gets one
# nearly to itself.
LOADS = {
    "boiler_top": 4.0,
    "loupe": 4.0,
    "side_rods": 2.5,
    "poser": 2.5,
    "finder": 2.5,
    "tender": 1.5,
    "number": 1.0,
    "running_board": 1.0,
}

# Ends of the phases, as shares of the time before the reserve. A path-traced picture costs
# as much as ten rasterised ones; both renderers' faults must be in the training.
_ENDS = {"unseen": 0.07, "traced": 0.15, "traced_close": 0.21, "fast": 0.42, "fast_unseen": 0.65}
AGAIN = "again"  # folder of the weights of what is trained twice
LAZY = 10  # niceness of what is drawn beside the training
# Scenes of the fast renderer are numbered from here on, so that no two pictures of a folder
# are of the same scene.
FAST_FIRST = 1_000_000
MANY = 1_000_000  # scenes: more than any time allows


@dataclass(frozen=True, slots=True)
class Clock:
    """When each phase ends, seconds since 1970."""

    unseen: float
    traced: float
    traced_close: float
    fast: float
    fast_unseen: float
    training: float
    end: float


def clock(start: float, seconds: float, *, reserve: float, unseen: bool = True) -> Clock:
    """Share out the time by `_ENDS`.

    Parameters
    ----------
    start, seconds : float
        When it begins, seconds since 1970, and how long it may take.
    reserve : float
        Seconds at the end for export and looks.
    unseen : bool
        Whether unseen sets are drawn; what they would take goes to the training.
    """
    training = start + seconds - reserve
    spared = 0.0 if unseen else _ENDS["unseen"]
    ends = {name: start + (share - spared) * (seconds - reserve) for name, share in _ENDS.items()}
    return Clock(training=training, end=start + seconds, **ends)
