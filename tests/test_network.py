"""Models are verified before they are trusted, and take only what they were made for."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from vision.network import NAMES, Networks, load_networks, models_folder
from vision.records import ModelError

TOTAL_BYTES = 15_000_000  # what may be shipped in all


@pytest.fixture(scope="module")
def networks() -> Networks:
    return load_networks()


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    target = tmp_path / "models"
    shutil.copytree(models_folder(), target)
    return target


def test_shipped_models_load_and_stay_small(networks: Networks) -> None:
    assert set(networks.networks) == set(NAMES)
    assert networks.version
    assert sum(f.stat().st_size for f in models_folder().iterdir() if f.is_file()) < TOTAL_BYTES


def test_an_altered_model_is_refused(copied: Path) -> None:
    path = copied / "finder.onnx"
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
    with pytest.raises(ModelError, match=r"finder\.onnx: altered; sha256 [0-9a-f]{64} expected"):
        load_networks(copied)


def test_altered_coefficients_are_refused(copied: Path) -> None:
    (copied / "fusion.json").write_text("{}")
    with pytest.raises(ModelError, match=r"fusion\.json: altered"):
        load_networks(copied)


@pytest.mark.parametrize("name", ["poser.onnx", "SHA256SUMS", "fusion.json"])
def test_a_missing_file_is_named(copied: Path, name: str) -> None:
    (copied / name).unlink()
    with pytest.raises(ModelError, match=f"{name}: missing"):
        load_networks(copied)


@pytest.mark.parametrize("name", NAMES)
def test_outputs_are_probabilities_where_they_should_be(networks: Networks, name: str) -> None:
    network = networks[name]
    rng = np.random.default_rng(1)
    pixels = rng.integers(0, 256, (network.size[1], network.size[0], 3), dtype=np.uint8)
    out = network.run(pixels)
    assert all(np.isfinite(value).all() for value in out.values())
    if name == "finder":
        assert out["maps"].shape == (12, network.size[1] // 8, network.size[0] // 8)
        assert ((out["maps"][:2] >= 0) & (out["maps"][:2] <= 1)).all()
    elif name == "poser":
        assert out["corners"].shape == (12, 2)
        assert out["heading"].sum() == pytest.approx(1.0, abs=1e-4)
    elif name == "tender":
        assert out["axles"].sum() == pytest.approx(1.0, abs=1e-4)
        assert out["lamps"].sum() == pytest.approx(1.0, abs=1e-4)
    elif name == "number":
        cells = (network.size[1] // 4, network.size[0] // 4)
        assert out["there"].shape == (1, *cells) and out["boxes"].shape == (4, *cells)
        assert ((out["there"] >= 0) & (out["there"] <= 1)).all()
        assert np.allclose(out["values"].sum(0), 1.0, atol=1e-4)
    else:
        assert out["decision"].shape == (2,)
        assert ((out["heat"] >= 0) & (out["heat"] <= 1)).all()


def test_the_same_pixels_give_the_same_answer(networks: Networks) -> None:
    network = networks["boiler_top"]
    pixels = np.full((network.size[1], network.size[0], 3), 90, np.uint8)
    one, two = network.run(pixels), network.run(pixels)
    assert all(np.array_equal(one[key], two[key]) for key in one)


def test_pixels_of_another_shape_or_type_are_refused(networks: Networks) -> None:
    network = networks["finder"]
    with pytest.raises(ValueError, match="uint8 of shape"):
        network.run(np.zeros((10, 10, 3), np.uint8))
    with pytest.raises(ValueError, match="float32"):
        network.run(np.zeros((network.size[1], network.size[0], 3), np.float32))


def test_the_reader_of_numbers_takes_fewer_rows(networks: Networks) -> None:
    """A fully convolutional network says of the rows it is given what it says of them in all.

    Near the cut it sees grey in place of what follows; further away hardly anything changes.
    """
    reader = networks["number"]
    width, height = reader.size
    pixels = np.full((height, width, 3), 114, np.uint8)
    pixels[16:48, 40:200] = np.random.default_rng(5).integers(0, 256, (32, 160, 3), dtype=np.uint8)
    whole, upper = reader.run(pixels), reader.run(np.ascontiguousarray(pixels[:64]))
    assert upper["there"].shape == (1, 16, width // 4)
    assert np.abs(whole["there"][:, :6] - upper["there"][:, :6]).max() < 0.15
    assert np.abs(whole["boxes"][:2, :8] - upper["boxes"][:2, :8]).max() < 12.0


@pytest.mark.parametrize(("name", "rows"), [("number", 40), ("number", 160), ("finder", 64)])
def test_other_rows_are_refused(networks: Networks, name: str, rows: int) -> None:
    width = networks[name].size[0]
    with pytest.raises(ValueError, match="expected"):
        networks[name].run(np.zeros((rows, width, 3), np.uint8))
