"""The only onnxruntime import: checks hash and metadata, pixels in, named arrays out."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.records import ModelError, Pixels

# Nothing of what is done here is told to anybody. The library reads this as it is loaded; later
# it has already written an id and a list of what it would send into the user's home.
os.environ.setdefault("ORT_DISABLE_TELEMETRY", "1")
import onnxruntime

# Increased whenever the meaning of an input or output changes.
FORMAT = "2"
NAMES = (
    *("finder", "poser", "boiler_top", "side_rods", "running_board"),
    *("loupe", "tender", "number"),
)
_SUMS = "SHA256SUMS"
_FREE_STEP = 32  # rows that make whole cells in every map of a network


class Network:
    """One loaded ONNX model. Held open, because starting a session costs more than a run."""

    def __init__(self, content: bytes, *, name: str) -> None:
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = int(os.environ.get("TELLTALE_THREADS") or "1")
        options.inter_op_num_threads = 1
        options.log_severity_level = 3
        try:
            self._session = onnxruntime.InferenceSession(
                content, options, providers=["CPUExecutionProvider"]
            )
        except Exception as error:  # onnxruntime raises classes of its own, all unexported
            raise ModelError(f"{name}.onnx: not a model this version can run ({error})") from error
        self.metadata: Mapping[str, str] = dict(self._session.get_modelmeta().custom_metadata_map)
        if self.metadata.get("format") != FORMAT:
            got = self.metadata.get("format", "none")
            raise ModelError(f"{name}.onnx: format {FORMAT} expected, got {got}")
        shape = self._session.get_inputs()[0].shape
        # Free rows have a name in place of a number; the most of them is told beside.
        free = not isinstance(shape[1], int)
        most = int(self.metadata["rows"] if free else shape[1])
        self.size = (int(shape[2]), most)
        # What it is shown beyond its region, at either side and above and below, pixels.
        across, down = self.metadata["margin"].split(",")
        self.margin = (int(across), int(down))
        self._rows = range(_FREE_STEP, most + 1, _FREE_STEP) if free else (most,)
        self._outputs = [output.name for output in self._session.get_outputs()]

    def run(self, pixels: Pixels) -> dict[str, NDArray[np.float32]]:
        """Run the model on one picture.

        Parameters
        ----------
        pixels : ndarray, shape (height, width, 3), uint8 RGB
            Of the model's own `size` (width, height); for one with free rows also of fewer,
            a multiple of `_FREE_STEP`.

        Returns
        -------
        dict of str to ndarray, float32
            The model's outputs without their batch axis.

        Raises
        ------
        ValueError
            The pixels are of another shape or type.
        """
        expected = (self.size[1], self.size[0], 3)
        fits = pixels.shape[1:] == expected[1:] and pixels.shape[0] in self._rows
        if not fits or pixels.dtype != np.uint8:
            raise ValueError(
                f"pixels: uint8 of shape {expected} expected, got {pixels.dtype} {pixels.shape}"
            )
        outputs: Any = self._session.run(self._outputs, {"pixels": pixels[None]})
        return {name: value[0] for name, value in zip(self._outputs, outputs, strict=True)}


@dataclass(frozen=True, slots=True)
class Networks:
    """All networks and the fitted coefficients that travel with them.

    Attributes
    ----------
    networks : mapping of str to Network
        One for each of NAMES.
    fusion : mapping
        `fusion.json`: coefficients fitted by the calibration tool.
    version : str
    """

    networks: Mapping[str, Network]
    fusion: Mapping[str, Any]
    version: str

    def __getitem__(self, name: str) -> Network:
        return self.networks[name]


def models_folder() -> Path:
    """The shipped models: inside an installed package, else beside the source tree."""
    inside = Path(__file__).parent / "models"
    return inside if inside.is_dir() else Path(__file__).parent.parent / "models"


def load_networks(folder: Path | None = None) -> Networks:
    """Load every model of a folder after checking it against SHA256SUMS.

    Raises
    ------
    ModelError
        A file is missing, altered, or made for another version.
    """
    folder = models_folder() if folder is None else folder
    sums = _read_sums(folder)
    contents = {name: _verified(folder, f"{name}.onnx", sums) for name in NAMES}
    fusion = json.loads(_verified(folder, "fusion.json", sums))
    networks = {name: Network(content, name=name) for name, content in contents.items()}
    versions = {network.metadata.get("version", "") for network in networks.values()}
    if len(versions) != 1:
        raise ModelError(f"{folder}: models of one version expected, got {sorted(versions)}")
    return Networks(networks=networks, fusion=fusion, version=versions.pop())


def _read_sums(folder: Path) -> dict[str, str]:
    path = folder / _SUMS
    if not path.is_file():
        raise ModelError(f"{path}: missing; install telltale again")
    lines = (line.split() for line in path.read_text("utf-8").splitlines() if line.strip())
    return {name.lstrip("*"): digest for digest, name in lines}


def _verified(folder: Path, name: str, sums: Mapping[str, str]) -> bytes:
    path = folder / name
    if not path.is_file():
        raise ModelError(f"{path}: missing; install telltale again")
    content = path.read_bytes()
    digest = hashlib.sha256(content).hexdigest()
    if digest != sums.get(name):
        raise ModelError(
            f"{path}: altered; sha256 {sums.get(name, 'none listed')} expected, got {digest}"
        )
    return content
