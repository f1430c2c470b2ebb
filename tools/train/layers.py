"""What the networks are put together from.

All share one kind of block (inverted residuals with depthwise convolutions: Sandler et
al. 2018, "MobileNetV2").
"""

from __future__ import annotations

from collections.abc import Sequence

import torch
from torch import Tensor, nn
from torch.nn import functional as F

_BANDS = 4  # of a crop's height, kept apart
STRIP = (2 * 64 + 1) * _BANDS  # channels of what `strip_of` gives


class Block(nn.Module):
    """Inverted residual: widen, where it is to be wider inside, filter each channel, narrow."""

    def __init__(
        self,
        inputs: int,
        outputs: int,
        *,
        stride: int = 1,
        widen: int = 3,
        side: int = 5,
        bend: type[nn.ReLU] | type[nn.ReLU6] = nn.ReLU,
        epsilon: float = 1e-5,
    ) -> None:
        super().__init__()
        hidden = inputs * widen
        layers: list[nn.Module] = []

        def append(filters: nn.Conv2d) -> None:
            layers.extend([filters, nn.BatchNorm2d(filters.out_channels, eps=epsilon)])

        if widen > 1:
            append(nn.Conv2d(inputs, hidden, 1, bias=False))
            layers.append(bend(inplace=True))
        append(nn.Conv2d(hidden, hidden, side, stride, side // 2, groups=hidden, bias=False))
        layers.append(bend(inplace=True))
        append(nn.Conv2d(hidden, outputs, 1, bias=False))
        self.layers = nn.Sequential(*layers)
        self.keeps = stride == 1 and inputs == outputs
        if self.keeps:
            # Starts by passing on what it is given (Goyal et al. 2017, section 5.1), so that
            # one that is added to trained weights takes nothing from them.
            nn.init.zeros_(self.layers[-1].weight)

    def forward(self, x: Tensor) -> Tensor:
        y = self.layers(x)
        return x + y if self.keeps else y


class Trunk(nn.Module):
    """Features at strides 4, 8, 16 and 32, each mapped to `width` channels and merged top-down.

    `coarse` is how many channels the coarsest raw map has.
    """

    def __init__(self, channels: tuple[int, ...], depths: tuple[int, ...], width: int) -> None:
        super().__init__()
        self.stem = nn.Sequential(
            nn.Conv2d(3, channels[0], 3, 2, 1, bias=False),
            nn.BatchNorm2d(channels[0]),
            nn.ReLU(inplace=True),
        )
        stages = []
        for inputs, outputs, depth in zip(channels[:-1], channels[1:], depths, strict=True):
            blocks = [Block(inputs, outputs, stride=2)]
            blocks += [Block(outputs, outputs) for _ in range(depth - 1)]
            stages.append(nn.Sequential(*blocks))
        self.stages = nn.ModuleList(stages)
        self.lateral = nn.ModuleList(nn.Conv2d(c, width, 1) for c in channels[1:])
        self.coarse = channels[-1]

    def forward(self, x: Tensor) -> tuple[list[Tensor], Tensor]:
        """Merged maps from fine to coarse, and the coarsest raw map."""
        x = self.stem(x)
        maps = []
        for stage in self.stages:
            x = stage(x)
            maps.append(x)
        return merged_down(maps, self.lateral), x


def merged_down(maps: Sequence[Tensor], lateral: nn.ModuleList) -> list[Tensor]:
    """Maps from fine to coarse, each with all coarser ones added (Lin et al. 2017, "FPN")."""
    merged = [lateral[-1](maps[-1])]
    for layer, fine in zip(list(lateral)[-2::-1], maps[-2::-1], strict=True):
        coarse = F.interpolate(merged[0], scale_factor=2.0, mode="nearest")
        merged.insert(0, layer(fine) + coarse)
    return merged


def head_of(width: int, outputs: int) -> nn.Sequential:
    """Two layers over a map of `width` channels, which leave it its size."""
    return nn.Sequential(
        nn.Conv2d(width, width, 3, 1, 1, groups=width, bias=False),
        nn.Conv2d(width, width, 1, bias=False),
        nn.BatchNorm2d(width),
        nn.ReLU(inplace=True),
        nn.Conv2d(width, outputs, 1),
    )


def expected_places(heat: Tensor) -> Tensor:
    """Mean places (B, K, 2) of heat maps (B, K, H, W), shares of the width and the height."""
    batch, points, rows, cols = heat.shape
    weight = torch.softmax(heat.flatten(2).float(), dim=2).view(batch, points, rows, cols)
    across = (torch.arange(cols, device=heat.device, dtype=torch.float32) + 0.5) / cols
    down = (torch.arange(rows, device=heat.device, dtype=torch.float32) + 0.5) / rows
    return torch.stack([(weight.sum(2) * across).sum(2), (weight.sum(3) * down).sum(2)], dim=2)


def looked_at(features: Tensor, heat: Tensor) -> tuple[Tensor, Tensor]:
    """Features (B, C) of where a heat map looks, and its largest and its total logit (B, 2)."""
    flat = heat.flatten(2).float()
    looked = (features.flatten(2).float() * torch.softmax(flat, dim=2)).sum(dim=2)
    return looked, torch.cat([flat.amax(dim=2), torch.logsumexp(flat, dim=2) / 8.0], dim=1)


def strip_of(features: Tensor, heat: Tensor) -> Tensor:
    """Features and heat of each column, (B, STRIP, W), by bands of the height."""
    batch, channels, rows, cols = features.shape
    bands = features.view(batch, channels, _BANDS, rows // _BANDS, cols)
    hot = heat.view(batch, 1, _BANDS, rows // _BANDS, cols)
    return torch.cat([bands.mean(3), bands.amax(3), hot.amax(3)], dim=1).flatten(1, 2)


class Corners(nn.Module):
    """Where `points` corners lie, (B, points, 2), as shares of the input's width and height.

    The expected place of a heat map each, and an offset, by which a corner may lie beyond the
    input, where no cell of the heat map is.
    """

    def __init__(self, width: int, coarse: int, points: int) -> None:
        super().__init__()
        self.heat = head_of(width, points)
        self.offset = nn.Linear(coarse, 2 * points)
        nn.init.zeros_(self.offset.weight)
        nn.init.zeros_(self.offset.bias)

    def forward(self, merged: Tensor, pooled: Tensor) -> Tensor:
        expected = expected_places(self.heat(merged))
        return expected + self.offset(pooled).view_as(expected)
