"""Make `environments.npz` from an unpacked `@pmndrs/assets` package.

The package (version 1.7.0, licence file CC0 1.0) holds Poly Haven panoramas, which
Poly Haven also gives under CC0 1.0, as half-size EXR files wrapped in JavaScript.
Run once, with OpenEXR installed (nothing else in the project needs it)::

    python -m tools.scene.convert_environments UNPACKED_PACKAGE environments.npz
"""

from __future__ import annotations

import base64
import re
import sys
import tempfile
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

WIDTH_PX, HEIGHT_PX = 256, 128
BRIGHTEST = 120.0  # a sun kept sharper than this only makes fireflies at few samples
# Six bits of mantissa (1.6 %) are invisible in a light source and halve the file.
MANTISSA_BITS_DROPPED = 4
NAMES = (
    "apartment", "bridge", "city", "dawn", "esplanade", "forest", "hall", "lab",
    "lobby", "night", "park", "sky", "studio", "sunrise", "sunset", "venice",
    "warehouse", "workshop",
)  # fmt: skip


def read_panorama(script: Path) -> NDArray[np.float32]:
    """Linear radiance (H, W, 3) from one of the package's `.exr.js` files."""
    import OpenEXR

    found = re.search(r"base64,([A-Za-z0-9+/=]+)", script.read_text())
    if found is None:
        raise ValueError(f"{script}: no base64 data found")
    with tempfile.NamedTemporaryFile(suffix=".exr") as copy:
        copy.write(base64.b64decode(found.group(1)))
        copy.flush()
        channels = OpenEXR.File(copy.name).channels()
        if "RGB" in channels:
            return np.asarray(channels["RGB"].pixels, np.float32)[..., :3]
        return np.stack([np.asarray(channels[c].pixels, np.float32) for c in "RGB"], -1)


def shrink(panorama: NDArray[np.float32]) -> NDArray[np.float16]:
    """The map at 256 x 128, clipped, mean radiance 1, mantissa rounded to pack well."""
    # The lossy EXR rings around a sun: negative holes where it should be brightest.
    around = cv2.dilate(np.maximum(panorama, 0.0), np.ones((9, 9), np.uint8))
    hole = (panorama.min(-1) < 0.0) & (around.max(-1) > 50.0)
    panorama = np.where(hole[..., None], 0.5 * around, panorama)
    small = cv2.resize(panorama, (WIDTH_PX, HEIGHT_PX), interpolation=cv2.INTER_AREA)
    small = np.clip(small / max(float(small.mean()), 1e-6), 1e-4, BRIGHTEST)
    bits = small.astype(np.float16).view(np.uint16).astype(np.uint32)
    half = 1 << (MANTISSA_BITS_DROPPED - 1)
    rounded = (bits + half) >> MANTISSA_BITS_DROPPED << MANTISSA_BITS_DROPPED
    return rounded.astype(np.uint16).view(np.float16)


def main(package: str, out: str) -> None:
    """Write every named panorama of `package` to the npz file `out`."""
    folder = Path(package) / "hdri"
    maps = {name: shrink(read_panorama(folder / f"{name}.exr.js")) for name in NAMES}
    np.savez_compressed(out, **maps)


if __name__ == "__main__":
    main(*sys.argv[1:3])
