"""The loss of a map that is hot at few cells."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional as F


def focal(logit: Tensor, heat: Tensor, judged: Tensor) -> Tensor:
    """Focal loss of a map, a share of the hot cells: the thousands of others do not drown them.

    The loss of Law and Deng 2018 (CornerNet, equation 1), its exponents too.

    Parameters
    ----------
    logit : Tensor
    heat : Tensor, same shape
        1 where it should be hot, less round there, 0 elsewhere.
    judged : Tensor, broadcast to that shape
        0 where nothing is known.
    """
    p = torch.sigmoid(logit)
    hot = (heat >= 1.0).float()
    error = -hot * (1 - p) ** 2 * F.logsigmoid(logit)
    error = error - (1 - hot) * (1 - heat) ** 4 * p**2 * F.logsigmoid(-logit)
    return (error * judged).sum() / (hot * judged).sum().clamp(min=1)
