"""Rendered pictures held on the card, and everything done to them on the way to a network.

Pictures stay there as bytes; each batch is cut, bent and re-lit on the card, so that no
two epochs show the same picture. A crop is a homography from the pixels of the network's
input to those of the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional as F

STORED = (640, 480)
BEYOND = 114.0 / 255.0  # beyond the edge of a picture, as `vision.rectify` has it
REGIONS = ("boiler_top", "side_rods", "running_board")
CUES = ("switch_lever", "side_linkage", "edge_stripe")


@dataclass
class Pictures:
    """A rendered set. Coordinates are pixels of the stored pictures (mostly 640 by 480).

    Only the first `filled` rows hold pictures; the rest is room for more.
    """

    filled: Tensor  # () long, in memory that processes share
    pixels: Tensor  # (N, 3, 480, 640) uint8
    masks: Tensor  # (N, 480, 640) uint8
    has_engine: Tensor  # (N,) bool
    has_tender: Tensor  # (N,) bool
    engine: Tensor  # (N, 4)
    tender: Tensor  # (N, 4)
    heading: Tensor  # (N,) long
    corners: Tensor  # (N, 3, 4, 2)
    share: Tensor  # (N, 3) visible share of each region
    present: Tensor  # (N, 3) float
    visible: Tensor  # (N, 3) float
    along: Tensor  # (N,) share of the boiler top where the lever stands or would, nan if unknown
    counts: Tensor  # (N, 2) long: indices into AXLE_COUNTS and LAMP_COUNTS
    countable: Tensor  # (N, 2) float
    driving: Tensor  # (N,) long: index into DRIVING_AXLES, -1 if unknown
    faces: Tensor  # (N, 2, 4, 2) corners of the tender's side and rear, zeros if turned away
    figures: Tensor  # (N, 5, 4, 2) corners of the cab number's figures
    digits: Tensor  # (N, 5) long: which they are, -1 for none
    cab: Tensor  # (N, 4, 2) corners of the cab side, zeros for none
    inked: Tensor  # (N,) bool: something of a cab number is in the picture
    scene: Tensor  # (N,) long: alike for all views of one scene, twins too

    def engines(self) -> int:
        """Engines shown so far: each scene has one of its own, or none."""
        shown = self.has_engine[: int(self.filled)]
        return len(torch.unique(self.scene[: len(shown)][shown]))


def cut(
    pixels: Tensor,
    transform: Tensor,
    size: tuple[int, int],
    *,
    finer: int = 1,
    beyond: float = 0.0,
) -> Tensor:
    """Sample crops of `size` (width, height) through homographies, as float in 0..1.

    Parameters
    ----------
    pixels : Tensor, (B, C, H, W), uint8 or float
    transform : Tensor, (B, 3, 3)
        From the crop's pixels to the picture's.
    finer : int
        Sample a grid this many times finer and average: no aliasing when shrinking.
    beyond : float
        What the first three channels show beyond the picture; all others show 0 there.
    """
    width, height = size[0] * finer, size[1] * finer
    device = pixels.device
    x = (torch.arange(width, device=device) + 0.5) / finer
    y = (torch.arange(height, device=device) + 0.5) / finer
    grid = torch.stack(
        torch.broadcast_tensors(x[None, :], y[:, None], torch.ones((), device=device)), -1
    )
    mapped = torch.einsum("bij,hwj->bhwi", transform, grid)
    points = mapped[..., :2] / mapped[..., 2:].clamp(min=1e-6)
    scale = torch.tensor([2.0 / pixels.shape[3], 2.0 / pixels.shape[2]], device=device)
    source = pixels.float() / 255.0 if pixels.dtype == torch.uint8 else pixels.float()
    ground = source.new_zeros(source.shape[1], 1, 1)
    ground[:3] = beyond
    sampled = F.grid_sample(
        source - ground, (points * scale - 1.0).clamp(-4, 4), mode="bilinear", align_corners=False
    )
    sampled = sampled + ground
    return F.avg_pool2d(sampled, finer) if finer > 1 else sampled


def box_transform(box: Tensor, size: tuple[int, int]) -> Tensor:
    """Homographies that stretch boxes (B, 4) over crops of `size`."""
    transform = torch.zeros(len(box), 3, 3, device=box.device)
    transform[:, 0, 0] = (box[:, 2] - box[:, 0]) / size[0]
    transform[:, 1, 1] = (box[:, 3] - box[:, 1]) / size[1]
    transform[:, 0, 2], transform[:, 1, 2], transform[:, 2, 2] = box[:, 0], box[:, 1], 1.0
    return transform


def quad_transform(
    quad: Tensor, size: tuple[int, int], *, margin: tuple[int, int] = (0, 0)
) -> Tensor:
    """Homographies that carry crops of `size` onto quadrilaterals (B, 4, 2).

    Corner order: front-top, rear-top, rear-bottom, front-bottom; the crop shows the front
    at its left edge. Solves the eight equations of a homography directly (Hartley and
    Zisserman, Multiple View Geometry, 2nd edition, section 4.1).
    """
    width, height = size
    (left, top), (right, bottom) = margin, (width - margin[0], height - margin[1])
    x = torch.tensor([left, right, right, left], device=quad.device, dtype=torch.float32)
    y = torch.tensor([top, top, bottom, bottom], device=quad.device, dtype=torch.float32)
    ones, zeros = torch.ones(4, device=quad.device), torch.zeros(4, device=quad.device)
    base = torch.stack([x, y, ones], 1).expand(len(quad), 4, 3)
    blank = torch.stack([zeros, zeros, zeros], 1).expand(len(quad), 4, 3)
    u, v = quad[..., 0:1], quad[..., 1:2]
    upper = torch.cat([base, blank, -u * base[..., :2]], 2)
    lower = torch.cat([blank, base, -v * base[..., :2]], 2)
    known = torch.cat([upper, lower], 1).double()
    wanted = torch.cat([u, v], 1).double()
    # A folded quadrilateral has no homography; the small ridge keeps such rows finite.
    ridge = 1e-9 * torch.eye(8, device=quad.device, dtype=torch.float64)
    solved = torch.linalg.solve(known + ridge, wanted)[..., 0]
    return torch.cat([solved, solved.new_ones(len(quad), 1)], 1).view(-1, 3, 3).float()


def through(transform: Tensor, points: Tensor) -> Tensor:
    """Points (B, K, 2) through homographies (B, 3, 3)."""
    ones = torch.ones_like(points[..., :1])
    mapped = torch.cat([points, ones], -1) @ transform.transpose(1, 2)
    return mapped[..., :2] / mapped[..., 2:].clamp(min=1e-6)
