"""The networks: a finder over the photo, a poser over the engine, judges and a reader of parts.

All are drawn small because one core must run them all within the time of two or three
quarter-scale decodes of a phone's photo. All their weights come from this training, except
that some begin with a published network's first layers (`tools.train.backbone`).
"""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional as F

from tools.train.backbone import Taught
from tools.train.layers import (
    STRIP,
    Corners,
    Trunk,
    expected_places,
    head_of,
    looked_at,
    strip_of,
)
from vision.cues.driving import DRIVING_AXLES

# (width, height) of each network's input in pixels.
FINDER_SIZE = (448, 352)
POSER_SIZE = (384, 192)
TENDER_SIZE = (256, 160)
TENDER_PADDING = 0.12
FACES = ("side", "rear")  # of a tender; its axles are counted along one, its lamps on the other
NUMBER_SIZE = (256, 128)
# Classes of the reader: the figures, and whatever else looks like a character.
CHARACTERS = 11
AXLE_COUNTS = (2, 3, 4, 5, 6, 7, 8)
LAMP_COUNTS = (0, 1, 2)
CROP_SIZES = {"boiler_top": (448, 128), "side_rods": (384, 128), "running_board": (512, 64)}
# What a straightened crop, of a region or of a tender's face, shows beyond it, at either side
# and above and below, pixels: only who sees past the corners can tell how far these err.
MARGINS = {"boiler_top": (32, 8), "tender": (16, 12)}
# How much of the engine's box, on every side, the poser sees beyond it.
POSER_PADDING = 0.15
HEADINGS = ("left", "right", "toward", "away")
STRIDES_TO_16 = (20, 32, 48, 112)  # channels of small trunks from nothing
_SHALLOW = (2, 3, 4)  # blocks at strides 4, 8 and 16 of a judge that begins from nothing
# Judges that begin with a published network's first layers.
TAUGHT = ("boiler_top", "side_rods")
TOLD = ("boiler_top",)  # judges of a part that a guide may state the place of
COUNTING = ("side_rods",)  # judges that count the driving axles, too
_CELL = 4  # pixels of the crop that a column of the heat map stands for
COLUMN = 8  # pixels of the crop that one of their columns stands for


class Finder(nn.Module):
    """Whole photo in, dense boxes out at stride 8.

    Output (B, 12, H/8, W/8): locomotive centre logit, tender centre logit, locomotive
    box and tender box as distances left, top, right, bottom from the cell's centre in
    units of the input's width, and locomotive and tender mask logits.
    """

    def __init__(self) -> None:
        super().__init__()
        self.trunk = Trunk((20, 32, 48, 112, 192), (2, 3, 4, 3), 64)
        self.head = head_of(64, 12)
        nn.init.constant_(self.head[-1].bias[:2], -4.0)

    def forward(self, x: Tensor) -> Tensor:
        merged, _ = self.trunk(x)
        raw = self.head(merged[1])
        return torch.cat([raw[:, :2], F.softplus(raw[:, 2:10]), raw[:, 10:]], dim=1)


class Poser(nn.Module):
    """A padded, stretched crop of one engine in; corners, heading, box and sight out.

    Output: corners (B, 12, 2) as shares of the crop's width and height (three regions of
    four corners), heading logits (B, 4), region visibility (B, 3) logits, box (B, 4)
    left, top, right, bottom as shares of the crop, engine logit (B, 1).
    """

    def __init__(self) -> None:
        super().__init__()
        self.trunk = Trunk((20, 32, 48, 112, 192), (2, 3, 4, 3), 64)
        self.heat = head_of(64, 12)
        self.offset = nn.Linear(192, 24)
        self.rest = nn.Linear(192, 4 + 3 + 4 + 1)
        nn.init.zeros_(self.offset.weight)
        nn.init.zeros_(self.offset.bias)

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor, Tensor]:
        merged, coarse = self.trunk(x)
        expected = expected_places(self.heat(merged[1]))
        pooled = coarse.mean(dim=(2, 3)).float()
        # The offset lets a corner lie beyond the crop, where no cell of the heat map is.
        corners = expected + self.offset(pooled).view_as(expected)
        heading, sight, box, engine = self.rest(pooled).split([4, 3, 4, 1], dim=1)
        return corners, heading, sight, box, engine


class Tally(nn.Module):
    """What stands along a map counted: columns are kept apart to the end.

    An axle is told from its neighbours by where it stands.
    """

    def __init__(self, columns: int, pooled: int, outputs: int) -> None:
        """Of a map of 64 channels that is `columns` times four wide, and `pooled` features."""
        super().__init__()
        self.features = nn.Sequential(head_of(64, 64), nn.ReLU(inplace=True))
        self.along = nn.Sequential(
            nn.Conv1d(64 * 4, 96, 5, 2, 2), nn.ReLU(inplace=True), nn.Conv1d(96, 48, 5, 2, 2)
        )
        self.decide = nn.Sequential(
            nn.Linear(48 * columns + pooled, 96),
            nn.ReLU(inplace=True),
            nn.Dropout(0.1),
            nn.Linear(96, outputs),
        )

    def counted(self, x: Tensor, pooled: Tensor) -> Tensor:
        """Logits (B, outputs) of a map (B, 64, H, W), H a multiple of 4."""
        features = self.features(x)
        batch, channels, rows, cols = features.shape
        bands = features.view(batch, channels, 4, rows // 4, cols).mean(3)
        strip = torch.relu(self.along(bands.flatten(1, 2))).flatten(1)
        return self.decide(torch.cat([strip, pooled], 1)).float()


class Judge(nn.Module):
    """One rectified region in; is the part there, can it be seen, and where, out.

    Output: logits (B, 2) present and visible; heat map logits (B, 1, H/4, W/4) of the
    part's place. The decision looks where the heat map looks: under image labels alone a
    lever stays at chance. One that is `told` a place answers for each of W/8 columns as well,
    logits (B, W/8): is the part there, if this is where it would stand? And it says between
    which columns the region truly lies, (B, 2) pixels: its corners err by more than a lever
    is wide, and what is seen of the region's ends puts that right. One that is `counting`
    says how many driving axles it shows, logits (B, 6) over DRIVING_AXLES, and whether they
    can be counted, (B, 1).
    """

    def __init__(
        self,
        trunk: Trunk | Taught | None = None,
        *,
        told: bool = False,
        counting: bool = False,
    ) -> None:
        """Of a trunk of width 64; without one, of a small one that begins from nothing."""
        super().__init__()
        self.trunk = trunk or Trunk(STRIDES_TO_16, _SHALLOW, 64)
        coarse = self.trunk.coarse
        self.heat = head_of(64, 1)
        nn.init.constant_(self.heat[-1].bias, -3.0)
        self.features = nn.Sequential(head_of(64, 64), nn.ReLU(inplace=True))
        self.decide = nn.Sequential(
            nn.Linear(64 + coarse + 2, 64), nn.ReLU(inplace=True), nn.Dropout(0.1), nn.Linear(64, 2)
        )
        self.told, self.counting = told, counting
        if counting:
            self.tally = Tally(12, coarse, len(DRIVING_AXLES) + 1)
        if told:
            self.along = nn.Sequential(
                nn.Conv1d(STRIP, 64, 5, 1, 2),
                nn.ReLU(inplace=True),
                nn.Conv1d(64, 48, 5, 2, 2),
                nn.ReLU(inplace=True),
                nn.Conv1d(48, 1, 5, 1, 2),
            )
            self.ends = nn.Sequential(
                nn.Conv1d(STRIP, 32, 5, 1, 2),
                nn.ReLU(inplace=True),
                nn.Conv1d(32, 32, 9, 1, 4),
                nn.ReLU(inplace=True),
                nn.Conv1d(32, 2, 5, 1, 2),
            )

    def forward(self, x: Tensor) -> tuple[Tensor, ...]:
        merged, coarse = self.trunk(x)
        heat = self.heat(merged[0])
        features = self.features(merged[0])
        looked, summary = looked_at(features, heat)
        pooled = coarse.mean(dim=(2, 3)).float()
        decision = self.decide(torch.cat([looked, pooled, summary], dim=1))
        if self.counting:
            axles, countable = self.tally.counted(merged[1], pooled).split(
                [len(DRIVING_AXLES), 1], 1
            )
            return decision, heat, axles, countable
        if not self.told:
            return decision, heat
        strip, cols = strip_of(features, heat), features.shape[3]
        ends = torch.softmax(self.ends(strip).float(), dim=2)
        middles = (torch.arange(cols, device=x.device, dtype=torch.float32) + 0.5) * _CELL
        return decision, heat, self.along(strip)[:, 0], (ends * middles).sum(2)


class Counter(Tally):
    """A padded crop of the tender, or one of its faces straightened, in; what it has out.

    Output: axle logits (B, 7) over AXLE_COUNTS, lamp logits (B, 3) over LAMP_COUNTS,
    logits (B, 2) that axles and lamps can be counted at all, and the corners (B, 2, 4, 2) of
    its side and its rear as shares of the crop's width and height, clockwise from the top
    left: where to straighten it for a second look.
    """

    def __init__(self) -> None:
        super().__init__(8, 112, 12)
        self.trunk = Trunk(STRIDES_TO_16, (2, 3, 6), 64)
        self.corners = Corners(64, 112, 8)

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        merged, coarse = self.trunk(x)
        pooled = coarse.mean(dim=(2, 3))
        axles, lamps, seen = self.counted(merged[1], pooled).split([7, 3, 2], 1)
        corners = self.corners(merged[1], pooled.float())
        return axles, lamps, seen, corners.view(len(x), 2, 4, 2)


def judge_of(region: str) -> Judge:
    """The untrained judge of a region."""
    trunk = Taught(64) if region in TAUGHT else None
    return Judge(trunk, told=region in TOLD, counting=region in COUNTING)


class Reader(nn.Module):
    """A straightened cab side in; where characters stand, which, and how large, out.

    Output (B, 16, H/4, W/4): logit that a character's middle is in the cell, logits of
    the CHARACTERS classes, the middle's offset from the cell's in cells (x, y), and the
    logarithm of the character's width and height in cells. Fully convolutional: trained
    on windows smaller than it is used on.
    """

    def __init__(self) -> None:
        super().__init__()
        self.trunk = Trunk(STRIDES_TO_16, (2, 4, 6), 64)
        self.head = head_of(64, 1 + CHARACTERS + 4)
        nn.init.constant_(self.head[-1].bias[:1], -4.0)

    def forward(self, x: Tensor) -> Tensor:
        merged, _ = self.trunk(x)
        return self.head(merged[0])
