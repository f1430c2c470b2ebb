"""Ingredients of the training that an ablation switches off."""

from __future__ import annotations

from dataclasses import dataclass, replace

COOL = 0.3  # chosen
# What puts things into pictures that no renderer drew, and what spoils those that one drew.
MADE_UP = ("paste", "strewn", "drawn", "spliced", "stretched", "made_up")
SPOILT = ("photometric", "patches", "coarse", "grainy")


@dataclass
class Settings:
    """Strengths and shares of the training's ingredients.

    Attributes
    ----------
    photometric : float
        Strength of light, colour, blur, noise and JPEG changes, 0 to 1.
    patches : float
        Share of pictures with a rectangle laid over.
    paste : float
        Share of engines stood before another picture's scenery.
    strewn : float
        Share of pictures without engine or tender over which round things are strewn; a
        fifth of it over those with one, or discs would mean that there is none.
    teach_place : bool
        Whether judges learn where a part is, not only that it is there.
    drawn : float
        Share of boiler tops without a lever onto which one is drawn, and of cab sides whose
        number is painted over and drawn anew.
    spliced : float
        Share of boiler tops that get the rear of another engine.
    stretched : float
        Share of boiler tops that are stretched unevenly.
    made_up : float
        Share of the reader's windows that show nothing rendered at all.
    coarse : float
        Share of crops that lose detail, as those of engines small in their photos.
    grainy : float
        Share of crops with strong grain, averaged away as it is before they are judged.
    jitter : float
        Strength of the errors made on purpose in boxes and corners, 0 to 1.
    warming : float
        Share of the training over which the first, second and last of these rise from
        `COOL` of their strength: a lever is first found in clear pictures.
    averaged : bool
        Whether the weights kept are a running mean of those on the way.
    progress : float
        Share of the training that is done; kept by the training loop.
    """

    photometric: float = 1.0
    patches: float = 0.25
    paste: float = 0.25
    strewn: float = 0.5
    teach_place: bool = True
    drawn: float = 0.5
    spliced: float = 0.35
    stretched: float = 0.5
    made_up: float = 0.4
    coarse: float = 0.35
    grainy: float = 0.08
    jitter: float = 1.0
    warming: float = 0.25
    averaged: bool = True
    progress: float = 1.0

    @property
    def ease(self) -> float:
        """Factor on the strengths, from `COOL` at the start to 1."""
        if self.warming <= 0:
            return 1.0
        return min(1.0, COOL + (1.0 - COOL) * self.progress / self.warming)

    def without(self, *ingredients: str) -> Settings:
        """The same with some ingredients switched off."""
        off = {name: type(getattr(self, name))() for name in ingredients}
        return replace(self, **off)
