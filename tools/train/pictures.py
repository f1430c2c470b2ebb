"""Rendered pictures held on the card, and everything done to them on the way to a network.

Pictures stay there as bytes; each batch is cut, bent and re-lit on the card, so that no
two epochs show the same picture. A crop is a homography from the pixels of the network's
input to those of the picture.
"""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import functional as F

from tools.train.networks import AXLE_COUNTS, HEADINGS, LAMP_COUNTS

STORED = (640, 480)
REGIONS = ("boiler_top", "side_rods", "running_board")
CUES = ("switch_lever", "side_linkage", "edge_stripe")


@dataclass
class Pictures:
    """A rendered set. Coordinates are pixels of the stored pictures (640 by 480)."""

    files: list[str]
    records: list[dict[str, Any]]
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
    counts: Tensor  # (N, 2) long: indices into AXLE_COUNTS and LAMP_COUNTS
    countable: Tensor  # (N, 2) float


def read_labels(folder: Path) -> list[dict[str, Any]]:
    """All labels of a rendered folder, in a fixed order."""
    records = []
    for path in sorted(folder.glob("labels-*.jsonl")):
        records += [json.loads(line) for line in path.read_text("utf-8").splitlines() if line]
    return sorted(records, key=lambda record: record["file"])


def load(folder: Path, device: str, *, threads: int = 16) -> Pictures:
    """Decode every picture of a folder onto the device."""
    records = read_labels(folder)
    with ThreadPoolExecutor(threads) as pool:
        decoded = list(pool.map(lambda record: _decode(folder, record), records))
    pixels = torch.from_numpy(np.stack([d[0] for d in decoded])).permute(0, 3, 1, 2).contiguous()
    masks = torch.from_numpy(np.stack([d[1] for d in decoded]))
    factors = [d[2] for d in decoded]
    engines = [r["locomotive"] is not None for r in records]
    tensor = lambda rows: torch.tensor(np.asarray(rows, dtype=np.float32), device=device)  # noqa: E731
    return Pictures(
        files=[r["file"] for r in records],
        records=records,
        pixels=pixels.to(device),
        masks=masks.to(device),
        has_engine=torch.tensor(engines, device=device),
        has_tender=torch.tensor([r["tender"] is not None for r in records], device=device),
        engine=tensor([_scaled(r["locomotive"], f) for r, f in zip(records, factors, strict=True)]),
        tender=tensor([_scaled(r["tender"], f) for r, f in zip(records, factors, strict=True)]),
        heading=torch.tensor(
            [HEADINGS.index(r["faces"] or "left") for r in records], device=device
        ),
        corners=tensor([_corners(r, f) for r, f in zip(records, factors, strict=True)]),
        share=tensor([[r.get("visible", {}).get(k, 0.0) for k in REGIONS] for r in records]),
        present=tensor([[_cue(r, c, "state") == "present" for c in CUES] for r in records]),
        visible=tensor([[bool(_cue(r, c, "visible")) for c in CUES] for r in records]),
        counts=torch.tensor([_counts(r) for r in records], device=device),
        countable=tensor(
            [[bool(r.get(k)) for k in ("axles_visible", "lamps_visible")] for r in records]
        ),
    )


def _decode(
    folder: Path, record: dict[str, Any]
) -> tuple[NDArray[np.uint8], NDArray[np.uint8], float]:
    picture = cv2.imread(str(folder / record["file"]))[..., ::-1]
    mask = cv2.imread(str((folder / record["file"]).with_suffix(".mask.png")), cv2.IMREAD_GRAYSCALE)
    height, width = picture.shape[:2]
    factor = min(STORED[0] / width, STORED[1] / height)
    if factor != 1.0:
        size = (min(STORED[0], round(width * factor)), min(STORED[1], round(height * factor)))
        picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
        mask = cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST)
    pad = ((0, STORED[1] - picture.shape[0]), (0, STORED[0] - picture.shape[1]))
    picture = np.pad(picture, (*pad, (0, 0)), constant_values=114)
    return np.ascontiguousarray(picture), np.pad(mask, pad), factor


def _scaled(box: list[float] | None, factor: float) -> list[float]:
    return [edge * factor for edge in box] if box else [0.0, 0.0, 1.0, 1.0]


def _corners(record: dict[str, Any], factor: float) -> NDArray[np.float32]:
    regions = record.get("regions")
    if not regions:
        return np.zeros((3, 4, 2), np.float32)
    return np.asarray([regions[name] for name in REGIONS], np.float32) * factor


def _counts(record: dict[str, Any]) -> list[int]:
    axles, lamps = record.get("tender_axles"), record.get("tender_lamps")
    return [
        AXLE_COUNTS.index(axles) if axles in AXLE_COUNTS else 0,
        LAMP_COUNTS.index(lamps) if lamps in LAMP_COUNTS else 0,
    ]


def _cue(record: dict[str, Any], cue: str, field: str) -> Any:
    return record.get("cues", {}).get(cue, {}).get(field)


def cut(pixels: Tensor, transform: Tensor, size: tuple[int, int], *, finer: int = 1) -> Tensor:
    """Sample crops of `size` (width, height) through homographies, as float in 0..1.

    Parameters
    ----------
    pixels : Tensor, (B, C, H, W), uint8 or float
    transform : Tensor, (B, 3, 3)
        From the crop's pixels to the picture's.
    finer : int
        Sample a grid this many times finer and average: no aliasing when shrinking.
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
    sampled = F.grid_sample(
        source, (points * scale - 1.0).clamp(-4, 4), mode="bilinear", align_corners=False
    )
    return F.avg_pool2d(sampled, finer) if finer > 1 else sampled


def box_transform(box: Tensor, size: tuple[int, int]) -> Tensor:
    """Homographies that stretch boxes (B, 4) over crops of `size`."""
    transform = torch.zeros(len(box), 3, 3, device=box.device)
    transform[:, 0, 0] = (box[:, 2] - box[:, 0]) / size[0]
    transform[:, 1, 1] = (box[:, 3] - box[:, 1]) / size[1]
    transform[:, 0, 2], transform[:, 1, 2], transform[:, 2, 2] = box[:, 0], box[:, 1], 1.0
    return transform


def quad_transform(quad: Tensor, size: tuple[int, int]) -> Tensor:
    """Homographies that carry crops of `size` onto quadrilaterals (B, 4, 2).

    Corner order: front-top, rear-top, rear-bottom, front-bottom; the crop shows the front
    at its left edge. Solves the eight equations of a homography directly (Hartley and
    Zisserman, Multiple View Geometry, 2nd edition, section 4.1).
    """
    width, height = size
    x = torch.tensor([0.0, width, width, 0.0], device=quad.device)
    y = torch.tensor([0.0, 0.0, height, height], device=quad.device)
    ones, zeros = torch.ones(4, device=quad.device), torch.zeros(4, device=quad.device)
    base = torch.stack([x, y, ones], 1).expand(len(quad), 4, 3)
    blank = torch.stack([zeros, zeros, zeros], 1).expand(len(quad), 4, 3)
    u, v = quad[..., 0:1], quad[..., 1:2]
    upper = torch.cat([base, blank, -u * base[..., :2]], 2)
    lower = torch.cat([blank, base, -v * base[..., :2]], 2)
    left = torch.cat([upper, lower], 1).double()
    right = torch.cat([u, v], 1).double()
    # A folded quadrilateral has no homography; the small ridge keeps such rows finite.
    ridge = 1e-9 * torch.eye(8, device=quad.device, dtype=torch.float64)
    solved = torch.linalg.solve(left + ridge, right)[..., 0]
    return torch.cat([solved, solved.new_ones(len(quad), 1)], 1).view(-1, 3, 3).float()


def through(transform: Tensor, points: Tensor) -> Tensor:
    """Points (B, K, 2) through homographies (B, 3, 3)."""
    ones = torch.ones_like(points[..., :1])
    mapped = torch.cat([points, ones], -1) @ transform.transpose(1, 2)
    return mapped[..., :2] / mapped[..., 2:].clamp(min=1e-6)
