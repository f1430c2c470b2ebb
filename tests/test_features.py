"""Every classical measurement: what it refuses, leaves alone and always gives; and paths."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
import scipy.sparse
import scipy.sparse.csgraph
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from measured import MEASURES, photograph
from vision import features
from vision.features.paths import best_path


@pytest.mark.parametrize(("measure", "shape"), MEASURES)
@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (np.zeros((112, 384, 3), np.float32), "dtype uint8 expected, got float32"),
        (np.zeros((112, 384, 3), np.uint16), "dtype uint8 expected, got uint16"),
        (np.zeros((112, 384), np.uint8), r"shape \(H, W, 3\) expected, got \(112, 384\)"),
        (np.zeros((112, 384, 4), np.uint8), r"shape \(H, W, 3\) expected, got \(112, 384, 4\)"),
        (np.zeros((31, 384, 3), np.uint8), "at least 32 rows and 64 columns expected, got"),
        (np.zeros((112, 63, 3), np.uint8), "at least 32 rows and 64 columns expected, got"),
        ([[0]], "ndarray expected, got list"),
    ],
)
def test_refuses_what_is_no_crop(
    measure: Callable, shape: tuple[int, int], bad: object, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        measure(bad)


@pytest.mark.parametrize(("measure", "shape"), MEASURES)
def test_leaves_the_crop_alone_and_says_the_same_twice(
    measure: Callable, shape: tuple[int, int]
) -> None:
    crop = photograph(shape)
    before = crop.copy()
    crop.setflags(write=False)
    first = measure(crop)
    assert measure(crop) == first
    assert np.array_equal(crop, before)
    # A view that is not contiguous (mirrored twice) is the same picture.
    assert measure(crop[:, ::-1].copy()[:, ::-1]) == first


@pytest.mark.parametrize(("measure", "shape"), MEASURES)
def test_names_and_units_never_change(measure: Callable, shape: tuple[int, int]) -> None:
    rng = np.random.default_rng(1)
    crops = [
        np.zeros((*shape, 3), np.uint8),
        np.full((*shape, 3), 255, np.uint8),
        rng.integers(0, 256, (*shape, 3), dtype=np.uint8),
        photograph(shape),
        np.zeros((32, 64, 3), np.uint8),
        rng.integers(0, 256, (97, 211, 3), dtype=np.uint8),
    ]
    expected = [(m.name, m.unit) for m in measure(crops[0])]
    for crop in crops:
        found = measure(crop)
        assert [(m.name, m.unit) for m in found] == expected
        assert all(type(m.value) is float and math.isfinite(m.value) for m in found)
        for box in (m.where for m in found if m.where):
            assert all(type(edge) is float or type(edge) is int for edge in box.as_tuple())
            assert box.clipped(crop.shape[1], crop.shape[0]) == box


def test_features_exports_what_it_documents() -> None:
    assert [f for f in features.__all__ if f.startswith("measure")] == sorted(
        measure.__name__ for measure, _ in MEASURES
    )
    for measure, _ in MEASURES:
        crop = np.zeros((64, 128, 3), np.uint8)
        for measurement in measure(crop):
            name = measurement.name.removeprefix("stripe_")
            assert name in str(measure.__doc__), f"{measurement.name} is not documented"


# Paths.


def dearest_by_dijkstra(gain: np.ndarray, bend_cost: float) -> float:
    """The best total by SciPy's Dijkstra over the graph of all steps, costs shifted up."""
    rows, columns = gain.shape
    top = float(gain.max()) + 1.0
    edges: dict[tuple[int, int], float] = {}
    for column in range(columns - 1):
        for row in range(rows):
            for after in range(rows):
                cost = top - gain[after, column + 1] + bend_cost * abs(after - row)
                edges[(column * rows + row, (column + 1) * rows + after)] = cost
    nodes = rows * columns + 1
    for row in range(rows):
        edges[(nodes - 1, row)] = top - gain[row, 0]
    starts, ends = zip(*edges, strict=True)
    graph = scipy.sparse.csr_array((list(edges.values()), (starts, ends)), (nodes, nodes))
    distance = scipy.sparse.csgraph.dijkstra(graph, indices=nodes - 1)
    return columns * top - float(distance[(columns - 1) * rows : columns * rows].min())


@settings(max_examples=30, deadline=None)
@given(
    gain=hnp.arrays(np.float64, (5, 8), elements=st.integers(-4, 9).map(float)),
    bend_cost=st.sampled_from([0.0, 0.25, 1.0, 3.0]),
)
def test_best_path_is_the_shortest_path_of_scipy(gain: np.ndarray, bend_cost: float) -> None:
    path = best_path(gain, bend_cost)
    total = gain[path, np.arange(8)].sum() - bend_cost * np.abs(np.diff(path)).sum()
    assert total == pytest.approx(dearest_by_dijkstra(gain, bend_cost), abs=1e-9)


def test_best_path_without_any_gain_stays_where_it_is_told() -> None:
    assert set(best_path(np.zeros((20, 30)), 1.0, start_row=13).tolist()) == {13}
