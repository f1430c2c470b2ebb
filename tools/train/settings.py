"""Ingredients of the training that an ablation switches off."""

from __future__ import annotations

from dataclasses import dataclass


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
    teach_place : bool
        Whether judges learn where a part is, not only that it is there.
    jitter : float
        Strength of the errors made on purpose in boxes and corners, 0 to 1.
    """

    photometric: float = 1.0
    patches: float = 0.25
    paste: float = 0.25
    teach_place: bool = True
    jitter: float = 1.0
