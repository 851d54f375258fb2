"""Gap of one ring pair: ours against a general collision library on 64 x 24 meshes, in one run. No time is
asserted.

Run on demand: pytest tests/bench --benchmark-enable --benchmark-only --benchmark-group-by=group
"""

import fcl
import numpy as np
import pytest

from chaingen.geometry.distance import smallest_gaps
from chaingen.model.mesh import frames
from tests.conftest import rings_of

RINGS = rings_of(((0, 0, 0), (0, 0, 1), 2.5, 0.5), ((2.6, 0.3, 0.2), (0.1, 1, 0.2), 2.5, 0.5))
PAIRS = np.tile([[0, 1]], (1000, 1))


def fcl_torus(ring, around=64, across=24):
    t, p = np.meshgrid(
        np.arange(around) * 2 * np.pi / around, np.arange(across) * 2 * np.pi / across, indexing="ij"
    )
    big, small = RINGS.radii[ring], RINGS.wire_radii[ring]
    points = np.stack(
        [(big + small * np.cos(p)) * np.cos(t), (big + small * np.cos(p)) * np.sin(t), small * np.sin(p)], 2
    )
    i, j = (a.ravel() for a in np.meshgrid(np.arange(around), np.arange(across), indexing="ij"))
    a, b = i * across + j, (i + 1) % around * across + j
    c, d = (i + 1) % around * across + (j + 1) % across, i * across + (j + 1) % across
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    model = fcl.BVHModel()
    model.beginModel(around * across, len(faces))
    model.addSubModel(points.reshape(-1, 3), faces)
    model.endModel()
    return fcl.CollisionObject(model, fcl.Transform(frames(RINGS)[ring], RINGS.centres[ring]))


@pytest.mark.benchmark(group="gap of 1000 ring pairs")
def test_ours(benchmark):
    gaps, _ = benchmark(smallest_gaps, RINGS, PAIRS)
    assert np.ptp(gaps) == 0.0


@pytest.mark.benchmark(group="gap of 1000 ring pairs")
def test_python_fcl(benchmark):
    a, b = fcl_torus(0), fcl_torus(1)

    def thousand():
        value = 0.0
        for _ in range(1000 if benchmark.enabled else 1):
            value = fcl.distance(a, b, fcl.DistanceRequest(), fcl.DistanceResult())
        return value

    value = benchmark.pedantic(thousand, rounds=3, iterations=1)
    # Facets lie inside the torus at its outside and outside it in its hole, by at most
    # (R + r) (1 - cos(pi / 64)) + r (1 - cos(pi / 24)) each: both mean the same gap.
    exact = smallest_gaps(RINGS, PAIRS[:1])[0][0]
    slack = 2 * (3.0 * (1 - np.cos(np.pi / 64)) + 0.5 * (1 - np.cos(np.pi / 24)))
    assert abs(value - exact) <= slack
